// @ts-check
/** The text of the plan: typed in directly, lines of the chosen feature and of faults marked. */
import { byId, make } from './lib.js';

/** Height of a line, and of the edge above the first one [CSS px], as in the style. */
const LINE = 18;
const EDGE = 4;
/** Quiet time after which what was typed is sent [ms]. */
const QUIET = 600;

export class DeckText {
  /** @param {any} desk */
  constructor(desk) {
    this.desk = desk;
    this.box = byId('text');
    this.timer = 0;
    this.burst = '';
    /** @type {any} */
    this.state = null;
    this.box.addEventListener('input', () => {
      this.burst ||= `text-${Date.now()}`;
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.flush(), QUIET);
      this.number();
    });
    this.box.addEventListener('blur', () => { this.flush(); this.burst = ''; });
    this.box.addEventListener('scroll', () => this.follow());
    for (const name of ['keyup', 'click']) this.box.addEventListener(name, () => this.seek());
  }

  isPending() { return Boolean(this.timer); }

  async flush() {
    clearTimeout(this.timer);
    this.timer = 0;
    if (this.state && this.box.value !== this.state.text) await this.desk.send({ what: 'text', text: this.box.value, burst: this.burst });
  }

  /** @param {any} state */
  show(state) {
    const pending = this.isPending();
    this.state = state;
    if (!pending && this.box.value !== state.text) {
      const { selectionStart, selectionEnd, scrollTop, scrollLeft } = this.box;
      this.box.value = state.text;
      this.box.setSelectionRange(selectionStart, selectionEnd);
      this.box.scrollTop = scrollTop;
      this.box.scrollLeft = scrollLeft;
    }
    const entry = state.entries.find((/** @type {any} */ one) => one.key === this.desk.chosen());
    this.bands = state.findings.map((/** @type {any} */ one) => [one.line, one.line, one.severity === 'doubt' ? 'doubt' : 'fault']);
    if (entry) this.bands.unshift([...entry.lines, 'chosen-lines']);
    this.first = entry ? entry.lines[0] : 0;
    const faulty = state.findings.some((/** @type {any} */ one) => one.severity === 'unreadable');
    if (faulty) this.box.setAttribute('aria-invalid', 'true');
    else this.box.removeAttribute('aria-invalid');
    this.number();
    byId('bands').replaceChildren(...this.bands.map((/** @type {any} */ [from, to, look]) => {
      const band = make('div', { class: look, 'data-lines': `${from}-${to}` });
      band.style.height = `${(to - from + 1) * LINE}px`;
      return band;
    }));
    this.follow();
  }

  number() {
    const count = this.box.value.split('\n').length;
    if (this.count === count) return;
    this.count = count;
    byId('numbers').textContent = Array.from({ length: count }, (_, place) => place + 1).join('\n');
  }

  follow() {
    byId('numbers').style.top = `${EDGE - this.box.scrollTop}px`;
    [...byId('bands').children].forEach((/** @type {any} */ band, /** @type {number} */ place) => {
      band.style.top = `${EDGE + (this.bands[place][0] - 1) * LINE - this.box.scrollTop}px`;
    });
  }

  /** Bring a line into view, the first of the chosen feature where none is named. @param {number} [line] */
  reach(line = this.first) {
    if (!line || document.activeElement === this.box) return;
    const at = (line - 1) * LINE;
    if (at < this.box.scrollTop || at > this.box.scrollTop + this.box.clientHeight - 5 * LINE) this.box.scrollTop = Math.max(0, at - 3 * LINE);
    this.follow();
  }

  /** Choose the feature that the caret stands in. */
  seek() {
    const line = this.box.value.slice(0, this.box.selectionStart).split('\n').length;
    const holding = this.state.entries.slice(1).filter((/** @type {any} */ one) => one.lines[0] <= line && line <= one.lines[1]);
    // A table within another lies within its lines too: the innermost is meant.
    const entry = holding.sort((/** @type {any} */ a, /** @type {any} */ b) => a.lines[1] - a.lines[0] - (b.lines[1] - b.lines[0]))[0];
    if (entry && entry.key !== this.desk.chosen()) this.desk.choose(entry.key, false);
  }
}
