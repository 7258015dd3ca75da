// @ts-check
/** The clamp page: one setting after another, answered by the contact model. */
import uPlot from './vendor/uplot/uplot.js';
import { followPrint } from './clamp_print.js';
import { Setting } from './clamp_setting.js';
import { Tables } from './clamp_tables.js';
import { Units } from './clamp_units.js';
import { byId, colour, fetchJson, keepInAddress, latest, make, pause } from './lib.js';
import { LineLayer } from './line_layer.js';
import { REPAINTED } from './paper.js';
import { Painter } from './paint.js';
import { L, frameView, makeViewer, mark, planLayer } from './viewer.js';

const REST_MS = 350;
/** Entries on which the give-way order does not depend. */
const NOT_ORDERED = ['pressure', 'bore', 'step'];
const root = byId('clamp');
const base = `/clamp/${encodeURIComponent(root.dataset.name)}`;
const data = await fetchJson(`${base}/data${location.search}`);

/** @param {string} text @returns {Float32Array} */
const floats = (text) => new Float32Array(Uint8Array.from(atob(text), (one) => one.charCodeAt(0)).buffer);
const places = floats(data.places);
const angles = floats(data.angles);
const painter = new Painter(data.looks);
const wanted = new URL(location.href).searchParams;
const units = new Units(data.units, wanted.get('units') === 'imperial' ? 'imperial' : 'metric');
/** Where the points of each seal begin. */
const firsts = data.seals.reduce((/** @type {number[]} */ all, /** @type {any} */ one) => [...all, all[all.length - 1] + one.points], [0]);
/** @type {any} */
let answer = null;
/** @type {Map<string, any>} */
let order = new Map();

// --- map -----------------------------------------------------------------------------------------

const xs = data.plan.outline.map((/** @type {number[]} */ one) => one[0]);
const ys = data.plan.outline.map((/** @type {number[]} */ one) => one[1]);
const bounds = L.latLngBounds([[Math.min(...ys), Math.min(...xs)], [Math.max(...ys), Math.max(...xs)]]);
const map = makeViewer(byId('map'), { x0: Math.min(...xs), top: Math.max(...ys), pitch: 0.25 });
frameView(map, bounds, null);
planLayer(data.plan, true).addTo(map);
const lines = new LineLayer({ list: data.seals, places }, painter).addTo(map);
for (const one of data.fasteners) {
  const icon = L.divIcon({ className: 'mark name', html: make('span', {}, one.name.replace(/^\D+/, '') || one.name), iconSize: [24, 24] });
  L.marker([one.place[1], one.place[0]], { icon, keyboard: false, interactive: false }).addTo(map);
}
const pointer = L.circleMarker([0, 0], { radius: 8, className: 'pointer', interactive: false });
/** @type {any} */
let weak = null;
byId('whole').addEventListener('click', () => frameView(map, bounds, null));

function showScale() {
  painter.setTop(Number(byId('top').value));
  painter.limit = Number(byId('limit').value);
  byId('top-out').textContent = `${units.text(painter.top, 'contact')} ${units.name('contact')}`;
  byId('limit-out').textContent = `${units.text(painter.limit, 'contact', painter.limit % 1 ? 1 : undefined)} ${units.name('contact')}`;
  painter.paintScale(byId('scale'));
  const top = units.value(painter.top, 'contact');
  const apart = [2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000].find((one) => top / one <= 6) ?? 20000;
  const ticks = [];
  for (let value = 0; value <= top; value += apart) {
    const tick = make('li', {}, value === 0 ? `0 ${units.name('contact')}` : String(value));
    tick.style.bottom = `${(100 * value) / top}%`;
    ticks.push(tick);
  }
  byId('ticks').replaceChildren(...ticks);
  if (answer) { lines.repaint(); drawStrip(); }
}
for (const id of ['top', 'limit']) {
  byId(id).addEventListener('input', showScale);
  byId(id).addEventListener('change', () => keepInAddress({ [id]: byId(id).value }));
}

