// @ts-check
/** Colours from counts of pressure: the palette and the looks come from the server. */

const OPENING = 5;

/** @param {string} text as #rrggbb @returns {number} as the bytes of a canvas */
const packed = (text) => {
  const value = parseInt(text.slice(1), 16);
  return (0xff000000 | ((value & 255) << 16) | (value & 0xff00) | (value >> 16)) >>> 0;
};

export class Painter {
  /** @param {any} looks palette, looks of the states, colour of the threshold, MPa to a count */
  constructor(looks) {
    this.looks = looks;
    this.table = new Uint32Array(65536);
    this.limit = 0;
    this.line = true;
    this.lineColour = packed(looks.threshold);
    /** @type {Record<number, {ground: number, stripe: number, slope: number}>} */
    this.states = {};
    for (const [state, look] of Object.entries(looks.states)) {
      if (look.ground) {
        this.states[Number(state)] = { ground: packed(look.ground), stripe: packed(look.stripe), slope: look.slope };
      }
    }
    this.palette = Uint32Array.from(looks.colours, (/** @type {number[]} */ [red, green, blue]) => 0xff000000 | (blue << 16) | (green << 8) | red);
    this.top = 0;
    this.setTop(100);
  }

  /** @param {number} top pressure at the dark end of the scale [MPa] */
  setTop(top) {
    if (top === this.top) return;
    this.top = top;
    const last = this.palette.length - 1;
    const scale = (this.looks.count_MPa / top) * last;
    // By runs of one colour: count by count it would keep the page busy longer than the map's first tiles.
    const from = (/** @type {number} */ place) => Math.min(65535, Math.max(0, Math.ceil((place - 0.5) / scale)));
    for (let place = 0; place <= last; place++) this.table.fill(this.palette[place], from(place), place < last ? from(place + 1) : 65535);
  }

  /** @param {number} pressure [MPa] @returns {string} its colour */
  shade(pressure) {
    const count = Math.min(65534, Math.max(0, Math.round(pressure / this.looks.count_MPa)));
    return `#${[0, 8, 16].map((by) => ((this.table[count] >> by) & 255).toString(16).padStart(2, '0')).join('')}`;
  }

  /**
   * Paint counts and states into a canvas of the same size.
   * @param {HTMLCanvasElement} canvas
   * @param {Uint16Array} value
   * @param {Uint8Array} state
   */
  paint(canvas, value, state) {
    const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext('2d'));
    const { width, height } = canvas;
    const image = context.createImageData(width, height);
    const out = new Uint32Array(image.data.buffer);
    const limit = this.line ? Math.round(this.limit / this.looks.count_MPa) : 0;
    for (let row = 0, place = 0; row < height; row++) {
      for (let col = 0; col < width; col++, place++) {
        const how = state[place];
        if (how === 0) out[place] = this.table[value[place]];
        else if (how !== OPENING) {
          const look = this.states[how];
          const striped = look.slope && (row + look.slope * col + 4096) % 6 < 2;
          out[place] = striped ? look.stripe : look.ground;
        }
      }
    }
    if (limit) this.paintLine(out, value, state, width, limit);
    context.putImageData(image, 0, 0);
  }

  /**
   * Lay the line outside what reaches the threshold, so that it hides nothing of a narrow bead.
   * @param {Uint32Array} out
   * @param {Uint16Array} value
   * @param {Uint8Array} state
   * @param {number} width
   * @param {number} limit [counts]
   */
  paintLine(out, value, state, width, limit) {
    const size = out.length;
    const reached = new Uint8Array(size);
    for (let place = 0; place < size; place++) {
      reached[place] = state[place] < 3 && value[place] >= limit && value[place] !== 65535 ? 1 : 0;
    }
    for (let place = 0; place < size; place++) {
      if (reached[place] || state[place] >= 3 || value[place] >= limit) continue;
      const col = place % width;
      // Beyond the first and last row there is nothing, which reaches no threshold.
      if (reached[place - width] || reached[place + width]
        || (col > 0 && reached[place - 1]) || (col + 1 < width && reached[place + 1])) {
        out[place] = this.lineColour;
      }
    }
  }

  /** @param {HTMLCanvasElement} canvas upright scale, top of the range above */
  paintScale(canvas) {
    const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext('2d'));
    const { width, height } = canvas;
    const image = context.createImageData(width, height);
    const out = new Uint32Array(image.data.buffer);
    for (let row = 0; row < height; row++) {
      const pressure = (1 - (row + 0.5) / height) * this.top;
      const shade = this.table[Math.min(65534, Math.round(pressure / this.looks.count_MPa))];
      out.fill(shade, row * width, (row + 1) * width);
    }
    context.putImageData(image, 0, 0);
    if (this.limit > 0 && this.limit <= this.top) {
      const y = Math.round(height * (1 - this.limit / this.top));
      context.fillStyle = this.looks.threshold;
      context.fillRect(0, y - 1, width, 3);
    }
  }
}
