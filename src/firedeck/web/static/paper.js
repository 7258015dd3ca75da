// @ts-check
/** The page on paper: maps stand as they are seen, scaled to the sheet; curves are drawn anew for its width. */
import { make } from './lib.js';

/** Width between the margins of a sheet, and what stands beside a map with the space between [CSS px]. */
const SHEET = (186 / 25.4) * 96;
const BETWEEN = 16;
const SCALE = 120;

/** Told to the document when colours and widths have changed: what is drawn on a canvas has to be drawn again. */
export const REPAINTED = 'repainted';

/** @param {string} what @returns {HTMLElement[]} */
const all = (what) => [.../** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(what))];
const maps = () => all('#map, .map');
const curves = () => all('.strip-and-curve');

/** @param {boolean} paper */
function change(paper) {
  document.documentElement.classList.toggle('paper', paper);
  document.dispatchEvent(new CustomEvent(REPAINTED));
}

window.addEventListener('beforeprint', () => {
  const sizes = maps().map((one) => ({ one, width: one.offsetWidth, height: one.offsetHeight }));
  for (const { one, width, height } of sizes) {
    if (width === 0) continue;
    const room = one.matches('.both .map') ? (SHEET - BETWEEN) / 2 : one.closest('.viewer') ? SHEET - SCALE - BETWEEN : SHEET;
    // Of its own size, but smaller: with another it would ask for tiles that come too late for the sheet.
    one.style.width = `${width}px`;
    one.style.height = `${height}px`;
    one.style.setProperty('zoom', String(room / width));
  }
  for (const one of curves()) one.style.width = `${SHEET}px`;
  // An entry of many lines shows on paper what its box has room for, and never breaks across sheets.
  for (const one of all('textarea')) one.after(make('pre', { class: 'on-paper' }, /** @type {HTMLTextAreaElement} */ (one).value));
  change(true);
});
window.addEventListener('afterprint', () => {
  for (const one of [...maps(), ...curves()]) for (const name of ['width', 'height', 'zoom']) one.style.removeProperty(name);
  for (const one of all('pre.on-paper')) one.remove();
  change(false);
});
