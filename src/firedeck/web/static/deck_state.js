// @ts-check
/** The state of a plan as the server sends it: whole, or as what has changed since the state shown. */

/**
 * @param {any} shown the state shown, with its mark
 * @param {any} answer from the server
 * @returns {any} the state to show now, with its mark
 */
export function nextState(shown, answer) {
  const state = answer.state ?? changed(shown, answer.change);
  return { ...state, mark: answer.mark };
}

/** @param {any} old @param {Record<string, any>} change @returns {any} */
function changed(old, change) {
  const state = { ...old };
  for (const [key, one] of Object.entries(change)) {
    if (one.in) state[key] = changed(old[key], one.in);
    else if (one.of) state[key] = listed(old[key], one.of);
    else if (one.lines) state[key] = listed(old[key].split('\n'), one.lines).join('\n');
    else state[key] = one.is;
  }
  return state;
}

/** @param {any[]} old @param {any[]} items runs of the old list and new items @returns {any[]} */
function listed(old, items) {
  return items.flatMap((one) => (Array.isArray(one) ? old.slice(one[0], one[0] + one[1]) : [one.is]));
}
