// @ts-check
/** The film page: map, scale, read-out, layers; the seals' own view stands in seal_view.js. */
import { byId, fetchJson, keepInAddress, latest, make, pause } from './lib.js';
import { showLooks, showScaleOf } from './looks.js';
import { Painter } from './paint.js';
import { L, ValueLayer, frameView, makeViewer, mark, place, planLayer, sealLayer } from './viewer.js';

/** How long the first tile is waited for, and how long a view must rest to be kept in the address [ms]. */
const MAP_FIRST_MS = 1500;
const KEEP_MS = 200;

const root = byId('film');
const base = `/film/${encodeURIComponent(root.dataset.test)}`;
const address = new URL(location.href).searchParams;
const data = await fetchJson(`${base}/data`);
const { grid, looks } = data;
const painter = new Painter(looks);

const frame = { x0: grid.x0_mm, top: grid.y0_mm + grid.rows * grid.pitch_mm, pitch: grid.pitch_mm };
const right = grid.x0_mm + grid.cols * grid.pitch_mm;
const bounds = L.latLngBounds([[grid.y0_mm, grid.x0_mm], [frame.top, right]]);
const map = makeViewer(byId('map'), frame);

let pooling = 'mean';
const values = new ValueLayer({
  tileSize: looks.tile, minNativeZoom: -5, maxNativeZoom: 0, minZoom: -6, maxZoom: 6, bounds, keepBuffer: 1,
  updateWhenZooming: true, updateInterval: 40, painter,
  address: (/** @type {number} */ level, /** @type {number} */ x, /** @type {number} */ y) =>
    `${base}/tile/${data.revision}/${pooling}/${level}/${x}/${y}`,
});

// --- scale and threshold -------------------------------------------------------------------------

const topRange = byId('top');
const limitRange = byId('limit');
const highest = data.stated_range_MPa[1];
topRange.max = String(Math.ceil(1.5 * highest));
topRange.value = String(Math.round(highest));
limitRange.max = String(Math.ceil(highest));
limitRange.value = address.get('limit') ?? String(Math.max(0, ...data.asked.map((/** @type {any} */ one) => one.contact_MPa)));

/** @type {import('./seal_view.js').SealView | undefined} */
let seals;

function showScale() {
  painter.setTop(Number(topRange.value));
  painter.limit = Number(limitRange.value);
  byId('top-out').textContent = `${topRange.value} MPa`;
  byId('limit-out').textContent = `${limitRange.value} MPa`;
  showScaleOf(byId('scale'), byId('ticks'), painter);
  values.repaint();
  seals?.repaint();
}

for (const slider of [topRange, limitRange]) slider.addEventListener('input', showScale);
limitRange.addEventListener('change', () => keepInAddress({ limit: limitRange.value }));

showLooks(byId('looks'), painter);

// The map stands before anything is laid over it: what follows keeps the page busy for a while.
frameView(map, bounds, address.get('view'));
const stands = new Promise((resolve) => { values.once('tileload tileerror', resolve); });
values.addTo(map);
showScale();
await Promise.race([stands, pause(MAP_FIRST_MS)]);
await pause(0);
const [{ follow }, { startMasks }, { SealView }] = await Promise.all([import('./jobs.js'), import('./masks.js'), import('./seal_view.js')]);

// --- layers --------------------------------------------------------------------------------------

const weakest = L.layerGroup();
data.seals.forEach((/** @type {any} */ seal, /** @type {number} */ index) => {
  if (!seal.weakest) return;
  const label = `Weakest place of ${seal.name}: ${seal.weakest.text} N/mm, verdict ${seal.state}`;
  mark(seal.weakest.point, String(index + 1), seal.state === 'holds' ? 'weak' : 'weak doubtful', label, () => choose(index)).addTo(weakest);
});
const leaks = L.layerGroup();
data.leaks.forEach((/** @type {any} */ leak, /** @type {number} */ index) => {
  const label = `Leak path ${leak.mark}, ${leak.a} to ${leak.b}: opens at ${leak.breach.text} MPa`;
  mark(leak.point, leak.mark, 'leak', label, () => showLeak(index)).addTo(leaks);
});
let asked = false;
leaks.on('add', async () => {
  if (asked) return;
  asked = true;
  /** @type {number[][][] | null} */
  const ways = await fetchJson(`${base}/ways/${data.revision}`).catch(() => null);
  asked = ways !== null;
  for (const way of ways ?? []) if (way.length) L.polyline(way.map(place), { className: 'leak-way', interactive: false }).addTo(leaks);
});
/** @type {Record<string, any>} */
const layers = { plan: planLayer(data.plan, false), seals: sealLayer(data.plan.seals), weakest, leaks };

function showLayers() {
  for (const box of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll('input[name=layer]'))) {
    if (box.value === 'line') {
      painter.line = box.checked;
      continue;
    }
    if (box.checked) layers[box.value].addTo(map);
    else layers[box.value].remove();
  }
  values.repaint();
}

