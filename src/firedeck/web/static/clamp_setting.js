// @ts-check
/** The setting of the clamp page: its entries and sliders, and the address and history that keep it. */
import { byId, make } from './lib.js';
import { readable } from './clamp_units.js';

export const ENTRIES = ['gasket', 'stages', 'thread', 'bearing', 'state', 'head', 'block', 'fasteners', 'pressure', 'bore'];
const HEAT = ['head', 'block', 'fasteners'];
/** A slider that goes on within this time is still the same change [ms]. */
const SAME_MOVE_MS = 1500;
const NUMBER = /-?\d+(\.\d+)?/;

/** @param {string} text @returns {string[]} its parts between commas */
const parts = (text) => text.split(',').map((one) => one.trim()).filter(Boolean);
/** @param {number} value @param {number} digits */
const tidy = (value, digits) => String(Number(value.toPrecision(digits)));
/** @param {string} part @param {(value: number) => number} turn @param {number} digits */
const turned = (part, turn, digits) => part.replace(NUMBER, (one) => tidy(turn(Number(one)), digits));

export class Setting {
  /**
   * @param {HTMLFormElement} form @param {string} gasket the prediction's own
   * @param {Record<string, Record<string, string>>} stated by system of units
   * @param {import('./clamp_units.js').Units} units
   * @param {() => void} changed told once the setting is another
   */
  constructor(form, gasket, stated, units, changed) {
    this.form = form; this.gasket = gasket; this.stated = stated; this.units = units; this.changed = changed;
    this.step = '';
    this.slid = { key: '', time: 0 };
    /** @type {Record<string, string>} */
    this.faults = {};
    this.ofGasket = '';
    for (const slider of form.querySelectorAll('[data-slide]')) {
      const key = slider.getAttribute('data-slide') ?? '';
      slider.addEventListener('input', () => this.slide(key, Number(/** @type {HTMLInputElement} */ (slider).value)));
    }
    byId('gas').addEventListener('input', () => this.slide('pressure', Number(byId('gas').value)));
    window.addEventListener('popstate', () => {
      const before = String(this.said());
      this.read();
      if (String(this.said()) !== before) this.changed();
    });
  }

  /** @param {string} key @returns {any} */
  entry(key) { return this.form.elements.namedItem(key); }

  /** @param {string} key @returns {string} what a choice stands at where the address does not say */
  usual(key) {
    if (key === 'gasket') return this.gasket;
    const options = /** @type {HTMLOptionElement[]} */ ([...(this.entry(key).options ?? [])]);
    return options.find((one) => one.defaultSelected)?.value ?? options[0]?.value ?? '';
  }

  /** @returns {URLSearchParams} what differs from the files */
  said() {
    const said = new URLSearchParams();
    for (const key of ENTRIES) {
      const value = this.entry(key).value.trim();
      if (value && value !== this.usual(key)) said.set(key, value);
    }
    if (this.step) said.set('step', this.step);
    return said;
  }

  /** Take entries and step from the address. */
  read() {
    const address = new URL(location.href).searchParams;
    for (const key of ENTRIES) this.entry(key).value = address.get(key) ?? this.usual(key);
    for (const key of ENTRIES) if (!this.entry(key).value && this.entry(key).options) this.entry(key).value = this.usual(key);
    this.step = address.get('step') ?? '';
  }

  /**
   * Keep the setting in the address, so that the browser's way back undoes one change.
   * @param {string} [move] slider that moves: all of one movement is one change
   */
  keep(move = '') {
    const address = new URL(location.href);
    for (const key of [...ENTRIES, 'step']) address.searchParams.delete(key);
    for (const [key, value] of this.said()) address.searchParams.set(key, value);
    const now = performance.now();
    const same = move !== '' && move === this.slid.key && now - this.slid.time < SAME_MOVE_MS;
    this.slid = { key: move, time: now };
    if (address.href === location.href) return;
    if (same) history.replaceState(null, '', address);
    else history.pushState(null, '', address);
  }

  /** @param {string} key @param {number} value a slider's */
  slide(key, value) {
    const stated = this.stated[this.units.system];
    if (key === 'pressure') {
      this.entry(key).value = `${this.units.value(value, 'gas').toFixed(0)} ${this.units.name('gas')}`;
    } else if (key === 'stages') {
      const scaled = parts(stated.stages).map((one) => (one.startsWith('loosen') ? one : turned(one, (amount) => amount * value / 100, 3)));
      this.entry(key).value = value === 100 ? '' : scaled.join(', ');
    } else if (HEAT.includes(key)) {
      this.entry(key).value = value === 0 ? '' : parts(stated[key]).map((one) => turned(one, (warm) => warm + value, 4)).join(', ');
      this.entry('state').value = 'hot';
    } else this.entry(key).value = value.toFixed(3);
    this.step = '';
    this.keep(key);
    this.changed();
  }

  /**
   * Show where entries and sliders stand by an answer.
   * @param {any} told
   */
  show(told) {
    const stated = this.stated[this.units.system];
    const text = told.setting;
    const moving = performance.now() - this.slid.time < SAME_MOVE_MS ? this.slid.key : '';
    for (const key of ['stages', 'thread', 'bearing', ...HEAT]) {
      const slider = /** @type {HTMLInputElement} */ (this.form.querySelector(`[data-slide=${key}]`));
      const output = /** @type {HTMLOutputElement} */ (this.form.querySelector(`[data-slid=${key}]`));
      // No line ends between a number and its unit.
      output.replaceChildren(...parts(readable(text[key])).flatMap((one, k) => [k ? ', ' : '', make('span', {}, one)]));
      this.entry(key).placeholder = stated[key] || (this.units.system === 'metric' ? 'such as 120 degC' : 'such as 250 degF');
      slider.disabled = !stated[key];
      if (key === moving || !text[key] || !stated[key]) continue;
      const [now, then] = [parts(text[key])[0], parts(stated[key])[0]].map((one) => Number(one.match(NUMBER)?.[0]));
      slider.value = String(key === 'stages' ? (100 * now) / then : HEAT.includes(key) ? now - then : now);
    }
    this.entry('pressure').placeholder = stated.pressure;
    byId('pressure-out').textContent = text.pressure;
    if (moving !== 'pressure') byId('gas').value = String(told.setting_MPa);
    byId('step').max = String(told.count);
    byId('step').value = String(told.step ?? told.count);
    byId('step-out').textContent = told.step ? `step ${told.step} of ${told.count}` : `finished, ${told.count} moves`;
  }

  /**
   * Show what cannot be used beside its entry.
   * @param {Record<string, string>} [faults]
   */
  showFaults(faults = {}) {
    this.faults = faults;
    this.tell();
  }

  /**
   * Show what becomes of another gasket, until something else is shown of it: answers for the joint as it is leave it.
   * @param {string} words
   */
  showGasket(words) {
    this.ofGasket = words;
    this.tell();
  }

  tell() {
    for (const key of ENTRIES) {
      const place = byId(`fault-${key}`);
      const fault = this.faults[key] ?? '';
      const words = fault || (key === 'gasket' ? this.ofGasket : '');
      place.hidden = !words;
      if (place.textContent !== words) place.textContent = words;
      this.entry(key).setAttribute('aria-invalid', String(Boolean(fault)));
    }
  }
}
