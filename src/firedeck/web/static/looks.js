// @ts-check
/** What is no reading, as it looks on a map. */
import { make } from './lib.js';

/** @param {HTMLElement} list @param {import('./paint.js').Painter} painter */
export function showLooks(list, painter) {
  for (const [state, look] of Object.entries(painter.looks.states)) {
    if (!look.ground) continue;
    const sample = /** @type {HTMLCanvasElement} */ (make('canvas', { width: '22', height: '14', 'aria-hidden': 'true' }));
    painter.paint(sample, new Uint16Array(22 * 14), new Uint8Array(22 * 14).fill(Number(state)));
    list.append(make('li', {}, sample, ` ${look.words}`));
  }
}
