// @ts-check
/** One seal: its strip, the line load along it, and round it where it is a ring. */
import uPlot from './vendor/uplot/uplot.js';
import { byId, colour, fetchJson, make } from './lib.js';
import { REPAINTED } from './paper.js';

const SVG = 'http://www.w3.org/2000/svg';
const LEFT = 54;
const RIGHT = 14;

/** @param {string} tag @param {Record<string, string | number>} attributes @param {string} [text] */
function shape(tag, attributes, text) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  if (text !== undefined) element.textContent = text;
  return element;
}

export class SealView {
  /**
   * @param {any} data @param {string} base @param {import('./paint.js').Painter} painter
   * @param {{point: (point: number[] | null) => void, go: (point: number[]) => void}} tell
   */
  constructor(data, base, painter, tell) {
    this.data = data; this.base = base; this.painter = painter; this.tell = tell;
    this.index = 0;
    /** @type {any} */ this.plot = null;
    /** @type {{value: Uint16Array, state: Uint8Array} | null} */ this.strip = null;
    new ResizeObserver(() => this.resize()).observe(byId('curve'));
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.show(this.index));
    document.addEventListener(REPAINTED, () => this.draw());
    byId('save-polar').addEventListener('click', () => this.savePolar());
  }

  /** @param {number} index */
  async show(index) {
    this.index = index;
    const seal = this.data.seals[index];
    const where = seal.weakest
      ? `weakest ${seal.weakest.text} N/mm at ${seal.weakest.angle_deg.toFixed(0)}°` +
        (seal.weakest.fastener ? `, ${seal.weakest.fastener_mm.toFixed(0)} mm from ${seal.weakest.fastener}` : '')
      : 'weakest place not shown';
    byId('seal-words').textContent = `${seal.name}, ${seal.kind}: ${seal.state}; ${seal.governing}. Mean ${seal.mean.text} N/mm; ${where}.`;
    byId('to-weakest').disabled = !seal.weakest;
    seal.curve ??= await fetchJson(`${this.base}/curve/${this.data.revision}/${index}`);
    if (this.index !== index) return;
    this.draw();
    const answer = await fetch(`${this.base}/strip/${this.data.revision}/${index}`);
    if (!answer.ok || this.index !== index) return;
    const [across, along] = (answer.headers.get('X-Shape') ?? '0 0').split(' ').map(Number);
    const buffer = await answer.arrayBuffer();
    const canvas = byId('strip');
    canvas.width = along;
    canvas.height = across;
    canvas.setAttribute('aria-label', `${seal.name} unrolled: ${seal.axis.label} from left to right, ${(2 * seal.axis.half_band_mm).toFixed(1)} mm across from inside below to outside above`);
    this.strip = { value: new Uint16Array(buffer, 0, across * along), state: new Uint8Array(buffer, 2 * across * along) };
    this.repaint();
    canvas.dataset.seal = String(index);
  }

  /** Draw the curve and the ring of the seal that is shown, once they are known. */
  draw() {
    const seal = this.data.seals[this.index];
    if (!seal.curve) return;
    this.drawCurve(seal);
    this.drawPolar(seal);
  }

  repaint() {
    if (this.strip) this.painter.paint(byId('strip'), this.strip.value, this.strip.state);
  }

  resize() {
    if (this.plot) this.plot.setSize({ width: byId('curve').clientWidth, height: 240 });
  }

  /** @param {any} seal */
  drawCurve(seal) {
    const { at, load, low, high, points } = seal.curve;
    const bounded = at.map((/** @type {any} */ _, /** @type {number} */ k) => (high[k] === null && load[k] !== null ? null : high[k]));
    const open = at.map((/** @type {any} */ _, /** @type {number} */ k) => (high[k] === null ? load[k] : null));
    const ink = colour('--ink');
    const faint = colour('--line');
    const curve = colour('--curve');
    const axis = { stroke: ink, grid: { stroke: faint, width: 1 }, ticks: { stroke: faint, width: 1 }, font: '12px "DejaVu Sans", Verdana, sans-serif' };
    /** @type {any[]} */
    const series = [
      { label: seal.axis.label },
      { label: 'line load', stroke: curve, width: 2, points: { show: false } },
      { label: 'low', stroke: 'transparent', points: { show: false } },
      { label: 'high', stroke: 'transparent', points: { show: false } },
      { label: 'at least', stroke: colour('--saturated'), width: 4, points: { show: false } },
    ];
    const columns = [at, load, low, bounded, open];
    if (seal.least !== null) {
      series.push({ label: 'least asked for', stroke: colour('--limit'), width: 1.5, dash: [8, 5], points: { show: false } });
      columns.push(at.map(() => seal.least));
    }
    if (seal.weakest) {
      const step = seal.weakest.at_mm * (seal.axis.span / seal.length_mm);
      let nearest = 0;
      at.forEach((/** @type {number} */ one, /** @type {number} */ k) => { if (Math.abs(one - step) < Math.abs(at[nearest] - step)) nearest = k; });
      series.push({ label: 'weakest', stroke: colour('--gives'), points: { show: true, size: 11, fill: colour('--gives') } });
      columns.push(at.map((/** @type {any} */ _, /** @type {number} */ k) => (k === nearest ? load[k] : null)));
    }
    const loads = [...load, ...low, ...bounded, seal.least].filter((one) => one !== null);
    const top = 1.08 * Math.max(1, ...loads);
    const holder = byId('curve');
    this.plot?.destroy();
    holder.replaceChildren();
    holder.setAttribute('aria-label', `Line load along ${seal.name} with its 95 % band; ${byId('seal-words').textContent}`);
    this.plot = new uPlot({
      width: holder.clientWidth, height: 240, padding: [8, RIGHT, 0, 0], legend: { show: false },
      scales: { x: { time: false, range: [0, seal.axis.span] }, y: { range: [0, top] } },
      axes: [
        { ...axis, label: seal.axis.label, labelSize: 20, labelFont: axis.font, size: 36, incrs: seal.axis.span === 360 ? [45, 90] : undefined },
        { ...axis, label: 'line load [N/mm]', labelSize: 16, labelFont: axis.font, size: LEFT - 16 },
      ],
      bands: [{ series: [3, 2], fill: colour('--band') }],
      series,
      cursor: { y: false, drag: { x: false, y: false } },
      hooks: {
        setCursor: [(/** @type {any} */ plot) => {
          const k = plot.cursor.idx;
          this.tell.point(k === null || k === undefined ? null : points[k]);
        }],
      },
    }, columns, holder);
    this.plot.over.addEventListener('click', () => {
      const k = this.plot.cursor.idx;
      if (k !== null && k !== undefined) this.tell.go(points[k]);
    });
  }

  /** @param {any} seal */
  drawPolar(seal) {
    const holder = byId('polar');
    holder.replaceChildren();
    byId('save-polar').hidden = !seal.round;
    if (!seal.round) return;
    const { angle_deg: angle, load, low, high } = seal.curve;
    const known = [...load, ...high, seal.least].filter((one) => one !== null);
    const top = 1.1 * Math.max(1, ...known);
    const radius = 120;
    /** @param {number} degrees @param {number} value */
    const spot = (degrees, value) => {
      const turn = (degrees * Math.PI) / 180;
      const reach = (radius * Math.min(value, top)) / top;
      return `${(reach * Math.cos(turn)).toFixed(2)},${(-reach * Math.sin(turn)).toFixed(2)}`;
    };
    const picture = shape('svg', { viewBox: '-160 -150 320 300', role: 'img', xmlns: SVG, 'aria-label': `Line load round ${seal.name} as seen from the head; ${byId('seal-words').textContent}` });
    const ink = colour('--ink');
    const step = [5, 10, 20, 25, 50, 100, 200].find((one) => top / one <= 4) ?? 500;
    for (let value = step; value <= top; value += step) {
      picture.append(shape('circle', { r: (radius * value) / top, fill: 'none', stroke: colour('--line') }));
      picture.append(shape('text', { x: 3, y: (-radius * value) / top - 2, 'font-size': 9, fill: ink, 'font-family': 'sans-serif' }, `${value}`));
    }
    const lows = angle.map((/** @type {number} */ one, /** @type {number} */ k) => (low[k] === null ? null : spot(one, low[k])));
    const highs = angle.map((/** @type {number} */ one, /** @type {number} */ k) => (load[k] === null ? null : spot(one, high[k] === null ? top : high[k])));
    for (let k = 0; k < angle.length; k++) {
      const next = (k + 1) % angle.length;
      if ([lows[k], lows[next], highs[k], highs[next]].includes(null)) continue;
      const fill = high[k] === null ? colour('--saturated-band') : colour('--band');
      picture.append(shape('polygon', { points: `${lows[k]} ${highs[k]} ${highs[next]} ${lows[next]}`, fill }));
      const stroke = high[k] === null ? colour('--saturated') : colour('--curve');
      picture.append(shape('path', { d: `M${spot(angle[k], load[k])} L${spot(angle[next], load[next])}`, stroke, 'stroke-width': 2.2, fill: 'none' }));
    }
    if (seal.least !== null) {
      picture.append(shape('circle', { r: (radius * seal.least) / top, fill: 'none', stroke: colour('--limit'), 'stroke-width': 1.5, 'stroke-dasharray': '7 4' }));
    }
    for (const one of seal.fasteners) {
      const [x, y] = spot(one.angle_deg, top).split(',').map(Number);
      picture.append(shape('path', { d: `M${x},${y} L${1.06 * x},${1.06 * y}`, stroke: ink }));
      picture.append(shape('text', { x: 1.14 * x, y: 1.14 * y + 3, 'font-size': 10, fill: ink, 'text-anchor': 'middle', 'font-family': 'sans-serif' }, one.name));
    }
    if (seal.weakest && seal.weakest.value !== null) {
      const [x, y] = spot(seal.weakest.angle_deg, seal.weakest.value).split(',');
      picture.append(shape('circle', { cx: x, cy: y, r: 5, fill: colour('--gives') }));
    }
    const caption = make('p', { class: 'quiet' }, 'Line load [N/mm] round the seal, seen from the head. Ticks: fasteners by name. Dot: weakest place. Broken circle: least asked for. Orange: saturated, at least this much.');
    holder.append(picture, caption);
  }

  savePolar() {
    const picture = byId('polar').querySelector('svg');
    if (!picture) return;
    const text = new XMLSerializer().serializeToString(picture);
    const link = make('a', { href: URL.createObjectURL(new Blob([text], { type: 'image/svg+xml' })), download: `${this.data.seals[this.index].name}.svg` });
    link.click();
  }
}
