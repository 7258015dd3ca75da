// @ts-check
/** Jobs: begin them, follow them across reloads, stop them. */
import { byId, faultWords, fetchJson, make } from './lib.js';

const PAUSE_MS = 600;

/** Jobs that were under way when this page first saw them: their end is told, older ends are not. */
const seen = new Set();

/** @param {string} what @param {string[]} names */
export async function begin(what, names) {
  const headers = { 'Content-Type': 'application/json' };
  try {
    // Kept alive: work that was asked for is begun even where the page is left or loaded again at once.
    const asked = { method: 'POST', headers, body: JSON.stringify({ what, names }), keepalive: true };
    const job = await fetchJson('/jobs', asked);
    seen.add(job.key);
  } catch (fault) {
    tellFault(fault instanceof Error ? fault.message : String(fault));
  }
  follow();
}

/** @param {string} words */
function tellFault(words) {
  const box = byId('jobs');
  box.hidden = false;
  box.prepend(make('p', { class: 'urgent fault' }, words));
}

/** @type {number | undefined} */
let timer;

/** Ask how far all jobs are, and again as long as one is under way. */
export async function follow() {
  clearTimeout(timer);
  const { jobs } = await fetchJson('/jobs').catch(() => ({ jobs: null }));
  if (!jobs) {
    timer = window.setTimeout(follow, 4 * PAUSE_MS);
    return;
  }
  for (const job of jobs) if (['waiting', 'running'].includes(job.state)) seen.add(job.key);
  const shown = jobs.filter((/** @type {any} */ job) => seen.has(job.key));
  show(shown);
  if (shown.some((/** @type {any} */ job) => ['waiting', 'running'].includes(job.state))) {
    timer = window.setTimeout(follow, PAUSE_MS);
  }
}

/** @param {any[]} jobs */
function show(jobs) {
  const box = byId('jobs');
  box.hidden = jobs.length === 0 && !box.querySelector('.fault');
  for (const job of jobs) {
    let card = box.querySelector(`[data-key="${job.key}"]`);
    if (card && card.getAttribute('data-state') === job.state) {
      card.querySelector('progress').value = job.share;
      card.querySelector('.step').textContent = job.step;
      continue;
    }
    const fresh = cardOf(job);
    if (job.state === 'done') document.dispatchEvent(new CustomEvent('job-done', { detail: job }));
    if (card) card.replaceWith(fresh);
    else box.append(fresh);
  }
}

/** @param {any} job */
function cardOf(job) {
  const card = make('div', { class: `job ${job.state}`, 'data-key': job.key, 'data-state': job.state });
  const bar = make('progress', { max: '1', 'aria-label': job.title });
  /** @type {any} */ (bar).value = job.share;
  card.append(make('b', {}, job.title), bar, make('span', { class: 'step' }, job.step));
  if (job.state === 'waiting' || job.state === 'running') {
    const stop = make('button', { type: 'button' }, 'Cancel', make('span', { class: 'hidden' }, `: ${job.title}`));
    stop.addEventListener('click', async () => {
      await fetchJson(`/jobs/${job.key}/cancel`, { method: 'POST' }).catch(() => null);
      follow();
    });
    card.append(stop);
  }
  if (job.state === 'done') card.append(make('a', { class: 'button', href: job.target }, 'Open the result'));
  if (job.fault) card.append(make('p', { class: 'urgent fault' }, faultWords(job.fault)));
  if (job.picture) {
    const name = encodeURIComponent(job.picture);
    card.append(make('img', { src: `/refused/${name}`, class: 'refused', alt: 'What was found on the scan' }));
  }
  return card;
}
