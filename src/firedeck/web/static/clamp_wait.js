// @ts-check
/** Before a joint is open: wait for it, or have its bodies condensed as a job first. */
import { byId, fetchJson } from './lib.js';
import { begin, follow } from './jobs.js';

const PAUSE_MS = 400;
const name = byId('wait').dataset.name;

async function look() {
  const { state } = await fetchJson(`/clamp/${encodeURIComponent(name)}/opening${location.search}`)
    .catch(() => ({ state: 'failed' }));
  if (state === 'opening') {
    window.setTimeout(look, PAUSE_MS);
  } else if (state === 'uncondensed') {
    byId('opening').textContent = 'The joint is not ready to be played with yet.';
    byId('uncondensed').hidden = false;
    // A job may have ended between two looks; each ended one is answered by one new try.
    const { jobs } = await fetchJson('/jobs').catch(() => ({ jobs: [] }));
    const ended = jobs.find((/** @type {any} */ job) => job.what === 'condense' && job.state === 'done');
    if (ended && sessionStorage.getItem('condensed') !== ended.key) {
      sessionStorage.setItem('condensed', ended.key);
      location.reload();
    } else window.setTimeout(look, 4 * PAUSE_MS);
  } else location.reload();
}

byId('condense').addEventListener('click', () => {
  byId('condense').disabled = true;
  begin('condense', byId('condense').dataset.names.split('|'));
});
document.addEventListener('job-done', (event) => {
  if (/** @type {CustomEvent} */ (event).detail.what === 'condense') location.reload();
});
follow();
look();
