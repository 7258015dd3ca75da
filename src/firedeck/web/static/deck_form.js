// @ts-check
/** The list of features and the form of the chosen one. */
import { byId, make } from './lib.js';

/** @param {any} one a name that the draft no longer has @returns {HTMLElement} */
export const lostName = (one) => make('li', { class: 'doubt' }, make('b', {}, 'name lost'), ` “${one.name}” is gone from this draft and still named in ${one.places.join('; ')}. `
  + 'To mend: correct it there when this is written, or undo');

export class DeckForm {
  /** @param {any} desk @param {any} map */
  constructor(desk, map) {
    this.desk = desk;
    this.map = map;
    /** @type {string | null} what the form shows; nothing yet, not even that nothing is chosen */
    this.shown = null;
    /** @type {any} */
    this.state = null;
    byId('features').addEventListener('keydown', (/** @type {KeyboardEvent} */ event) => this.walk(event));
    byId('fields').addEventListener('submit', (/** @type {Event} */ event) => event.preventDefault());
    byId('to-handle')?.addEventListener('click', () => map.focusHandle());
    byId('delete').addEventListener('click', () => this.remove());
    byId('add')?.addEventListener('submit', (/** @type {Event} */ event) => this.add(event));
  }

  /** @param {any} state */
  show(state) {
    this.state = state;
    const chosen = this.desk.chosen();
    const list = byId('features');
    const options = state.entries.map((/** @type {any} */ entry, /** @type {number} */ place) => {
      const found = state.findings.filter((/** @type {any} */ one) => one.entry === entry.key);
      const faulty = found.some((/** @type {any} */ one) => one.severity !== 'doubt');
      const signs = found.length ? [make('b', {}, faulty ? ' ✕ fault' : ' △ doubt')] : [];
      const option = make('div', { role: 'option', id: `feature-${place}`, 'aria-selected': String(entry.key === chosen), ...(faulty ? { class: 'fault' } : {}) },
        entry.name || '(no name)', ' ', make('small', {}, entry.what === entry.name ? '' : entry.what), ...signs);
      option.addEventListener('click', () => this.desk.choose(entry.key));
      return option;
    });
    const top = list.scrollTop;
    list.replaceChildren(...options);
    list.scrollTop = top;
    const place = state.entries.findIndex((/** @type {any} */ one) => one.key === chosen);
    if (place >= 0) {
      list.setAttribute('aria-activedescendant', `feature-${place}`);
      const option = options[place];
      if (option.offsetTop - list.offsetTop < list.scrollTop || option.offsetTop - list.offsetTop + option.offsetHeight > list.scrollTop + list.clientHeight) {
        list.scrollTop = option.offsetTop - list.offsetTop - list.clientHeight / 2;
      }
    } else list.removeAttribute('aria-activedescendant');
    this.showEntry(state.entries[place]);
  }

  /** @param {any} entry */
  showEntry(entry) {
    byId('entry-head').textContent = entry ? entry.name || entry.what : 'Entry';
    byId('delete').disabled = !entry?.can_go;
    const found = this.state.findings.filter((/** @type {any} */ one) => entry && one.entry === entry.key);
    byId('entry-faults').replaceChildren(...found.map((/** @type {any} */ one) => make('li', { class: one.severity === 'doubt' ? 'doubt' : 'fault' },
      make('b', {}, one.severity), ` ${one.message}${one.remedy ? `. To mend: ${one.remedy}` : ''}`)));
    this.showNames(entry);
    const now = entry ? `${entry.key} ${JSON.stringify(entry.fields)}` : '';
    if (now === this.shown) return;
    const focused = /** @type {any} */ (document.activeElement)?.closest?.('#fields') ? /** @type {any} */ (document.activeElement).name : '';
    const same = entry && this.shown?.startsWith(`${entry.key} `);
    this.shown = now;
    byId('fields').replaceChildren(...(entry ? entry.fields.map((/** @type {any} */ field) => this.field(entry, field)) : [make('p', { class: 'quiet' }, 'Choose one from the list, or place the caret in its lines of the text.')]));
    if (same && focused) byId('fields').querySelector(`[name="${focused}"]`)?.focus();
  }

  /**
   * Tell what other files call by the name that an entry has, or had.
   * @param {any} entry
   */
  showNames(entry) {
    const named = this.state.named.filter((/** @type {any} */ one) => entry && one.entry === entry.key);
    byId('entry-names').replaceChildren(...named.map((/** @type {any} */ one) => (one.lost ? lostName(one)
      : make('li', {}, `Named in ${one.places.join('; ')}. These files do not follow when it is renamed or deleted here.`))));
  }

  /** @param {any} entry @param {any} field */
  field(entry, field) {
    /** @type {any} */
    let input;
    if (field.ask === 'choice') {
      const words = field.choices.includes(field.value) ? field.choices : [field.value, ...field.choices];
      input = make('select', { name: field.key }, ...words.map((/** @type {string} */ one) => make('option', { value: one }, one)));
    } else input = make(field.ask === 'lines' ? 'textarea' : 'input', { name: field.key, spellcheck: 'false' });
    input.value = field.value;
    input.dataset.was = field.value;
    const words = make('span', { class: 'fault', id: `fault-${field.key}` });
    const enter = () => {
      if (input.value === input.dataset.was) return;
      input.dataset.was = input.value;
      this.desk.send({ what: 'enter', key: entry.key, field: field.key, value: input.value }, true).catch((/** @type {Error} */ fault) => {
        words.textContent = fault.message;
        input.setAttribute('aria-invalid', 'true');
        input.setAttribute('aria-describedby', words.id);
        input.dataset.was = field.value;
      });
    };
    input.addEventListener('change', enter);
    input.addEventListener('keydown', (/** @type {KeyboardEvent} */ event) => {
      if (event.key === 'Enter' && field.ask === 'text') enter();
      if (event.key === 'Escape') input.value = field.value;
    });
    return make('label', {}, field.label, input, ...(field.also ? [make('span', { class: 'quiet' }, `= ${field.also}`)] : []), words);
  }

  /** @param {KeyboardEvent} event */
  walk(event) {
    const keys = this.state.entries.map((/** @type {any} */ one) => one.key);
    const place = keys.indexOf(this.desk.chosen());
    const steps = /** @type {Record<string, number>} */ ({ ArrowDown: place + 1, ArrowUp: place - 1, Home: 0, End: keys.length - 1, PageDown: place + 10, PageUp: place - 10 });
    if (event.key in steps) {
      event.preventDefault();
      this.desk.choose(keys[Math.max(0, Math.min(keys.length - 1, steps[event.key]))]);
    } else if (event.key === 'Delete' && !byId('delete').disabled) {
      event.preventDefault();
      this.remove();
    } else if (event.key === 'Enter') {
      event.preventDefault();
      byId('fields').querySelector('input, select, textarea')?.focus();
    }
  }

  remove() {
    this.desk.send({ what: 'delete', key: this.desk.chosen() });
    byId('features').focus();
  }

  /** @param {Event} event */
  async add(event) {
    event.preventDefault();
    const [group, kind] = byId('add-what').value.split('|');
    const entry = this.state.entries.find((/** @type {any} */ one) => one.key === this.desk.chosen());
    const around = group === 'seal' && entry && ['bore', 'port', 'fastener-hole'].includes(entry.group) ? entry.name : '';
    await this.desk.send({ what: 'add', group, kind, at: this.map.middle(), around });
    byId('fields').querySelector('input')?.focus();
  }
}
