// @ts-check
/** The deck page: the plan, its kinds, and whatever is pointed at. */
import { byId, fetchJson, make } from './lib.js';
import { L, frameView, makeViewer, mark, place, planLayer, sealLayer } from './viewer.js';

const root = byId('deck');
const gasket = root.dataset.gasket ? `?gasket=${encodeURIComponent(root.dataset.gasket)}` : '';
const plan = await fetchJson(`/deck/${encodeURIComponent(root.dataset.plan)}/data${gasket}`);

const xs = plan.outline.map((/** @type {number[]} */ one) => one[0]);
const ys = plan.outline.map((/** @type {number[]} */ one) => one[1]);
const bounds = L.latLngBounds([[Math.min(...ys), Math.min(...xs)], [Math.max(...ys), Math.max(...xs)]]);
const map = makeViewer(byId('map'), { x0: Math.min(...xs), top: Math.max(...ys), pitch: 0.25 });
frameView(map, bounds, null);
planLayer(plan, true).addTo(map);
sealLayer(plan.seals).addTo(map);

for (const hole of plan.openings) {
  if (!['fastener', 'bore'].includes(hole.kind)) continue;
  const label = `${hole.name}, ${hole.what}`;
  mark(hole.middle, hole.kind === 'bore' ? hole.name : hole.short, 'name', label, () => tell(hole)).addTo(map);
}

/** @param {any} hole */
function tell(hole) {
  byId('value').textContent = hole.name;
  const size = hole.diameter_mm ? `, diameter ${hole.diameter_mm.toFixed(2)} mm` : '';
  byId('where').textContent = `${hole.what} at x ${hole.middle[0].toFixed(2)}, y ${hole.middle[1].toFixed(2)} mm${size}`;
}

/** @param {number[][]} ring @param {number} x @param {number} y */
function holds(ring, x, y) {
  let inside = false;
  for (let k = 0, last = ring.length - 1; k < ring.length; last = k++) {
    const [ax, ay] = ring[k];
    const [bx, by] = ring[last];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  }
  return inside;
}

map.on('mousemove', (/** @type {any} */ event) => {
  const { lng: x, lat: y } = event.latlng;
  const hole = plan.openings.find((/** @type {any} */ one) => holds(one.points, x, y));
  if (hole) tell(hole);
  else {
    byId('value').textContent = `x ${x.toFixed(1)}, y ${y.toFixed(1)} mm`;
    byId('where').textContent = '';
  }
});

const pointer = L.circleMarker([0, 0], { radius: 16, className: 'pointer', interactive: false });
for (const button of document.querySelectorAll('button[data-x]')) {
  button.addEventListener('click', () => {
    const point = [Number(button.getAttribute('data-x')), Number(button.getAttribute('data-y'))];
    pointer.setLatLng(place(point)).addTo(map);
    map.panTo(place(point), { animate: false });
    byId('map').scrollIntoView({ block: 'center' });
  });
}

const kinds = new Map(plan.openings.map((/** @type {any} */ one) => [one.kind, one.what]));
for (const [kind, what] of kinds) {
  byId('kinds').append(make('li', {}, make('span', { class: `swatch kind-${kind.replace(/ /g, '-')}`, 'aria-hidden': 'true' }), ` ${what}`));
}
root.dataset.ready = 'yes';
