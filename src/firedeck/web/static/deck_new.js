// @ts-check
/** The form that begins a new deck plan; the page of the new plan is opened. */
import { fetchJson } from './lib.js';

/**
 * @param {HTMLElement} form @param {(words: string) => void} tell
 * @param {() => Promise<void>} [before] what must be done first
 */
export function followNewPlan(form, tell, before = async () => undefined) {
  form.addEventListener('submit', async (/** @type {SubmitEvent} */ event) => {
    event.preventDefault();
    await before();
    const order = Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (form)));
    fetchJson('/deck-new', { method: 'POST', body: JSON.stringify(order) })
      .then((made) => location.assign(made.page), (/** @type {Error} */ fault) => tell(fault.message));
  });
}