// --- one seal --------------------------------------------------------------------------------------

/** @type {any} */
let plot = null;
const chosen = () => Number(byId('seal').value);

function drawStrip() {
  const first = firsts[chosen()];
  const { points } = data.seals[chosen()];
  const canvas = byId('strip');
  canvas.width = points;
  canvas.height = 1;
  const context = canvas.getContext('2d');
  for (let k = 0; k < points; k++) {
    context.fillStyle = painter.shade(answer.contact[first + k]);
    context.fillRect(k, 0, 1, 1);
  }
}

function drawSeal() {
  const index = chosen();
  const seal = data.seals[index];
  const first = firsts[index];
  const told = answer.seals[index];
  drawStrip();
  const load = Array.from(answer.load.subarray(first, first + seal.points), (one) => units.value(one, 'line-load'));
  const least = units.value(seal.least_N_per_mm, 'line-load');
  const at = load.map((_, k) => (seal.round ? (360 * k) / seal.points : (seal.length_mm * k) / seal.points));
  const unit = units.name('line-load');
  const asked = seal.least_N_per_mm > 0 ? `; broken line: least asked for, ${units.text(seal.least_N_per_mm, 'line-load')} ${unit}` : '';
  byId('seal-words').textContent = `${seal.name}, ${seal.kind}: lowest ${units.text(told.lowest_N_per_mm, 'line-load')} ${unit} at ${told.angle_deg.toFixed(0)}°, mean ${units.text(told.mean_N_per_mm, 'line-load')} ${unit}${asked}.`;
  byId('curve').setAttribute('aria-label', `Line load along ${byId('seal-words').textContent}`);
  weak?.remove();
  weak = mark([told.x_mm, told.y_mm], String(index + 1), 'weak', `Lowest place of ${seal.name}`, () => byId('seal').focus()).addTo(map);
  const step = 50 * (units.system === 'metric' ? 1 : 5);
  const top = Math.max(step, Math.ceil(Math.max(...load, least) / step) * step);
  const columns = [at, load, at.map(() => (seal.least_N_per_mm > 0 ? least : null))];
  const ends = `${index} ${top} ${unit} ${colour('--ink')} ${byId('curve').clientWidth}`;
  if (plot && plot.ends === ends) { plot.setData(columns, true); return; }
  plot?.destroy();
  const label = seal.round ? `angle from ${angles[first].toFixed(0)}° on [degree]` : 'arc length [mm]';
  const axis = { stroke: colour('--ink'), grid: { stroke: colour('--line'), width: 1 }, font: '12px "DejaVu Sans", Verdana, sans-serif' };
  plot = new uPlot({
    width: byId('curve').clientWidth, height: 240, padding: [8, 14, 0, 0], legend: { show: false },
    scales: { x: { time: false, range: [0, seal.round ? 360 : seal.length_mm] }, y: { range: [0, top] } },
    axes: [{ ...axis, label, labelSize: 20, labelFont: axis.font, size: 36, incrs: seal.round ? [45, 90] : undefined },
      { ...axis, label: `line load [${unit}]`, labelSize: 16, labelFont: axis.font, size: 38 }],
    series: [{}, { stroke: colour('--curve'), width: 2, points: { show: false } }, { stroke: colour('--limit'), width: 1.5, dash: [8, 5], points: { show: false } }],
    cursor: { y: false, drag: { x: false, y: false } },
    hooks: { setCursor: [(/** @type {any} */ drawn) => showPlace(first, drawn.cursor.idx)] },
  }, columns, byId('curve'));
  plot.ends = ends;
}

/**
 * Show on the map where the curve is pointed at.
 * @param {number} first
 * @param {number | null | undefined} k
 */
function showPlace(first, k) {
  if (k === null || k === undefined) pointer.remove();
  else pointer.setLatLng([places[2 * (first + k) + 1], places[2 * (first + k)]]).addTo(map);
}

