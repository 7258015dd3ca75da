// @ts-check
/** Areas of the deck that a person leaves out of the reading: drawn round by pointer or keys, or typed as corners. */
import { begin } from './jobs.js';
import { byId, fetchJson, make } from './lib.js';
import { loopOf, simplified } from './outline.js';
import { L, place } from './viewer.js';

/** @typedef {{reason: string, path: number[][]}} Mask */

/** Farthest that a drawn outline is moved by leaving corners out [mm]. */
const NEARNESS = 0.15;
/** Least way between two corners of a drawn outline [points of the screen]. */
const STRIDE = 3;
const STYLE = { className: 'mask-area', interactive: false };

/**
 * @param {any} map @param {string} base address of the film test @param {string} record name of its file
 */
export async function startMasks(map, base, record) {
  const told = await fetchJson(`${base}/masks`);
  let known = told.known;
  /** @type {Mask[]} */
  let masks = told.masks;
  let saved = JSON.stringify(masks);
  /** @type {Mask[][]} */
  const done = [];
  /** @type {Mask[][]} */
  const undone = [];
  const drawn = L.layerGroup().addTo(map);
  const stroke = L.polyline([], { ...STYLE, className: 'mask-stroke' });
  const outline = L.polygon([], { ...STYLE, className: 'mask-stroke' });
  const say = (/** @type {string} */ words) => { byId('mask-told').textContent = words; };

  /** @param {Mask[]} next */
  function change(next) {
    done.push(masks);
    undone.length = 0;
    masks = next;
    show();
  }

  /** @param {Mask[][]} from @param {Mask[][]} to */
  function step(from, to) {
    const next = from.pop();
    if (!next) return;
    to.push(masks);
    masks = next;
    show();
  }

  function show() {
    drawn.clearLayers();
    const rows = masks.map((one, index) => {
      L.polygon(one.path.map(place), STYLE).addTo(drawn);
      const words = `${index + 1} ${one.reason}, ${one.path.length} corners`;
      const remove = make('button', { type: 'button', class: 'mini' }, 'Remove', make('span', { class: 'hidden' }, ` mask ${words}`));
      remove.addEventListener('click', () => { change(masks.filter((_, other) => other !== index)); byId('mask-undo').focus(); });
      const seek = make('button', { type: 'button', class: 'mini' }, 'Show', make('span', { class: 'hidden' }, ` mask ${words}`));
      seek.addEventListener('click', () => map.fitBounds(one.path.map(place), { animate: false, maxZoom: 2, padding: [60, 60] }));
      return make('li', { 'data-mask': String(index) }, `${words} `, seek, ' ', remove);
    });
    byId('masks').replaceChildren(...rows);
    byId('mask-undo').disabled = !done.length;
    byId('mask-redo').disabled = !undone.length;
    byId('mask-save').disabled = JSON.stringify(masks) === saved;
  }

  /** @param {number[][]} path corners [mm] @returns {boolean} whether it was taken */
  function add(path) {
    const reason = byId('mask-reason').value.trim();
    if (!reason) { say('Say first why the area is to be left out.'); byId('mask-reason').focus(); return false; }
    change([...masks, { reason, path: path.map((point) => point.map((part) => Math.round(100 * part) / 100)) }]);
    say(`Area ${masks.length}, ${reason}, was added; it is not saved yet.`);
    return true;
  }

  // --- by pointer ----------------------------------------------------------------------------------

  const box = map.getContainer();
  const lasso = byId('mask-draw');
  /** @type {number[][] | null} */
  let line = null;
  /** @type {number[]} */
  let last = [];
  /** @type {number[][]} corners set by keyboard so far [mm] */
  let corners = [];
  /** @type {Set<number>} pointers that touch the map now */
  const down = new Set();

  const isDrawing = () => box.classList.contains('drawing');

  function dropLine() {
    line = null;
    stroke.remove();
  }

  /** @param {boolean} on */
  function drawing(on) {
    lasso.setAttribute('aria-pressed', String(on));
    box.classList.toggle('drawing', on);
    if (on) map.dragging.disable();
    else map.dragging.enable();
    setCorners([]);
    dropLine();
  }

  /** @param {PointerEvent} event */
  function take(event) {
    last = [event.clientX, event.clientY];
    const at = map.mouseEventToLatLng(event);
    line?.push([at.lng, at.lat]);
    stroke.setLatLngs((line ?? []).map(place)).addTo(map);
  }

  lasso.addEventListener('click', () => {
    drawing(!isDrawing());
    if (!isDrawing()) return;
    say('Draw round the area in one sweep. By keyboard: arrows move the map, Enter sets a corner in its middle.');
    box.focus({ preventScroll: true });
  });
  box.addEventListener('pointerdown', (/** @type {PointerEvent} */ event) => {
    down.add(event.pointerId);
    // Two fingers zoom: what the first one had begun to draw was not meant.
    if (down.size > 1) { dropLine(); return; }
    if (!isDrawing() || event.button !== 0 || /** @type {Element} */ (event.target).closest('.leaflet-control')) return;
    event.preventDefault();
    box.setPointerCapture(event.pointerId);
    line = [];
    take(event);
  });
  box.addEventListener('pointermove', (/** @type {PointerEvent} */ event) => {
    if (line && Math.hypot(event.clientX - last[0], event.clientY - last[1]) >= STRIDE) take(event);
  });
  box.addEventListener('pointerup', (/** @type {PointerEvent} */ event) => {
    if (!line) return;
    take(event);
    const loop = loopOf(simplified(line, NEARNESS));
    dropLine();
    if (!loop) say('The outline crosses itself more than once, or holds no area: draw round the area in one sweep.');
    else if (add(loop)) drawing(false);
  });
  box.addEventListener('pointercancel', dropLine);
  for (const name of ['pointerup', 'pointercancel']) {
    window.addEventListener(name, (event) => down.delete(/** @type {PointerEvent} */ (event).pointerId));
  }

  // --- by keyboard ---------------------------------------------------------------------------------

  /** @param {number[][]} next */
  function setCorners(next) {
    corners = next;
    byId('mask-close').hidden = corners.length < 3;
    if (corners.length) outline.setLatLngs(corners.map(place)).addTo(map);
    else outline.remove();
  }

  function close() {
    if (!loopOf(corners, true)) say('The outline crosses itself or holds no area: take corners back with Backspace.');
    else if (add(corners)) { drawing(false); lasso.focus({ preventScroll: true }); }
  }

  box.addEventListener('keydown', (/** @type {KeyboardEvent} */ event) => {
    if (!isDrawing() || event.target !== box) return;
    if (event.key === 'Enter') {
      const at = map.getCenter();
      setCorners([...corners, [at.lng, at.lat]]);
    } else if (event.key === 'Backspace') setCorners(corners.slice(0, -1));
    else return;
    event.preventDefault();
    say(`${corners.length} ${corners.length === 1 ? 'corner' : 'corners'} set.${corners.length > 2 ? ' Close the outline ends it.' : ''}`);
  });
  byId('mask-close').addEventListener('click', close);
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Escape') { drawing(false); return; }
    const typing = /** @type {Element} */ (event.target).closest?.('input, textarea, select');
    if (!(event.ctrlKey || event.metaKey) || event.altKey || typing || !['z', 'y'].includes(event.key.toLowerCase())) return;
    event.preventDefault();
    if (event.shiftKey || event.key.toLowerCase() === 'y') step(undone, done);
    else step(done, undone);
  });

  byId('mask-typed').addEventListener('click', () => {
    const path = cornersOf(byId('mask-corners').value);
    if (typeof path === 'string') say(path);
    else if (!loopOf(path, true)) say('The outline crosses itself or holds no area: name the corners in order round the area.');
    else if (add(path)) byId('mask-corners').value = '';
  });
  byId('mask-undo').addEventListener('click', () => step(done, undone));
  byId('mask-redo').addEventListener('click', () => step(undone, done));
  byId('mask-save').addEventListener('click', async () => {
    try {
      const body = JSON.stringify({ known, masks });
      known = (await fetchJson(`${base}/masks`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body })).known;
      saved = JSON.stringify(masks);
      show();
      say('The masks stand in the record; the print is being read again.');
      await begin('read', [record]);
    } catch (fault) {
      say(fault instanceof Error ? fault.message : String(fault));
    }
  });
  show();
  byId('masks').dataset.ready = 'yes';
}

/** @param {string} text one corner to a line, x and y [mm] @returns {number[][] | string} corners, or what is wrong */
function cornersOf(text) {
  const rows = text.split(/[\n;]/).map((row) => row.trim()).filter(Boolean);
  const path = rows.map((row) => row.split(/[,\s]+/).filter(Boolean).map(Number));
  const bad = path.findIndex((point) => point.length !== 2 || !point.every(Number.isFinite));
  if (bad >= 0) return `Corner ${bad + 1}, “${rows[bad]}”, is not x and y in mm, such as 12.5, 40.`;
  return path.length < 3 ? 'An area needs three corners at least.' : path;
}
