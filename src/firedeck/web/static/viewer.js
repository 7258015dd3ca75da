// @ts-check
/** The plan viewer: a deck in millimetres, x to the right, y up, with value tiles under its lines. */
import * as L from './vendor/leaflet/leaflet.js';

/** @typedef {{name: string, what: string, kind: string, points: number[][], middle: number[], short: string}} Opening */

/** Points that change a line by less than this are left out of it [screen points]: nobody sees them, all cost time. */
const SMOOTH = 0.3;

/** How far a tile reaches over the next [screen points]. */
const SEAM = 0.5;

/** @param {number[]} point x, y [mm] @returns {[number, number]} as the map library has it */
export const place = (point) => [point[1], point[0]];

/**
 * @param {HTMLElement} element
 * @param {{x0: number, top: number, pitch: number}} frame upper left corner [mm] and size of a screen point at zoom 0 [mm]
 */
export function makeViewer(element, frame) {
  const { x0, top, pitch } = frame;
  const crs = L.extend({}, L.CRS.Simple, {
    transformation: new L.Transformation(1 / pitch, -x0 / pitch, -1 / pitch, top / pitch),
  });
  const map = L.map(element, {
    crs, attributionControl: false, zoomSnap: 0, zoomDelta: 0.5, zoomAnimation: false, fadeAnimation: false,
    markerZoomAnimation: false, inertia: false, scrollWheelZoom: false, minZoom: -6, maxZoom: 6, keyboardPanDelta: 40,
  });
  // At once, not gliding: a key held down moves on with every repeat, and a corner set by key stands where it is seen.
  const glide = map.panBy.bind(map);
  map.panBy = (/** @type {any} */ offset) => glide(offset, { animate: false });
  element.addEventListener('wheel', (event) => {
    event.preventDefault();
    const turn = event.deltaMode ? event.deltaY * 30 : event.deltaY;
    const point = map.mouseEventToContainerPoint(event);
    map.setZoomAround(point, map.getZoom() - Math.max(-1, Math.min(1, turn / 240)), { animate: false });
  }, { passive: false });
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(element);
  return map;
}

/** @param {any} map @param {any} bounds @param {string | null} kept x, y and zoom from the page's address */
export function frameView(map, bounds, kept) {
  const [x, y, zoom] = (kept ?? '').split(',').map(Number);
  if (kept && [x, y, zoom].every(Number.isFinite)) map.setView([y, x], zoom, { animate: false });
  else map.fitBounds(bounds, { animate: false, padding: [12, 12] });
}

/** A layer of tiles that are coloured here, from numbers. */
export const ValueLayer = L.GridLayer.extend({
  /** @param {any} coords @param {(fault: unknown, tile: HTMLElement) => void} done */
  createTile(coords, done) {
    const size = this.options.tileSize;
    const tile = L.DomUtil.create('canvas', 'value-tile');
    tile.width = tile.height = size;
    fetch(this.options.address(-coords.z, coords.x, coords.y))
      .then((answer) => (answer.ok ? answer.arrayBuffer() : Promise.reject(new Error(String(answer.status)))))
      .then((buffer) => {
        tile.value = new Uint16Array(buffer, 0, size * size);
        tile.state = new Uint8Array(buffer, 2 * size * size);
        this.options.painter.paint(tile, tile.value, tile.state);
        done(null, tile);
      })
      .catch((fault) => done(fault, tile));
    return tile;
  },
  /** @param {HTMLElement} tile */
  _initTile(tile) {
    L.GridLayer.prototype._initTile.call(this, tile);
    // Over the neighbour's edge: between levels the ground would shine through the seams.
    tile.style.width = tile.style.height = `${this.options.tileSize + SEAM}px`;
  },
  repaint() {
    for (const { el } of Object.values(this._tiles)) {
      if (el.value) this.options.painter.paint(el, el.value, el.state);
    }
  },
});

/**
 * Draw outline and openings.
 * @param {{outline: number[][], openings: Opening[]}} plan
 * @param {boolean} filled
 */
export function planLayer(plan, filled) {
  const group = L.layerGroup();
  L.polygon(plan.outline.map(place), { className: 'deck-outline', smoothFactor: SMOOTH, interactive: false, fill: filled }).addTo(group);
  for (const opening of plan.openings) {
    const shape = L.polygon(opening.points.map(place), {
      className: `opening kind-${opening.kind.replace(/ /g, '-')}`, interactive: false, fill: true, smoothFactor: SMOOTH,
    });
    shape.addTo(group);
  }
  return group;
}

/** @param {{name: string, points: number[][], kind: string}[]} seals */
export function sealLayer(seals) {
  const group = L.layerGroup();
  for (const seal of seals) {
    L.polygon(seal.points.map(place), { className: `seal-line kind-${seal.kind}`, fill: false, interactive: false, smoothFactor: SMOOTH }).addTo(group);
  }
  return group;
}

/**
 * A numbered mark that can be reached by keyboard.
 * @param {number[]} point @param {string} text @param {string} look @param {string} label @param {() => void} act
 */
export function mark(point, text, look, label, act) {
  const body = document.createElement('span');
  body.textContent = text;
  const icon = L.divIcon({ className: `mark ${look}`, html: body, iconSize: [24, 24] });
  const marker = L.marker(place(point), { icon, keyboard: true });
  marker.on('add', () => marker.getElement().setAttribute('aria-label', label));
  marker.on('click keypress', (/** @type {any} */ event) => {
    if (event.type === 'click' || ['Enter', ' '].includes(event.originalEvent.key)) act();
  });
  return marker;
}

export { L };
