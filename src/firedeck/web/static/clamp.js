// @ts-check
/** The clamp page: one setting after another, answered by the contact model. */
import uPlot from './vendor/uplot/uplot.js';
import { byId, colour, fetchJson, keepInAddress, latest, make } from './lib.js';
import { LineLayer } from './line_layer.js';
import { Painter } from './paint.js';
import { L, frameView, makeViewer, mark, planLayer } from './viewer.js';

const ENTRIES = ['gasket', 'stages', 'thread', 'bearing', 'state', 'head', 'block', 'fasteners', 'pressure', 'bore'];
const REST_MS = 350;
const root = byId('clamp');
const form = byId('setting');
const base = `/clamp/${encodeURIComponent(root.dataset.name)}`;
const data = await fetchJson(`${base}/data${location.search}`);

/** @param {string} text @returns {Float32Array} */
const floats = (text) => new Float32Array(Uint8Array.from(atob(text), (one) => one.charCodeAt(0)).buffer);
const places = floats(data.places);
const angles = floats(data.angles);
const painter = new Painter(data.looks);
/** @type {any} */
let answer = null;
/** @type {Map<string, any>} */
let order = new Map();
let step = '';

// --- map -----------------------------------------------------------------------------------------

const xs = data.plan.outline.map((/** @type {number[]} */ one) => one[0]);
const ys = data.plan.outline.map((/** @type {number[]} */ one) => one[1]);
const bounds = L.latLngBounds([[Math.min(...ys), Math.min(...xs)], [Math.max(...ys), Math.max(...xs)]]);
const map = makeViewer(byId('map'), { x0: Math.min(...xs), top: Math.max(...ys), pitch: 0.25 });
frameView(map, bounds, null);
planLayer(data.plan, true).addTo(map);
const lines = new LineLayer({ list: data.seals, places }, painter).addTo(map);
for (const one of data.fasteners) mark(one.place, one.name.replace(/^\D+/, ''), 'name', one.name, () => {}).addTo(map);
byId('whole').addEventListener('click', () => frameView(map, bounds, null));

function showScale() {
  painter.setTop(Number(byId('top').value));
  painter.limit = Number(byId('limit').value);
  byId('top-out').textContent = `${byId('top').value} MPa`;
  byId('limit-out').textContent = `${byId('limit').value} MPa`;
  painter.paintScale(byId('scale'));
  const step = [10, 20, 50, 100].find((one) => painter.top / one <= 6) ?? 200;
  const ticks = [];
  for (let value = 0; value <= painter.top; value += step) {
    const tick = make('li', {}, value === 0 ? '0 MPa' : String(value));
    tick.style.bottom = `${(100 * value) / painter.top}%`;
    ticks.push(tick);
  }
  byId('ticks').replaceChildren(...ticks);
  if (answer) paint();
}
for (const id of ['top', 'limit']) byId(id).addEventListener('input', showScale);

// --- one seal --------------------------------------------------------------------------------------

/** @type {any} */
let plot = null;
function drawSeal() {
  const index = Number(byId('seal').value);
  const seal = data.seals[index];
  const first = data.seals.slice(0, index).reduce((/** @type {number} */ sum, /** @type {any} */ one) => sum + one.points, 0);
  const load = Array.from(answer.load.subarray(first, first + seal.points));
  const at = load.map((_, k) => (seal.round ? (360 * k) / seal.points : (seal.length_mm * k) / seal.points));
  const canvas = byId('strip');
  canvas.width = seal.points;
  canvas.height = 1;
  const context = canvas.getContext('2d');
  for (let k = 0; k < seal.points; k++) {
    context.fillStyle = painter.shade(answer.contact[first + k]);
    context.fillRect(k, 0, 1, 1);
  }
  const label = seal.round ? `angle from ${angles[first].toFixed(0)}° on [degree]` : 'arc length [mm]';
  const columns = [at, load, at.map(() => seal.least_N_per_mm)];
  const ends = `${index} ${Math.ceil(Math.max(...load, seal.least_N_per_mm) / 50) * 50} ${matchMedia('(prefers-color-scheme: dark)').matches}`;
  byId('curve').setAttribute('aria-label', `Line load along ${seal.name}: lowest ${Math.min(...load).toFixed(1)}, highest ${Math.max(...load).toFixed(1)} N/mm`);
  if (plot && plot.ends === ends) { plot.setData(columns, true); return; }
  plot?.destroy();
  const axis = { stroke: colour('--ink'), grid: { stroke: colour('--line'), width: 1 }, font: '12px "DejaVu Sans", Verdana, sans-serif' };
  plot = new uPlot({
    width: byId('curve').clientWidth, height: 240, padding: [8, 14, 0, 0], legend: { show: false },
    scales: { x: { time: false, range: [0, seal.round ? 360 : seal.length_mm] }, y: { range: [0, Math.max(50, Number(ends.split(' ')[1]))] } },
    axes: [{ ...axis, label, labelSize: 20, labelFont: axis.font, size: 36 }, { ...axis, label: 'line load [N/mm]', labelSize: 16, labelFont: axis.font, size: 38 }],
    series: [{}, { stroke: colour('--curve'), width: 2, points: { show: false } }, { stroke: colour('--limit'), width: 1.5, dash: [8, 5], points: { show: false } }],
    cursor: { drag: { x: false, y: false } },
  }, columns, byId('curve'));
  plot.ends = ends;
}
new ResizeObserver(() => plot?.setSize({ width: byId('curve').clientWidth, height: 240 })).observe(byId('curve'));
byId('seal').addEventListener('change', () => { keepInAddress({ seal: byId('seal').value }); drawSeal(); });

