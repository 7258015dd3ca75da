// @ts-check
/** The plan of the deck page: shapes to choose from, places of faults, and the handle that moves a feature. */
import { byId, make } from './lib.js';
import { L, frameView, makeViewer, mark, place } from './viewer.js';

/** Steps of the arrow keys [mm], and how long they are gathered into one change [ms]. */
const STEP = 0.1;
const LONG_STEP = 1;
const GATHER = 350;

/** @param {string} words @returns {any} a name that is only looked at */
const nameIcon = (words) => L.divIcon({ className: 'mark name', html: make('span', {}, words), iconSize: [24, 24] });

/** @param {number} length [mm] */
const tenth = (length) => Math.round(length * 10) / 10;

export class DeckMap {
  /** @param {HTMLElement} element @param {any} desk */
  constructor(element, desk) {
    this.element = element;
    this.desk = desk;
    /** @type {any} */
    this.map = null;
    /** @type {any} */
    this.handle = null;
    /** @type {Map<string, any>} drawn features by key */
    this.shapes = new Map();
    this.key = '';
    this.shift = [0, 0];
    this.timer = 0;
  }

  /** @param {any} plan */
  begin(plan) {
    const xs = plan.outline.map((/** @type {number[]} */ one) => one[0]);
    const ys = plan.outline.map((/** @type {number[]} */ one) => one[1]);
    this.bounds = L.latLngBounds([[Math.min(...ys), Math.min(...xs)], [Math.max(...ys), Math.max(...xs)]]);
    this.map = makeViewer(this.element, { x0: Math.min(...xs), top: Math.max(...ys), pitch: 0.25 });
    frameView(this.map, this.bounds, null);
    this.layer = L.layerGroup().addTo(this.map);
    this.map.on('mousemove', (/** @type {any} */ event) => {
      if (!this.desk.chosen()) byId('value').textContent = `x ${event.latlng.lng.toFixed(1)}, y ${event.latlng.lat.toFixed(1)} mm`;
    });
  }

  frame() { if (this.map) frameView(this.map, this.bounds, null); }

  /** @param {number[]} point */
  goTo(point) { this.map?.panTo(place(point), { animate: false }); }

  /** @returns {number[]} middle of what is seen [mm] */
  middle() {
    const at = this.map?.getCenter();
    return at ? [tenth(at.lng), tenth(at.lat)] : [0, 0];
  }

  /** @param {any} state @param {any} gasket the plan with the seals of a gasket, where one is shown */
  show(state, gasket) {
    this.element.classList.toggle('stale', !state.plan);
    if (!state.plan) {
      byId('value').textContent = '';
      byId('where').textContent = this.map ? 'The plan shows the last text that defined one.' : 'The text defines no plan yet.';
      return;
    }
    if (!this.map) this.begin(state.plan);
    const focused = document.activeElement === this.handle?.getElement();
    this.layer.clearLayers();
    this.handle = null;
    this.shapes = new Map();
    const { outline, openings } = state.plan;
    // What is drawn of another file is looked at and not chosen.
    const own = new Set(state.entries.map((/** @type {any} */ one) => one.key));
    L.polygon(outline.map(place), { className: 'deck-outline', smoothFactor: 0, interactive: false, fill: true }).addTo(this.layer);
    for (const one of openings) this.draw(one, `opening kind-${one.kind.replace(/ /g, '-')}`, true, !own.has(one.key));
    for (const one of gasket ? gasket.seals : state.plan.seals) this.draw(one, `seal-line kind-${one.kind}`, false, Boolean(gasket) || !own.has(one.key));
    for (const hole of openings) {
      // The chosen one's name stands below the plan, and its handle would lie on it here.
      if (!['fastener', 'bore'].includes(hole.kind) || hole.key === this.desk.chosen()) continue;
      const label = `${hole.name}, ${hole.what}`;
      const words = hole.kind === 'bore' ? hole.name : hole.short;
      if (own.has(hole.key)) mark(hole.middle, words, 'name', label, () => this.desk.choose(hole.key)).addTo(this.layer);
      else L.marker(place(hole.middle), { icon: nameIcon(words), interactive: false, keyboard: false }).addTo(this.layer);
    }
    for (const one of state.findings) {
      if (!one.at) continue;
      L.circleMarker(place(one.at), { radius: 9, className: `spot ${one.severity}` }).addTo(this.layer)
        .on('click', () => this.desk.choose(one.entry)).bindTooltip(make('span', {}, one.message));
    }
    this.tell(state);
    this.lay(state, focused);
    const kinds = new Map(openings.map((/** @type {any} */ one) => [one.kind, one.what]));
    byId('kinds').replaceChildren(...[...kinds].map(([kind, what]) => make('li', {}, make('span', { class: `swatch kind-${kind.replace(/ /g, '-')}`, 'aria-hidden': 'true' }), ` ${what}`)));
  }

