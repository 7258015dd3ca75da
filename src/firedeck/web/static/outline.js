// @ts-check
/** Outlines drawn by hand: fewer corners, and one loop without crossings. */

/**
 * Leave out corners that lie near the line between those that stay.
 * @param {number[][]} line @param {number} near farthest from the line [its unit]
 * @returns {number[][]}
 */
export function simplified(line, near) {
  if (line.length < 3) return line;
  const [a, b] = [line[0], line[line.length - 1]];
  let far = 0;
  let at = 0;
  for (let k = 1; k < line.length - 1; k += 1) {
    const away = distance(line[k], a, b);
    if (away > far) [far, at] = [away, k];
  }
  if (far <= near) return [a, b];
  return [...simplified(line.slice(0, at + 1), near).slice(0, -1), ...simplified(line.slice(at), near)];
}

/** @param {number[]} point @param {number[]} a @param {number[]} b @returns {number} how far off the stretch from a to b */
function distance(point, a, b) {
  const [ux, uy] = [b[0] - a[0], b[1] - a[1]];
  const square = ux * ux + uy * uy;
  const along = square ? Math.max(0, Math.min(1, ((point[0] - a[0]) * ux + (point[1] - a[1]) * uy) / square)) : 0;
  return Math.hypot(point[0] - a[0] - along * ux, point[1] - a[1] - along * uy);
}

/**
 * @param {number[]} a @param {number[]} b @param {number[]} c @param {number[]} d
 * @returns {number[] | null} where the stretches a–b and c–d meet
 */
function meeting(a, b, c, d) {
  const [ux, uy, vx, vy] = [b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]];
  const over = ux * vy - uy * vx;
  if (!over) return null;
  const s = ((c[0] - a[0]) * vy - (c[1] - a[1]) * vx) / over;
  const t = ((c[0] - a[0]) * uy - (c[1] - a[1]) * ux) / over;
  return s >= 0 && s <= 1 && t >= 0 && t <= 1 ? [a[0] + s * ux, a[1] + s * uy] : null;
}

/** @param {number[][]} line @param {boolean} closed @returns {{i: number, j: number, at: number[]}[]} its crossings */
function crossings(line, closed) {
  const count = closed ? line.length : line.length - 1;
  const found = [];
  for (let i = 0; i < count; i += 1) {
    for (let j = i + 2; j < count; j += 1) {
      if (closed && i === 0 && j === count - 1) continue;
      const at = meeting(line[i], line[i + 1], line[j], line[(j + 1) % line.length]);
      if (at) found.push({ i, j, at });
    }
  }
  return found;
}

/** @param {number[][]} path @returns {number} the area that it holds */
function area(path) {
  return Math.abs(path.reduce((sum, [x, y], k) => {
    const [u, v] = path[(k + 1) % path.length];
    return sum + x * v - u * y;
  }, 0)) / 2;
}

/**
 * Return one loop without crossings. A drawn line that runs over its own beginning loses the ends beyond it.
 * @param {number[][]} line @param {boolean} [typed] corners that must do as they are
 * @returns {number[][] | null} null where there is none
 */
export function loopOf(line, typed = false) {
  let loop = line;
  if (!typed) {
    const over = crossings(line, false);
    if (over.length > 1) return null;
    if (over.length) loop = [over[0].at, ...line.slice(over[0].i + 1, over[0].j + 1)];
  }
  return loop.length >= 3 && !crossings(loop, true).length && area(loop) > 0 ? loop : null;
}