// --- tables ----------------------------------------------------------------------------------------

/** @param {any} value @param {number} places */
const number = (value, places) => (value === null ? 'not shown' : value.toFixed(places).replace('-', '−'));
/** @param {string} head @param {string[]} cells */
const row = (head, cells) => make('tr', {}, make('th', { scope: 'row' }, head), ...cells.map((one) => make('td', {}, one)));

/** @param {number | null} share @param {number} load */
const away = (share, load) => (share === null ? `${number(load, 1)} N/mm` : `${number(100 * share, 1)} % (${number(load, 1)} N/mm)`);

function paint() {
  lines.show(answer.contact);
  drawSeal();
  const seals = [...answer.seals].sort((a, b) => (a.ratio ?? Infinity) - (b.ratio ?? Infinity));
  byId('seals').replaceChildren(...seals.map((one) => {
    const gives = order.get(one.seal);
    const told = !gives ? '…' : gives.gives_at_MPa === null ? gives.reason : number(gives.gives_at_MPa, 1);
    return row(one.seal, [number(one.lowest_N_per_mm, 1), `${one.angle_deg.toFixed(0)}°`, number(one.mean_N_per_mm, 1),
      number(one.opened_um, 1), number(one.lowest_closure_um, 1), number(one.ratio, 2), one.rule, told]);
  }));
  byId('tensions').replaceChildren(...answer.fasteners.map((/** @type {any} */ one) =>
    row(one.fastener, [number(one.tension_kN, 2), number(one.swing_kN, 2)])));
  byId('bows').replaceChildren(...answer.bows.map((/** @type {any} */ one) =>
    row(`${one.fastener_a} – ${one.fastener_b}`, [number(one.opening_um, 1), number(one.head_um, 1)])));
  const least = seals[0];
  const gives = least && least.ratio !== null && least.ratio < 1;
  byId('finding').textContent = `${answer.words}: ${least.seal} has ${number(least.ratio, 2)} times what it needs${gives ? ' and gives' : ''}`;
  const one = answer.certificate;
  byId('certificate').textContent = `Certificate: ${one.sound ? 'sound' : 'not sound'}. Largest unbalanced force ${one.residual.toExponential(1)} of the largest at work, lowest point load ${one.lowest_point_load_N.toFixed(2)} N, force off by ${one.force_error.toExponential(1)}, moment by ${one.moment_error.toExponential(1)}.`;
  const off = answer.difference;
  byId('level').textContent = off
    ? `Every gasket point solved. The quick answer was off by ${away(off.mean, off.mean_N_per_mm)} in mean line load (${off.mean_seal}) and by ${away(off.lowest, off.lowest_N_per_mm)} in the lowest (${off.lowest_seal}).`
    : `Quick answer by patches of the gasket${answer.quick ? ', all fasteners brought to their tensions at once' : ''}; every point and every move of the wrench is solved when you rest.`;
}

// --- setting ----------------------------------------------------------------------------------------

/** @param {string} key @returns {string} what a choice stands at where the address does not say */
function usual(key) {
  if (key === 'gasket') return root.dataset.gasket;
  const options = [...(form.elements.namedItem(key).options ?? [])];
  return options.find((one) => one.defaultSelected)?.value ?? '';
}

/** @returns {URLSearchParams} what differs from the files */
function setting() {
  const said = new URLSearchParams();
  for (const key of ENTRIES) {
    const value = form.elements.namedItem(key).value.trim();
    if (value && value !== usual(key)) said.set(key, value);
  }
  if (step) said.set('step', step);
  return said;
}

/** @param {any} told */
function show(told) {
  for (const key of ENTRIES) {
    const place = byId(`fault-${key}`);
    const words = told.faults?.[key] ?? '';
    place.hidden = !words;
    place.textContent = words;
    form.elements.namedItem(key).setAttribute('aria-invalid', String(Boolean(words)));
  }
  byId('trouble').hidden = true;
  if (told.faults) return;
  answer = { ...told, load: floats(told.load), contact: floats(told.contact), closure: floats(told.closure) };
  byId('gas').value = String(parseFloat(told.setting.pressure));
  byId('pressure-out').textContent = told.setting.pressure;
  byId('step').max = String(told.count);
  byId('step').value = String(told.step ?? told.count);
  byId('step-out').textContent = told.step ? `step ${told.step} of ${told.count}` : 'finished';
  paint();
  root.dataset.shown = `${told.level} ${told.setting.pressure} ${told.step ?? ''}`;
}

