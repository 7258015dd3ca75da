// @ts-check
/** Two prints side by side: one scale, one view, one pointer for both maps. */
import { byId, fetchJson, latest } from './lib.js';
import { Painter } from './paint.js';
import { showLooks, showScaleOf } from './looks.js';
import { L, ValueLayer, frameView, makeViewer, place, planLayer } from './viewer.js';

const root = byId('against');
const painter = new Painter((await fetchJson(`/film/${encodeURIComponent(root.dataset.first)}/data`)).looks);
let pooling = 'mean';

/** @param {string} letter @param {string} name */
async function open(letter, name) {
  const base = `/film/${encodeURIComponent(name)}`;
  const data = await fetchJson(`${base}/data`);
  const { grid, looks } = data;
  const top = grid.y0_mm + grid.rows * grid.pitch_mm;
  const bounds = L.latLngBounds([[grid.y0_mm, grid.x0_mm], [top, grid.x0_mm + grid.cols * grid.pitch_mm]]);
  const map = makeViewer(byId(`map-${letter}`), { x0: grid.x0_mm, top, pitch: grid.pitch_mm });
  const values = new ValueLayer({
    tileSize: looks.tile, minNativeZoom: -5, maxNativeZoom: 0, minZoom: -6, maxZoom: 6, bounds, keepBuffer: 1,
    updateWhenZooming: true, updateInterval: 40, painter,
    address: (/** @type {number} */ level, /** @type {number} */ x, /** @type {number} */ y) =>
      `${base}/tile/${data.revision}/${pooling}/${level}/${x}/${y}`,
  });
  const pointer = L.circleMarker([0, 0], { radius: 9, className: 'pointer', interactive: false });
  frameView(map, bounds, null);
  values.addTo(map);
  planLayer(data.plan, false).addTo(map);
  return { letter, base, data, bounds, map, values, pointer, pitch: grid.pitch_mm };
}

const both = [await open('a', root.dataset.first), await open('b', root.dataset.second)];

// --- one view ------------------------------------------------------------------------------------

let led = false;

/** @param {any} leader @param {any} other */
function lead(leader, other) {
  if (led) return;
  led = true;
  // A point of the screen is as many mm on both, whatever the pitch of their grids.
  const zoom = leader.map.getZoom() + Math.log2(other.pitch / leader.pitch);
  other.map.setView(leader.map.getCenter(), zoom, { animate: false });
  led = false;
}

both.forEach((one, k) => one.map.on('move zoom', () => lead(one, both[1 - k])));
lead(both[0], both[1]);
byId('whole').addEventListener('click', () => frameView(both[0].map, both[0].bounds, null));

// --- one scale -----------------------------------------------------------------------------------

const topRange = byId('top');
const limitRange = byId('limit');
const highest = Math.max(...both.map((one) => one.data.stated_range_MPa[1]));
topRange.max = String(Math.ceil(1.5 * highest));
topRange.value = String(Math.round(highest));
limitRange.max = String(Math.ceil(highest));
limitRange.value = String(Math.max(0, ...both[1].data.asked.map((/** @type {any} */ one) => one.contact_MPa)));

function showScale() {
  painter.setTop(Number(topRange.value));
  painter.limit = Number(limitRange.value);
  byId('top-out').textContent = `${topRange.value} MPa`;
  byId('limit-out').textContent = `${limitRange.value} MPa`;
  showScaleOf(byId('scale'), byId('ticks'), painter);
  for (const one of both) one.values.repaint();
}

for (const slider of [topRange, limitRange]) slider.addEventListener('input', showScale);
for (const choice of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll('input[name=pooling]'))) {
  choice.addEventListener('change', () => {
    pooling = choice.value;
    for (const one of both) { one.values.remove(); one.values.addTo(one.map); }
  });
}
showLooks(byId('looks'), painter);

// --- one pointer ---------------------------------------------------------------------------------

const read = latest(
  (/** @type {number[]} */ point) => Promise.all(both.map(
    (one) => fetchJson(`${one.base}/at?x=${point[0].toFixed(3)}&y=${point[1].toFixed(3)}`),
  )),
  (/** @type {any[]} */ answers, point) => {
    answers.forEach((answer, k) => { byId(`value-${both[k].letter}`).textContent = answer.text; });
    const [first, second] = answers.map((one) => one.pressure);
    const apart = first === null || second === null ? 'no difference can be told'
      : `second minus first ${second < first ? '−' : '+'}${Math.abs(second - first).toFixed(1)} MPa`;
    byId('apart').textContent = `At x ${point[0].toFixed(1)}, y ${point[1].toFixed(1)} mm: ${apart}`;
    byId('apart').dataset.shown = `${point[0].toFixed(3)},${point[1].toFixed(3)}`;
  },
);

/** @param {number[]} point [mm] */
function point(point) {
  for (const one of both) one.pointer.setLatLng(place(point)).addTo(one.map);
  read(point);
}

for (const one of both) {
  let byKeys = false;
  one.map.on('mousemove', (/** @type {any} */ event) => { byKeys = false; point([event.latlng.lng, event.latlng.lat]); });
  one.map.getContainer().addEventListener('keydown', () => { byKeys = true; });
  one.map.on('moveend', () => {
    const middle = one.map.getCenter();
    if (byKeys) point([middle.lng, middle.lat]);
  });
}

showScale();
root.dataset.ready = 'yes';
