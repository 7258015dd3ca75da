// @ts-check
/** How a scan lies on the plan, and the landmarks that help it. The scan is shown upright; y points down. */
import { byId, fetchJson, make } from './lib.js';
import { begin } from './jobs.js';
import { L, makeViewer, mark, place } from './viewer.js';

const LONGER = 20;
const root = byId('lay');
const base = `/film/${encodeURIComponent(root.dataset.test)}/lay`;
const data = await fetchJson(`${base}/data`);

/** @typedef {{scan: string, pixel: number[], plan: number[]}} Landmark */
/** @type {Landmark[]} */
let marks = data.landmarks;
/** @type {Landmark[][]} */
const undone = [];
/** @type {Landmark[][]} */
const done = [];
let sheet = data.sheets[0];

const map = makeViewer(byId('map'), { x0: 0, top: 0, pitch: 0.25 });
const drawn = L.layerGroup().addTo(map);
const crosses = L.layerGroup().addTo(map);

/** @param {number[]} point of the scan [mm], y down @returns {[number, number]} */
const onScan = (point) => place([point[0], -point[1]]);

/** @param {number[]} point on the deck [mm] @returns {number[]} where the pose puts it on the scan [mm] */
function fromDeck([x, y]) {
  const [[a, b, c], [d, e, f]] = sheet.matrix;
  const over = a * e - b * d;
  return [(e * (x - c) - b * (y - f)) / over, (a * (y - f) - d * (x - c)) / over];
}

/** @param {Landmark} one @returns {number[]} its place on the scan [mm] */
const placeOf = (one) => one.pixel.map((part, axis) => (part + 0.5) * sheet.pixel_mm[axis]);

/** @param {number[]} point [mm] @returns {number[]} pixels of the upright scan, centres at whole numbers */
const pixelOf = (point) => point.map((part, axis) => Math.round(100 * (part / sheet.pixel_mm[axis] - 0.5)) / 100);

/** @param {Landmark[]} next */
function change(next) {
  done.push(marks);
  undone.length = 0;
  marks = next;
  showMarks();
}

/** @param {number} index @param {number[]} point [mm] */
function move(index, point) {
  change(marks.map((one, k) => (k === index ? { ...one, pixel: pixelOf(point) } : one)));
}

/** @param {number[]} point of the scan [mm] */
function add(point) {
  const opening = data.plan.openings[Number(byId('opening').value)];
  change([...marks, { scan: sheet.scan, pixel: pixelOf(point), plan: opening.middle }]);
  byId('told').textContent = `A landmark for ${opening.name} was added.`;
}

/** @param {Landmark} one */
function nameOf(one) {
  const at = data.plan.openings.find((/** @type {any} */ hole) => Math.hypot(hole.middle[0] - one.plan[0], hole.middle[1] - one.plan[1]) < 0.05);
  return at ? at.name : `x ${one.plan[0].toFixed(1)}, y ${one.plan[1].toFixed(1)} mm`;
}

/** @param {number} index which landmark has the keys after all are drawn anew */
function showMarks(index = -1) {
  crosses.clearLayers();
  const rows = [];
  for (const [k, one] of marks.entries()) {
    if (one.scan !== sheet.scan) continue;
    const point = placeOf(one);
    const label = `Landmark ${k + 1}, ${nameOf(one)}`;
    const body = document.createElement('span');
    body.textContent = '✛';
    const cross = L.marker(onScan(point), { icon: L.divIcon({ className: 'mark leak', html: body, iconSize: [24, 24] }), draggable: true, keyboard: true });
    cross.on('add', () => {
      cross.getElement().setAttribute('aria-label', label);
      cross.getElement().addEventListener('keydown', (/** @type {KeyboardEvent} */ event) => byKey(event, k));
    });
    cross.on('dragend', () => { const at = cross.getLatLng(); move(k, [at.lng, -at.lat]); });
    cross.addTo(crosses);
    if (k === index) cross.getElement().focus();
    const remove = make('button', { type: 'button', class: 'mini' }, 'Remove', make('span', { class: 'hidden' }, ` ${label}`));
    remove.addEventListener('click', () => change(marks.filter((_, other) => other !== k)));
    rows.push(make('li', { 'data-landmark': String(k) }, `${label}: scan ${point.map((part) => part.toFixed(2)).join(', ')} mm `, remove));
  }
  byId('marks').replaceChildren(...rows);
  byId('undo').disabled = !done.length;
  byId('redo').disabled = !undone.length;
}