/** @param {string} name */
function chooseSeal(name) {
  byId('seal').value = String(data.seals.findIndex((/** @type {any} */ one) => one.name === name));
  byId('seal').dispatchEvent(new Event('change'));
  byId('line-head').scrollIntoView();
  byId('seal').focus({ preventScroll: true });
}
new ResizeObserver(() => plot?.setSize({ width: byId('curve').clientWidth, height: 240 })).observe(byId('curve'));
document.addEventListener(REPAINTED, () => { if (answer) drawSeal(); });
byId('seal').addEventListener('change', () => { keepInAddress({ seal: byId('seal').value }); if (answer) drawSeal(); });
const tables = new Tables(units, data.signs, chooseSeal);

function paint() {
  lines.show(answer.contact);
  drawSeal();
  tables.show(answer, order);
}

// --- setting ----------------------------------------------------------------------------------------

const setting = new Setting(byId('setting'), root.dataset.gasket, data.stated, units, changed);
const print = followPrint(base, () => setting.said(), units, () => answer);

/** @param {any} told */
function show(told) {
  setting.showFaults(told.faults);
  byId('trouble').hidden = true;
  if (told.faults) return;
  answer = { ...told, load: floats(told.load), contact: floats(told.contact) };
  setting.show(told);
  byId('command').textContent = told.command;
  paint();
  root.dataset.doubted = told.doubted ? 'yes' : 'no';
  root.dataset.shown = `${told.level} ${Number(told.pressure_MPa.toPrecision(6))} MPa ${told.step ?? ''}`;
}

/** @param {unknown} fault */
function tellTrouble(fault) {
  byId('trouble').hidden = false;
  byId('trouble').textContent = fault instanceof Error ? fault.message : String(fault);
}

/** Whether another gasket is being tried. */
let trying = false;

/** Go to another gasket where it fits; one that does not is told of here, and the joint stays as it is. */
async function changeGasket() {
  const choice = setting.entry('gasket');
  trying = true;
  setting.showGasket('The joint is being put together on this gasket.');
  const opening = `${base}/opening?again=1&gasket=${encodeURIComponent(choice.value)}`;
  let found = await fetchJson(opening).catch((fault) => ({ state: 'failed', fault: fault.message }));
  while (found.state === 'opening') {
    await pause(REST_MS);
    found = await fetchJson(opening.replace('again=1&', '')).catch((fault) => ({ state: 'failed', fault: fault.message }));
  }
  if (found.state !== 'failed') { setting.keep(); location.reload(); return; }
  trying = false;
  setting.showGasket(found.fault);
  choice.value = answer.setting.gasket;
}

/** @typedef {{said: URLSearchParams, place: number}} Asked */
let turn = 0;
/** Turn whose setting is shown with every point solved: no quick answer may take its place. */
let checked = 0;
const ask = latest(
  (/** @type {Asked} */ asked) => fetchJson(`${base}/answer?${asked.said}&quick=1`)
    .catch((fault) => { tellTrouble(fault); throw fault; }),
  (told, asked) => {
    if (asked.place <= checked) return;
    show(told);
    // Rest begins once the answer is there, however long it took: until then the server has enough to do.
    if (asked.place === turn && !told.faults) timer = window.setTimeout(() => rest(asked.said, asked.place), REST_MS);
  },
  true,
);
/** @type {number | undefined} */
let timer;
/** @type {AbortController | null} */
let resting = null;
/** @type {string | null} */
let ordered = null;

function changed() {
  const said = setting.said();
  for (const link of document.querySelectorAll('a[data-file]')) link.setAttribute('href', `${base}/${link.getAttribute('data-file')}?${said}`);
  if (!trying) setting.showGasket('');
  const place = ++turn;
  const asked = new URLSearchParams(said);
  asked.set('units', units.system);
  clearTimeout(timer);
  resting?.abort();
  ask({ said: asked, place });
}

/**
 * Work out a setting that rests: every point, the intervals, the give-way order, and its intervals.
 * @param {URLSearchParams} said
 * @param {number} place
 */
