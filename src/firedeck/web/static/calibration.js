// @ts-check
/** The calibration page: a piece on the scan and its row in the table are shown together. */

/** @param {string} number */
function show(number) {
  for (const one of document.querySelectorAll('[data-piece]')) {
    one.classList.toggle('chosen', one.getAttribute('data-piece') === number);
  }
}

for (const link of document.querySelectorAll('svg [data-piece]')) {
  link.addEventListener('click', () => show(link.getAttribute('data-piece') ?? ''));
}
for (const button of document.querySelectorAll('[data-show]')) {
  button.addEventListener('click', () => {
    const number = button.getAttribute('data-show') ?? '';
    show(number);
    document.querySelector(`svg [data-piece="${number}"]`)?.scrollIntoView({ block: 'center' });
  });
}
const named = location.hash.match(/^#piece-(\d+)$/);
if (named) show(named[1]);