/** @param {unknown} fault */
function tellTrouble(fault) {
  byId('trouble').hidden = false;
  byId('trouble').textContent = fault instanceof Error ? fault.message : String(fault);
}

/** Go to another gasket where it fits; one that does not is told of here, and the joint stays as it is. */
async function changeGasket() {
  const choice = form.elements.namedItem('gasket');
  const said = setting();
  const told = byId('fault-gasket');
  told.hidden = false;
  told.textContent = 'The joint is being put together on this gasket.';
  const opening = `${base}/opening?again=1&gasket=${encodeURIComponent(choice.value)}`;
  let found = await fetchJson(opening).catch((fault) => ({ state: 'failed', fault: fault.message }));
  while (found.state === 'opening') {
    await new Promise((go) => { window.setTimeout(go, REST_MS); });
    found = await fetchJson(opening.replace('again=1&', '')).catch((fault) => ({ state: 'failed', fault: fault.message }));
  }
  if (found.state !== 'failed') { location.search = String(said); return; }
  told.textContent = found.fault;
  choice.value = answer.setting.gasket;
}

let turn = 0;
/** Turn whose setting is shown with every point solved: no quick answer may take its place. */
let checked = 0;
const ask = latest(
  (/** @type {{said: URLSearchParams, place: number}} */ asked) => fetchJson(`${base}/answer?${asked.said}&quick=1`)
    .catch((fault) => { tellTrouble(fault); throw fault; }),
  (told, asked) => { if (asked.place > checked) show(told); },
  true,
);
/** @type {number | undefined} */
let timer;
let ordered = '';

function changed() {
  const said = setting();
  /** @type {Record<string, string | null>} */
  const kept = { step: step || null };
  for (const key of ENTRIES) kept[key] = said.get(key);
  keepInAddress(kept);
  for (const link of document.querySelectorAll('a[data-file]')) link.setAttribute('href', `${base}/${link.getAttribute('data-file')}?${said}`);
  const place = ++turn;
  ask({ said, place });
  clearTimeout(timer);
  timer = window.setTimeout(async () => {
    try {
      const told = await fetchJson(`${base}/answer?${said}&check=1`);
      if (place !== turn) return;
      checked = place;
      show(told);
      if (told.faults) return;
      const key = ['gasket', 'stages', 'thread', 'bearing', 'state', 'head', 'block', 'fasteners'].map((one) => said.get(one)).join('|');
      if (key === ordered) return;
      byId('order-state').textContent = 'The give-way order is being worked out for this joint.';
      const { rows } = await fetchJson(`${base}/giveway?${said}`);
      if (place !== turn) return;
      ordered = key;
      order = new Map(rows.map((/** @type {any} */ one) => [one.seal, one]));
      byId('order-state').textContent = 'Gives at: pressure of one cylinder at which the seal passes a limit.';
      paint();
      root.dataset.ordered = key;
    } catch (fault) { if (place === turn) tellTrouble(fault); }
  }, REST_MS);
}

form.addEventListener('submit', (/** @type {SubmitEvent} */ event) => event.preventDefault());
form.addEventListener('change', (/** @type {any} */ event) => {
  if (event.target.name === 'gasket') changeGasket();
  else if (event.target.name) { order = event.target.name === 'pressure' || event.target.name === 'bore' ? order : new Map(); changed(); }
});
byId('gas').addEventListener('input', () => {
  form.elements.namedItem('pressure').value = `${byId('gas').value} MPa`;
  step = '';
  changed();
});
/** @param {number | null} to */
function goStep(to) {
  step = to === null ? '' : String(Math.max(1, Math.min(Number(byId('step').max), to)));
  changed();
}
byId('step').addEventListener('input', () => goStep(Number(byId('step').value)));
byId('back').addEventListener('click', () => goStep(step ? Number(step) - 1 : Number(byId('step').max) - 1));
byId('next').addEventListener('click', () => goStep(step ? Number(step) + 1 : 1));
byId('finished').addEventListener('click', () => goStep(null));
byId('reset').addEventListener('click', () => { location.search = ''; });
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { if (answer) drawSeal(); });

const address = new URL(location.href).searchParams;
for (const key of ENTRIES) {
  const value = address.get(key);
  if (value !== null) form.elements.namedItem(key).value = value;
}
step = address.get('step') ?? '';
if (data.seals[Number(address.get('seal'))]) byId('seal').value = address.get('seal') ?? '0';
showScale();
changed();
root.dataset.ready = 'yes';