/** @param {KeyboardEvent} event @param {number} index */
function byKey(event, index) {
  const step = event.shiftKey ? 1 : 0.1;
  const steps = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  const way = steps[/** @type {keyof typeof steps} */ (event.key)];
  if (!way && event.key !== 'Delete') return;
  event.preventDefault();
  event.stopPropagation();
  if (!way) { change(marks.filter((_, other) => other !== index)); return; }
  const from = placeOf(marks[index]);
  move(index, [from[0] + way[0], from[1] + way[1]]);
  showMarks(index);
}

/** @param {Landmark[][]} from @param {Landmark[][]} to */
function step(from, to) {
  const next = from.pop();
  if (!next) return;
  to.push(marks);
  marks = next;
  showMarks();
}

function showSheet() {
  sheet = data.sheets[Number(byId('sheet').value)];
  const [wide, high] = sheet.size_mm;
  const bounds = L.latLngBounds([[-high, 0], [0, wide]]);
  drawn.clearLayers();
  L.imageOverlay(`${base}/sheet/${Number(byId('sheet').value) + 1}`, bounds, { alt: 'The scan' }).addTo(drawn);
  L.polygon(sheet.outline.map(onScan), { color: '#0b6b88', weight: 1.5, fill: false, interactive: false }).addTo(drawn);
  if (sheet.matrix) {
    for (const shape of [data.plan.outline, ...data.plan.openings.map((/** @type {any} */ one) => one.points)]) {
      L.polygon(shape.map((/** @type {number[]} */ one) => onScan(fromDeck(one))), { color: '#b3005c', weight: 1.2, dashArray: '5 3', fill: false, interactive: false }).addTo(drawn);
    }
  }
  for (const miss of sheet.misses) {
    const end = miss.hole;
    const from = fromDeck(data.plan.openings.find((/** @type {any} */ one) => one.name === miss.opening).middle);
    const far = [from[0] + LONGER * (end[0] - from[0]), from[1] + LONGER * (end[1] - from[1])];
    L.polyline([onScan(from), onScan(far)], { color: '#d1006c', weight: 3, interactive: false }).addTo(drawn);
  }
  for (const hole of sheet.holes) {
    L.circle(onScan(hole.centre), { radius: hole.radius, color: '#1f6a52', weight: 2, fill: false, interactive: false }).addTo(drawn);
    const label = `Hole found, diameter ${(2 * hole.radius).toFixed(1)} mm, at ${hole.centre.map((/** @type {number} */ one) => one.toFixed(1)).join(', ')} mm on the scan: press to set the landmark here`;
    mark([hole.centre[0], -hole.centre[1]], '○', 'name', label, () => add(hole.centre)).addTo(drawn);
  }
  byId('lay-words').textContent = sheet.refusal || sheet.words;
  byId('lay-words').className = sheet.refusal ? 'urgent fault' : '';
  byId('add').disabled = !sheet.matrix;
  byId('misses').replaceChildren(...sheet.misses.map((/** @type {any} */ one) => make('tr', {}, make('th', { scope: 'row' }, one.opening),
    ...[one.x, one.y, one.far].map((part) => make('td', {}, part.toFixed(2).replace('-', '−'))))));
  map.fitBounds(bounds, { animate: false, padding: [8, 8] });
  showMarks();
}

data.sheets.forEach((/** @type {any} */ one, /** @type {number} */ k) => byId('sheet').append(make('option', { value: String(k) }, one.scan)));
data.plan.openings.forEach((/** @type {any} */ one, /** @type {number} */ k) => byId('opening').append(make('option', { value: String(k) }, `${one.name}, ${one.what}`)));
byId('sheet').addEventListener('change', showSheet);
byId('add').addEventListener('click', () => add(fromDeck(data.plan.openings[Number(byId('opening').value)].middle)));
byId('undo').addEventListener('click', () => step(done, undone));
byId('redo').addEventListener('click', () => step(undone, done));
byId('save').addEventListener('click', async () => {
  try {
    const body = JSON.stringify({ known: data.known, landmarks: marks });
    data.known = (await fetchJson(`${base}/landmarks`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body })).known;
    byId('told').textContent = 'The landmarks stand in the record; the print is being read again.';
    await begin('read', [root.dataset.record]);
  } catch (fault) {
    byId('told').textContent = fault instanceof Error ? fault.message : String(fault);
  }
});
showSheet();
root.dataset.ready = 'yes';
