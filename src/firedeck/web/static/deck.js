// @ts-check
/** A definition's page: one state from the server, shown as plan, list, form and text; every change is sent there. */
import { byId, fetchJson, make } from './lib.js';
import { followNewPlan } from './deck_new.js';
import { nextState } from './deck_state.js';
import { DeckMap } from './deck_map.js';
import { DeckForm, lostName } from './deck_form.js';
import { DeckText } from './deck_text.js';

const root = byId('deck');
const base = root.dataset.base;
const word = root.dataset.word;
const query = root.dataset.query ? `&${root.dataset.query}` : '';
const gasket = root.dataset.gasket ? await fetchJson(`${base}/data?gasket=${encodeURIComponent(root.dataset.gasket)}`) : null;
/** How often the file is asked after [ms]. */
const EVERY = 1000;

/** @type {any} */
let state = nextState(null, await fetchJson(`${base}/state?had=${query}`));
let chosen = '';
/** Changes go out one after the other, each on the state that the one before has left. */
let queue = Promise.resolve();
let busy = 0;

/** @param {Record<string, unknown>} order @param {boolean} [quiet] whether the caller tells the fault itself */
function send(order, quiet = false) {
  busy += 1;
  const done = queue.then(async () => {
    try {
      const body = JSON.stringify({ disk: state.disk, ...order, seen: state.revision, had: state.mark });
      const answer = await fetchJson(`${base}/edit?${query}`, { method: 'POST', body, headers: { 'Content-Type': 'application/json' } });
      state = nextState(state, answer);
      if (answer.chosen) chosen = answer.chosen;
      tell('');
    } catch (fault) {
      if (!quiet) tell(String(/** @type {Error} */ (fault).message));
      state = await fetchState().catch(() => state);
      if (quiet) throw fault;
    } finally {
      busy -= 1;
      show();
    }
  });
  queue = done.catch(() => undefined);
  return done;
}

/** @returns {Promise<any>} the state as it is now */
const fetchState = async () => nextState(state, await fetchJson(`${base}/state?had=${state.mark}${query}`));

/** @param {string} words */
function tell(words) {
  byId('told').textContent = words;
  byId('told').hidden = !words;
}

/** @param {string} key @param {boolean} [reach] whether plan and text are to go there */
function choose(key, reach = true) {
  chosen = key;
  show();
  if (reach) text.reach();
}

const desk = { send, choose, chosen: () => chosen, tell };
/** Where nothing is drawn, what would be told the plan is told nobody. */
const nowhere = { show() {}, frame() {}, goTo() {}, focusHandle() {}, middle: () => [0, 0] };
const map = byId('map') ? new DeckMap(byId('map'), desk) : nowhere;
const form = new DeckForm(desk, map);
const text = new DeckText(desk);

function show() {
  if (!state.entries.some((/** @type {any} */ one) => one.key === chosen)) chosen = '';
  const own = state.entries[0];
  byId('plan-name').textContent = own?.name || state.name;
  if (byId('origin')) byId('origin').textContent = own?.fields.find((/** @type {any} */ one) => one.key === 'origin')?.value || 'as drawn';
  byId('facts').hidden = !state.facts.length;
  byId('facts').replaceChildren(...state.facts.flatMap((/** @type {string[]} */ [name, value]) => [make('dt', {}, name), make('dd', {}, value)]));
  map.show(state, gasket);
  form.show(state);
  text.show(state);
  showStanding();
  showFindings();
}

function showStanding() {
  const unreadable = state.findings.some((/** @type {any} */ one) => one.severity === 'unreadable');
  for (const what of ['undo', 'redo']) {
    byId(what).disabled = !state[what];
    byId(what).title = state[what];
  }
  byId('write').disabled = state.written || unreadable || Boolean(state.conflict);
  byId('standing').textContent = state.written ? `As in ${state.name}.`
    : `Draft, not yet in ${state.name}${unreadable ? ': the text defines no ${word}, so it cannot be written' : ''}.`;
  if (state.conflict) askVersions();
  else if (byId('ask').dataset.about === 'versions' || state.written) byId('ask').hidden = true;
}

