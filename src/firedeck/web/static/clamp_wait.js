// @ts-check
/** Before a joint is open: wait for it, or have its bodies condensed as a job first; tell what came between. */
import { byId, fetchJson } from './lib.js';
import { begin, follow } from './jobs.js';

const PAUSE_MS = 400;
const { name } = byId('wait').dataset;
const names = byId('condense').dataset.names.split('|');

/** @param {any} job @returns {boolean} whether it condenses the bodies of this very joint */
const isOurs = (job) => job.what === 'condense' && String(job.names) === String(names);

/** A failure is told as long as its card stands: it may come before this page's first look, be put away or tried again. */
function tellWhyNot() {
  const words = document.querySelector('#jobs .job.failed')
    ? 'Head and block could not be condensed, so the joint cannot be shown. Why, and what to do, stands below.'
    : 'The joint is not ready to be played with yet.';
  // The line is read aloud whenever it is written.
  if (byId('opening').textContent !== words) byId('opening').textContent = words;
}

async function look() {
  const { state, fault } = await fetchJson(`/clamp/${encodeURIComponent(name)}/opening${location.search}`)
    .catch((reason) => ({ state: 'failed', fault: reason.message }));
  if (state === 'opening') {
    window.setTimeout(look, PAUSE_MS);
  } else if (state === 'uncondensed') {
    byId('uncondensed').hidden = false;
    tellWhyNot();
    // A job may have ended between two looks; each ended one is answered by one new try.
    const { jobs } = await fetchJson('/jobs').catch(() => ({ jobs: [] }));
    const ended = jobs.find((/** @type {any} */ job) => isOurs(job) && job.state === 'done');
    if (ended && sessionStorage.getItem('condensed') !== ended.key) {
      sessionStorage.setItem('condensed', ended.key);
      location.reload();
    } else window.setTimeout(look, 4 * PAUSE_MS);
  } else if (state === 'failed') {
    // Loaded again by itself the page would only try again and again.
    byId('opening').textContent = 'The joint cannot be opened.';
    byId('why').textContent = fault;
    byId('failed').hidden = false;
  } else location.reload();
}

byId('condense').addEventListener('click', () => begin('condense', names));
byId('again').addEventListener('click', () => location.reload());
document.addEventListener('job-done', (event) => {
  if (isOurs(/** @type {CustomEvent} */ (event).detail)) location.reload();
});
follow(isOurs);
look();
