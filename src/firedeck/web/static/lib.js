// @ts-check
/** Small helpers that every page's module shares. */

/** @param {string} id @returns {any} the element of that id, which the page's template holds */
export const byId = (id) => document.getElementById(id);

/**
 * Make an element.
 * @param {string} tag
 * @param {Record<string, string>} [attributes]
 * @param {...(Node | string)} children text is set as text, never as markup
 * @returns {HTMLElement}
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

/**
 * Fetch JSON; a fault told by the server becomes an Error with its words.
 * @param {string} address
 * @param {RequestInit} [options]
 * @returns {Promise<any>}
 */
export async function fetchJson(address, options) {
  const answer = await fetch(address, options);
  const body = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(faultWords(body.fault) || `The server answered ${answer.status}.`);
  return body;
}

/** @param {{message: string, where: string, remedy: string} | null | undefined} fault */
export function faultWords(fault) {
  if (!fault) return '';
  const head = fault.where ? `${fault.where}: ${fault.message}` : fault.message;
  return fault.remedy ? `${head}. To mend: ${fault.remedy}.` : head;
}

/**
 * Keep one call under way and drop all but the newest of those that wait.
 * @template T, R
 * @param {(asked: T) => Promise<R>} ask
 * @param {(answer: R, asked: T) => void} show
 * @param {boolean} [each] whether an answer is shown although a newer call waits
 */
export function latest(ask, show, each = false) {
  let busy = false;
  /** @type {{asked: T} | null} */
  let next = null;
  const run = async (/** @type {T} */ asked) => {
    if (busy) { next = { asked }; return; }
    busy = true;
    try {
      const answer = await ask(asked);
      if (each || !next) show(answer, asked);
    } catch { /* the next move of the pointer asks again */ } finally {
      busy = false;
      const waiting = next;
      next = null;
      if (waiting) run(waiting.asked);
    }
  };
  return run;
}

/** @param {string} name @returns {string} a colour of the page's style, as it is now */
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** @param {Record<string, string | null>} changes what the page's address is to say, so that it can be kept */
export function keepInAddress(changes) {
  const address = new URL(location.href);
  for (const [name, value] of Object.entries(changes)) {
    if (value === null) address.searchParams.delete(name);
    else address.searchParams.set(name, value);
  }
  history.replaceState(null, '', address);
}

/** @param {number} time [ms] @returns {Promise<void>} */
export const pause = (time) => new Promise((resolve) => { window.setTimeout(resolve, time); });
