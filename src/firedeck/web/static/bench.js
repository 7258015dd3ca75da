// @ts-check
/** The bench page: jobs, files brought in, the pair to compare. */
import { byId, faultWords, make } from './lib.js';
import { followNewPlan } from './deck_new.js';
import { begin, follow } from './jobs.js';

for (const button of document.querySelectorAll('button[data-job]')) {
  button.addEventListener('click', () => {
    const names = (button.getAttribute('data-names') ?? '').split('|').filter(Boolean);
    begin(button.getAttribute('data-job') ?? '', names);
  });
}

byId('pair')?.addEventListener('submit', (/** @type {SubmitEvent} */ event) => {
  event.preventDefault();
  const form = new FormData(/** @type {HTMLFormElement} */ (event.target));
  const [first, second] = [form.get('first'), form.get('second')].map((one) => encodeURIComponent(String(one)));
  if (first !== second) location.assign(`/against/${first}/${second}`);
});

/**
 * Send one file as it is; the browser streams it from the disk.
 * @param {File} file @param {boolean} replace
 * @returns {Promise<boolean>}
 */
function send(file, replace) {
  const bar = /** @type {HTMLProgressElement} */ (make('progress', { max: '1', 'aria-label': file.name }));
  bar.value = 0;
  const words = make('span', { class: 'quiet' }, 'waiting');
  const stop = make('button', { type: 'button', class: 'mini' }, 'Cancel', make('span', { class: 'hidden' }, ` ${file.name}`));
  byId('uploads').append(make('li', {}, make('b', {}, file.name), bar, words, stop));
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    const end = (/** @type {string} */ told, /** @type {boolean} */ well) => {
      words.textContent = told;
      words.className = well ? 'quiet' : 'fault';
      stop.remove();
      resolve(well);
    };
    request.upload.onprogress = (event) => {
      bar.value = event.loaded / Math.max(1, event.total);
      words.textContent = `${(event.loaded / 1e6).toFixed(0)} of ${(event.total / 1e6).toFixed(0)} MB`;
    };
    request.onload = () => {
      if (request.status === 201) { bar.value = 1; end('is here', true); return; }
      let fault = null;
      try { fault = JSON.parse(request.responseText).fault; } catch { /* no words from the server */ }
      end(faultWords(fault) || `refused (${request.status})`, false);
    };
    request.onerror = () => end('the connection broke', false);
    request.onabort = () => end('cancelled', false);
    stop.addEventListener('click', () => request.abort());
    request.open('PUT', `/import/${encodeURIComponent(file.name)}${replace ? '?replace=1' : ''}`);
    request.send(file);
  });
}

/** @param {FileList | File[]} files */
async function bring(files) {
  const replace = byId('replace').checked;
  let all = true;
  for (const file of files) all = (await send(file, replace)) && all;
  if (all && files.length) location.reload();
}

if (byId('new-plan')) followNewPlan(byId('new-plan'), (words) => { byId('new-plan-told').textContent = words; });

const drop = byId('drop');
if (drop) {
  byId('files').addEventListener('change', () => bring([...byId('files').files]));
  for (const name of ['dragover', 'dragleave', 'drop']) {
    drop.addEventListener(name, (/** @type {DragEvent} */ event) => {
      event.preventDefault();
      drop.classList.toggle('over', name === 'dragover');
      if (name === 'drop' && event.dataTransfer) bring([...event.dataTransfer.files]);
    });
  }
}

follow();