function showFindings() {
  const lost = state.named.filter((/** @type {any} */ one) => one.lost);
  byId('nothing').hidden = state.findings.length + lost.length > 0;
  byId('lost-names').replaceChildren(...lost.map(lostName));
  byId('findings').replaceChildren(...state.findings.map((/** @type {any} */ one) => {
    const go = make('button', { type: 'button', class: 'mini' }, 'show', make('span', { class: 'hidden' }, ` ${one.key}`));
    go.addEventListener('click', () => { choose(one.entry); if (one.at) map.goTo(one.at); text.reach(one.line); });
    return make('li', { class: one.severity === 'doubt' ? 'doubt' : 'fault' }, make('b', {}, one.severity), ` line ${one.line}, `,
      make('code', {}, one.key), `: ${one.message}${one.remedy ? `. To mend: ${one.remedy}` : ''} `, go);
  }));
}

/** @param {string} about @param {string} words @param {Node | string} shown @param {[string, () => void][]} ways */
function ask(about, words, shown, ways) {
  const news = byId('ask').hidden || byId('ask').dataset.about !== about;
  byId('ask').hidden = false;
  byId('ask').dataset.about = about;
  byId('ask-words').textContent = words;
  byId('ask-both').replaceChildren(shown);
  byId('ask-deeds').replaceChildren(...ways.map(([label, act]) => {
    const button = make('button', { type: 'button' }, label);
    button.addEventListener('click', () => { byId('ask').hidden = true; act(); });
    return button;
  }));
  if (news) byId('ask-words').focus();
}

let asked = '';
function askVersions() {
  const now = `${state.disk} ${state.revision}`;
  if (!byId('ask').hidden && asked === now) return;
  asked = now;
  const cell = (/** @type {any} */ line) => make('td', {}, line ? `${line[0]}  ${line[1]}` : '');
  const rows = state.conflict.map((/** @type {any} */ row) => make('tr', row.differs ? { class: 'differs' } : {}, cell(row.mine), cell(row.file)));
  const heads = make('tr', {}, make('th', { scope: 'col' }, 'this page'), make('th', { scope: 'col' }, 'the file'));
  const table = make('table', {}, make('thead', {}, heads), make('tbody', {}, ...rows));
  const words = state.disk === 'gone' ? 'The file is gone from the folder.' : 'The file has changed on disk since this draft was begun.';
  ask('versions', `${words} Nothing is lost: the version that you do not take stays in the history and comes back with Undo.`,
    make('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': 'Both versions' }, table), [
      ['Go on with this page', () => send({ what: 'keep' })],
      ...(state.disk === 'gone' ? [] : /** @type {[string, () => void][]} */ ([['Take the file', () => send({ what: 'take' })]])),
    ]);
}

function write() {
  const faults = state.findings.filter((/** @type {any} */ one) => one.severity === 'fault').length;
  if (!faults) { send({ what: 'write' }); return; }
  ask('faults', `The ${word} has ${faults} ${faults === 1 ? 'fault' : 'faults'}; results made from it would be wrong or impossible.`, '', [
    ['Do not write', () => byId('write').focus()],
    ['Write it with its faults', () => send({ what: 'write', faulty: true })],
  ]);
}

// The faults that count are those of the state that changes on their way will leave.
byId('write').addEventListener('click', async () => { await text.flush(); await queue; write(); });
for (const what of ['undo', 'redo']) byId(what).addEventListener('click', async () => { await text.flush(); send({ what }); });
document.addEventListener('keydown', async (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || !['z', 'y'].includes(event.key.toLowerCase())) return;
  const target = /** @type {any} */ (event.target);
  // What is being typed into a field is taken back by the browser; anything else by the plan's history.
  if (target.dataset?.was !== undefined && target.value !== target.dataset.was) return;
  if (target.closest?.('#new')) return;
  event.preventDefault();
  await text.flush();
  send({ what: event.shiftKey || event.key.toLowerCase() === 'y' ? 'redo' : 'undo' });
});

if (byId('new')) followNewPlan(byId('new'), tell, () => text.flush());

setInterval(async () => {
  if (busy || text.isPending() || document.hidden) return;
  try {
    const now = await fetchJson(`${base}/revision`);
    if (busy || text.isPending() || (now.revision === state.revision && now.disk === state.disk)) return;
    const news = await fetchState();
    if (busy || text.isPending()) return;
    state = news;
    show();
  } catch { /* the server may be stopped; what is shown stays */ }
}, EVERY);

show();
map.frame();
root.dataset.ready = 'yes';