  /** @param {any} shape @param {string} look @param {boolean} filled @param {boolean} [foreign] */
  draw(shape, look, filled, foreign = false) {
    const chosen = !foreign && shape.key === this.desk.chosen() ? ' chosen' : '';
    const line = L.polygon(shape.points.map(place), { className: look + chosen, fill: filled, interactive: filled && !foreign, smoothFactor: 0 }).addTo(this.layer);
    const hit = filled ? line : L.polygon(shape.points.map(place), { className: 'hit', fill: false, smoothFactor: 0 }).addTo(this.layer);
    if (!foreign) {
      hit.on('click', () => this.desk.choose(shape.key));
      this.shapes.set(shape.key, { line, shape });
    }
  }

  /** @param {any} state */
  tell(state) {
    const entry = state.entries.find((/** @type {any} */ one) => one.key === this.desk.chosen());
    if (!entry) return;
    byId('value').textContent = entry.name;
    const values = entry.fields.filter((/** @type {any} */ one) => ['x', 'y', 'diameter', 'offset', 'band'].includes(one.key));
    byId('where').textContent = [entry.what, ...values.map((/** @type {any} */ one) => `${one.label.toLowerCase()} ${one.value}`)].join(', ');
  }

  /**
   * Lay the handle on the chosen feature.
   * @param {any} state @param {boolean} focused
   */
  lay(state, focused) {
    const entry = state.entries.find((/** @type {any} */ one) => one.key === this.desk.chosen());
    const found = entry?.movable && this.shapes.get(entry.key);
    if (byId('to-handle')) byId('to-handle').disabled = !found;
    if (!found) return;
    this.key = entry.key;
    this.shift = [0, 0];
    this.home = found.shape.middle ?? found.shape.points[0];
    this.line = found.line;
    const body = make('span', { 'aria-hidden': 'true' }, '+');
    const icon = L.divIcon({ className: 'mark handle', html: body, iconSize: [26, 26] });
    this.handle = L.marker(place(this.home), { icon, draggable: true, autoPan: false, keyboard: true, zIndexOffset: 1000 }).addTo(this.layer);
    const element = this.handle.getElement();
    element.setAttribute('aria-label', `Move ${entry.name}: drag, or arrow keys by ${STEP} mm, with Shift by ${LONG_STEP} mm`);
    element.addEventListener('keydown', (/** @type {KeyboardEvent} */ event) => this.nudge(event));
    this.handle.on('drag', () => {
      const at = this.handle.getLatLng();
      this.draft([tenth(at.lng - this.home[0]), tenth(at.lat - this.home[1])]);
    });
    this.handle.on('dragend', () => this.commit());
    if (focused) element.focus({ preventScroll: true });
  }

  focusHandle() { this.handle?.getElement().focus(); }

  /** @param {KeyboardEvent} event */
  nudge(event) {
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const way = /** @type {Record<string, number[]>} */ (ways)[event.key];
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    const step = event.shiftKey ? LONG_STEP : STEP;
    this.draft([tenth(this.shift[0] + way[0] * step), tenth(this.shift[1] + way[1] * step)]);
    this.handle.setLatLng(place([this.home[0] + this.shift[0], this.home[1] + this.shift[1]]));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.commit(), GATHER);
  }

  /**
   * Show the feature where it is being moved to.
   * @param {number[]} shift [mm]
   */
  draft(shift) {
    this.shift = shift;
    const moved = this.shapes.get(this.key).shape.points.map((/** @type {number[]} */ one) => place([one[0] + shift[0], one[1] + shift[1]]));
    this.line.setLatLngs(moved);
    byId('where').textContent = `moved by x ${shift[0].toFixed(1)}, y ${shift[1].toFixed(1)} mm`;
  }

  commit() {
    clearTimeout(this.timer);
    const shift = this.shift;
    this.shift = [0, 0];
    if (shift[0] || shift[1]) this.desk.send({ what: 'move', key: this.key, shift });
  }
}