for (const box of document.querySelectorAll('input[name=layer]')) box.addEventListener('change', showLayers);
for (const choice of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll('input[name=pooling]'))) {
  choice.addEventListener('change', () => {
    pooling = choice.value;
    // Taken off and laid on again: the library's own redrawing rounds no zoom that lies between levels.
    values.remove();
    values.addTo(map);
  });
}

function tellPooling() {
  const cells = 2 ** Math.max(0, Math.min(5, -Math.round(map.getZoom())));
  const side = (cells * grid.pitch_mm).toFixed(1);
  byId('pooled').textContent = cells === 1
    ? `every cell of ${side} mm is shown` : `of the ${cells * cells} cells under it, ${side} mm square`;
}

// --- reading a point -----------------------------------------------------------------------------

const read = latest(
  (/** @type {number[]} */ point) => fetchJson(`${base}/at?x=${point[0].toFixed(3)}&y=${point[1].toFixed(3)}`),
  (/** @type {any} */ answer) => {
    byId('value').textContent = answer.text;
    const doubts = answer.flags.length && answer.pressure !== null ? `, ${answer.flags.join(', ')}` : '';
    byId('where').textContent = `at x ${answer.x.toFixed(1)}, y ${answer.y.toFixed(1)} mm${doubts}`;
    byId('readout').dataset.shown = `${answer.x.toFixed(3)},${answer.y.toFixed(3)}`;
  },
);
let byKeys = false;
byId('map').addEventListener('keydown', () => { byKeys = true; byId('map').classList.add('by-keys'); });
map.on('mousemove', (/** @type {any} */ event) => {
  byKeys = false;
  byId('map').classList.remove('by-keys');
  read([event.latlng.lng, event.latlng.lat]);
});
/** @type {number | undefined} */
let noting;
map.on('moveend', () => {
  const middle = map.getCenter();
  if (byKeys) read([middle.lng, middle.lat]);
  clearTimeout(noting);
  // Not at every step: the browser looks for the page's picture anew whenever the address changes.
  noting = window.setTimeout(keepView, KEEP_MS);
  tellPooling();
});

function keepView() {
  const middle = map.getCenter();
  keepInAddress({ view: `${middle.lng.toFixed(2)},${middle.lat.toFixed(2)},${map.getZoom().toFixed(2)}` });
}

/** @param {number[]} point @param {number} [zoom] */
function goTo(point, zoom = 0) {
  map.setView(place(point), Math.max(zoom, map.getZoom()), { animate: false });
  read(point);
}

/** @param {number} index */
function choose(index) {
  byId('seal').value = String(index);
  keepInAddress({ seal: String(index + 1) });
  seals?.show(index);
}

/** @param {number} index */
function showLeak(index) {
  const box = /** @type {HTMLInputElement} */ (document.querySelector('input[name=layer][value=leaks]'));
  box.checked = true;
  showLayers();
  goTo(data.leaks[index].point);
}

for (const button of document.querySelectorAll('button[data-leak]')) {
  button.addEventListener('click', () => {
    showLeak(Number(button.getAttribute('data-leak')));
    byId('map').scrollIntoView({ block: 'center' });
  });
}
for (const link of document.querySelectorAll('a[data-seal]')) {
  link.addEventListener('click', (event) => {
    event.preventDefault();
    choose(Number(link.getAttribute('data-seal')));
    byId('seal-head').scrollIntoView();
  });
}
byId('seal').addEventListener('change', () => choose(Number(byId('seal').value)));
byId('to-weakest').addEventListener('click', () => {
  const place = data.seals[Number(byId('seal').value)].weakest;
  if (!place) return;
  goTo(place.point);
  byId('map').scrollIntoView({ block: 'center' });
  byId('map').focus({ preventScroll: true });
});
let rulesAsked = false;
byId('rules').addEventListener('toggle', async () => {
  const place = byId('rules');
  if (!place.open || rulesAsked) return;
  rulesAsked = true;
  place.querySelector('.fault')?.remove();
  const answer = await fetch(`${base}/rules/${data.revision}`).catch(() => null);
  rulesAsked = answer !== null && answer.ok;
  if (rulesAsked) place.insertAdjacentHTML('beforeend', await /** @type {Response} */ (answer).text());
  else place.append(make('p', { class: 'urgent fault' }, 'The rules could not be fetched: load the page again.'));
});
byId('whole').addEventListener('click', () => frameView(map, bounds, null));

showLayers();
tellPooling();

const pointer = L.circleMarker([0, 0], { radius: 9, className: 'pointer', interactive: false });
seals = new SealView(data, base, painter, {
  point: (point) => { if (point) pointer.setLatLng(place(point)).addTo(map); else pointer.remove(); },
  go: goTo,
});
const wanted = Number(address.get('seal') ?? NaN) - 1;
const doubtful = data.seals.findIndex((/** @type {any} */ seal) => seal.state !== 'holds');
choose(data.seals[wanted] ? wanted : Math.max(0, doubtful));
startMasks(map, base, root.dataset.record);
follow();
root.dataset.ready = 'yes';
