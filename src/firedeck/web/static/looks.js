// @ts-check
/** The scale of a map, what on it is no reading, and the line of the threshold. */
import { make } from './lib.js';

/** @param {HTMLElement} list @param {import('./paint.js').Painter} painter */
export function showLooks(list, painter) {
  for (const [state, look] of Object.entries(painter.looks.states)) {
    if (!look.ground) continue;
    const sample = /** @type {HTMLCanvasElement} */ (make('canvas', { width: '22', height: '14', 'aria-hidden': 'true' }));
    painter.paint(sample, new Uint16Array(22 * 14), new Uint8Array(22 * 14).fill(Number(state)));
    list.append(make('li', {}, sample, ` ${look.words}`));
  }
  const line = make('span', { class: 'swatch line', 'aria-hidden': 'true' });
  line.style.borderColor = painter.looks.threshold;
  list.append(make('li', {}, line, ' round what reaches the threshold'));
}

/** Most marks on a scale, and the steps between them [MPa]. */
const MARKS = 6;
const STEPS = [1, 2, 5, 10, 20, 25, 50];

/** @param {HTMLCanvasElement} canvas upright @param {HTMLElement} list @param {import('./paint.js').Painter} painter */
export function showScaleOf(canvas, list, painter) {
  painter.paintScale(canvas);
  canvas.setAttribute('aria-label', `Scale from 0 to ${painter.top} MPa, threshold at ${painter.limit} MPa`);
  const step = STEPS.find((one) => painter.top / one <= MARKS) ?? 100;
  const ticks = [];
  for (let value = 0; value <= painter.top + 1e-9; value += step) {
    const tick = make('li', {}, value === 0 ? '0 MPa' : String(value));
    tick.style.bottom = `${(100 * value) / painter.top}%`;
    ticks.push(tick);
  }
  list.replaceChildren(...ticks);
}