async function rest(said, place) {
  resting = new AbortController();
  const { signal } = resting;
  try {
    const told = await fetchJson(`${base}/answer?${said}&check=1`, { signal });
    if (place !== turn) return;
    checked = place;
    show(told);
    drawPictures(said);
    if (told.faults) return;
    if (!told.step) show(await fetchJson(`${base}/answer?${said}&check=1&doubts=1`, { signal }));
    await findOrder(said, signal);
  } catch (fault) { if (place === turn) tellTrouble(fault); }
}

/** @param {URLSearchParams} said @param {AbortSignal} signal */
async function findOrder(said, signal) {
  const key = [...said].filter(([name]) => !NOT_ORDERED.includes(name) && name !== 'units').map((one) => one.join('=')).join('|');
  if (key === ordered) return;
  ordered = null;
  const state = byId('order-state');
  state.textContent = 'The give-way order is being worked out for this joint.';
  for (const how of ['', '&doubts=1']) {
    const { rows } = await fetchJson(`${base}/giveway?${said}${how}`, { signal });
    order = new Map(rows.map((/** @type {any} */ one) => [one.seal, one]));
    tables.show(answer, order);
    state.textContent = how ? 'Gives at: pressure of one cylinder at which the seal passes a limit, with its interval.' : 'The intervals of the give-way order are being worked out.';
    root.dataset.ordered = how ? `${key} doubted` : key;
  }
  ordered = key;
}

/**
 * Draw what is unfolded.
 * @param {URLSearchParams} [said]
 */
function drawPictures(said = setting.said()) {
  for (const place of document.querySelectorAll('details.drawn')) {
    const image = /** @type {HTMLImageElement} */ (place.querySelector('img'));
    const source = `${base}/picture/${place.getAttribute('data-drawn')}.png?${said}`;
    if (/** @type {HTMLDetailsElement} */ (place).open && image.getAttribute('src') !== source) image.src = source;
  }
}
for (const place of document.querySelectorAll('details.drawn')) place.addEventListener('toggle', () => drawPictures());

const form = byId('setting');
form.addEventListener('submit', (/** @type {SubmitEvent} */ event) => event.preventDefault());
form.addEventListener('change', (/** @type {any} */ event) => {
  const { name } = event.target;
  if (name === 'gasket') changeGasket();
  else if (name) {
    setting.step = '';
    setting.keep();
    changed();
  }
});
/** @param {number | null} to @param {string} [move] */
function goStep(to, move = '') {
  setting.step = to === null ? '' : String(Math.max(1, Math.min(Number(byId('step').max), to)));
  setting.keep(move);
  changed();
}
byId('step').addEventListener('input', () => goStep(Number(byId('step').value), 'step'));
byId('back').addEventListener('click', () => goStep(setting.step ? Number(setting.step) - 1 : Number(byId('step').max) - 1));
byId('next').addEventListener('click', () => goStep(setting.step ? Number(setting.step) + 1 : 1));
byId('finished').addEventListener('click', () => goStep(null));
byId('reset').addEventListener('click', () => {
  if (setting.said().has('gasket')) { location.search = ''; return; }
  form.reset();
  goStep(null);
});
byId('copy').addEventListener('click', async () => {
  await navigator.clipboard.writeText(byId('command').textContent);
  byId('copy').textContent = 'Copied';
});
byId('units').addEventListener('change', () => {
  units.change(byId('units').value);
  keepInAddress({ units: units.system === 'metric' ? null : units.system });
  showScale();
  print.repaint();
  changed();
});
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { if (answer) drawSeal(); });

setting.read();
byId('units').value = units.system;
units.change(units.system);
for (const id of ['top', 'limit']) byId(id).value = wanted.get(id) ?? byId(id).value;
if (data.seals[Number(wanted.get('seal'))]) byId('seal').value = wanted.get('seal') ?? '0';
showScale();
changed();
root.dataset.ready = 'yes';
