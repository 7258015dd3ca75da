// @ts-check
/** The predicted print: made when asked for, beside the prints that were read. */
import { byId, fetchJson, make } from './lib.js';
import { plainNumber as number, readable } from './clamp_units.js';

/**
 * @param {string} base address of the joint @param {() => URLSearchParams} said
 * @param {import('./clamp_units.js').Units} units @param {() => any} told the setting shown
 */
export function followPrint(base, said, units, told) {
  const button = byId('make-print');
  if (!button) return { repaint: () => {} };
  /** @type {Map<string, any[]>} */
  const found = new Map();

  /** @param {Element} image @param {string} source */
  const put = async (image, source) => {
    image.setAttribute('src', source);
    await /** @type {HTMLImageElement} */ (image).decode();
  };

  const repaint = () => {
    for (const place of document.querySelectorAll('[data-beside]')) {
      const rows = found.get(place.getAttribute('data-beside') ?? '') ?? [];
      place.querySelector('tbody')?.replaceChildren(...rows.map((one) => besideRow(one, units)));
    }
  };

  /** @param {string} asked */
  const predicted = async (asked) => {
    for (const link of document.querySelectorAll('a[data-print]')) {
      const source = `${base}/picture/${link.getAttribute('data-print')}.${link.getAttribute('data-ending') ?? 'png'}?${asked}`;
      link.setAttribute('href', source);
      const image = link.querySelector('img');
      if (image) await put(image, source);
    }
  };

  /** @param {Element} place @param {string} asked */
  const beside = async (place, asked) => {
    const stem = place.getAttribute('data-beside') ?? '';
    const address = `${base}/print/${encodeURIComponent(stem)}/beside`;
    const fault = /** @type {HTMLElement} */ (place.querySelector('p.fault'));
    fault.hidden = true;
    try {
      const { rows } = await fetchJson(`${address}.json?${asked}`);
      found.set(stem, rows);
      for (const link of place.querySelectorAll('a[data-ending]')) link.setAttribute('href', `${address}.${link.getAttribute('data-ending')}?${asked}`);
      await put(/** @type {Element} */ (place.querySelector('img')), `${address}.png?${asked}`);
      for (const part of place.querySelectorAll('figure, .scroll')) /** @type {HTMLElement} */ (part).hidden = false;
    } catch (reason) {
      fault.textContent = reason instanceof Error ? reason.message : String(reason);
      fault.hidden = false;
      for (const part of place.querySelectorAll('figure, .scroll')) /** @type {HTMLElement} */ (part).hidden = true;
    }
  };

  button.addEventListener('click', async () => {
    button.disabled = true;
    byId('print-told').textContent = 'The joint is tightened on the film; this takes some seconds.';
    byId('print-pictures').hidden = false;
    const asked = String(said());
    const { setting } = told();
    try {
      for (const image of document.querySelectorAll('img[data-read]')) image.setAttribute('src', image.getAttribute('data-read') ?? '');
      await predicted(asked);
      for (const place of document.querySelectorAll('[data-beside]')) await beside(place, asked);
      repaint();
      byId('print-told').textContent = `Predicted for ${readable(setting.stages)}, friction ${setting.thread} and ${setting.bearing}.`;
      byId('prints').dataset.made = 'yes';
    } catch { byId('print-told').textContent = 'The print could not be made.'; }
    button.disabled = false;
  });
  return { repaint };
}

/** @param {any} one @param {import('./clamp_units.js').Units} units */
function besideRow(one, units) {
  /** @param {string} what */
  const read = (what) => {
    const [value, low, high] = ['', '_low', '_high'].map((end) => one[`read_${what}${end}_N_per_mm`]);
    if (value === null) return 'not shown';
    if (high === null) return `at least ${units.text(low, 'line-load')}`;
    return `${units.text(value, 'line-load')} ${units.interval(low, high, 'line-load')}`;
  };
  const at = (/** @type {number | null} */ angle) => (angle === null ? '' : ` at ${angle.toFixed(0)}°`);
  const away = 100 * (one.predicted_mean_N_per_mm / one.read_mean_N_per_mm - 1);
  const cells = [read('mean'), units.text(one.predicted_mean_N_per_mm, 'line-load'), `${away > 0 ? '+' : ''}${number(away, 1)} %`,
    `${read('lowest')}${at(one.read_angle_deg)}`, `${units.text(one.predicted_lowest_N_per_mm, 'line-load')}${at(one.predicted_angle_deg)}`, number(one.correlation, 2)];
  return make('tr', {}, make('th', { scope: 'row' }, one.seal), ...cells.map((cell) => make('td', {}, cell)));
}
