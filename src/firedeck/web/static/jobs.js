// @ts-check
/** Jobs: begin them, follow them across reloads, stop them. */
import { byId, faultWords, fetchJson, make } from './lib.js';

const PAUSE_MS = 600;

/** Jobs that were under way when this page first saw them: their end is told; of older ends failures alone are. */
const seen = new Set();

/** Where this tab keeps the keys of failures that were put away. */
const PUT_AWAY = 'put-away';

/** @returns {string[]} */
const putAway = () => (sessionStorage.getItem(PUT_AWAY) ?? '').split(' ');

/** @param {any} job @returns {boolean} whether this page is the one that it was begun for; all are the bench's */
function isHere(job) {
  const { pathname } = new URL(job.target, location.href);
  return location.pathname === '/' || location.pathname === pathname || location.pathname.startsWith(`${pathname}/`);
}

/** @param {any} job @param {any[]} jobs the newest first @returns {boolean} whether the same work was begun again since */
const isOutdated = (job, jobs) => jobs.slice(0, jobs.indexOf(job))
  .some((one) => one.what === job.what && String(one.names) === String(job.names));

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

/** @type {(job: any) => boolean} */
let concerning = isHere;

/**
 * Ask how far all jobs are, and again as long as one is under way.
 * @param {(job: any) => boolean} [concerns] whether an old failure of a job is told on this page
 */
export async function follow(concerns = concerning) {
  concerning = concerns;
  clearTimeout(timer);
  const { jobs } = await fetchJson('/jobs').catch(() => ({ jobs: null }));
  if (!jobs) {
    timer = window.setTimeout(follow, 4 * PAUSE_MS);
    return;
  }
  for (const job of jobs) if (['waiting', 'running'].includes(job.state)) seen.add(job.key);
  const away = putAway();
  // A page that is loaded again at the wrong moment would never hear of a failure that is told once only.
  const stands = (/** @type {any} */ job) => job.state === 'failed' && concerns(job) && !away.includes(job.key);
  const shown = jobs.filter((/** @type {any} */ job) => (seen.has(job.key) || stands(job))
    && !(job.state === 'failed' && isOutdated(job, jobs)));
  show(shown);
  if (shown.some((/** @type {any} */ job) => ['waiting', 'running'].includes(job.state))) {
    timer = window.setTimeout(follow, PAUSE_MS);
  }
}

/** @param {any[]} jobs */
function show(jobs) {
  const box = byId('jobs');
  for (const card of box.querySelectorAll('[data-key]')) {
    if (!jobs.some((job) => job.key === card.getAttribute('data-key'))) card.remove();
  }
  box.hidden = jobs.length === 0 && !box.querySelector('.fault');
  for (const job of jobs) {
    let card = box.querySelector(`[data-key="${job.key}"]`);
    if (card && card.getAttribute('data-state') === job.state) {
      card.querySelector('progress').value = job.share;
      card.querySelector('.step').textContent = job.step;
      continue;
    }
    const fresh = cardOf(job);
    if (job.state === 'done' || job.state === 'failed') document.dispatchEvent(new CustomEvent(`job-${job.state}`, { detail: job }));
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
  if (job.state === 'failed') card.append(wayOn(job));
  return card;
}

/** @param {any} job one that failed */
function wayOn(job) {
  const name = () => make('span', { class: 'hidden' }, `: ${job.title}`);
  const again = make('button', { type: 'button' }, 'Try again', name());
  again.addEventListener('click', () => begin(job.what, job.names));
  const away = make('button', { type: 'button' }, 'Put away', name());
  away.addEventListener('click', () => {
    sessionStorage.setItem(PUT_AWAY, [...putAway(), job.key].join(' ').trim());
    seen.delete(job.key);
    follow();
  });
  return make('p', { class: 'deeds' }, again, away);
}
