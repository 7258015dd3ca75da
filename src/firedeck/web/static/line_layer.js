// @ts-check
/** Seals over the plan as bands of their true width, coloured by contact pressure. */
import { L } from './viewer.js';

export const LineLayer = L.Layer.extend({
  /** @param {any} seals @param {any} painter */
  initialize(seals, painter) { this.seals = seals; this.painter = painter; this.contact = null; },
  onAdd(/** @type {any} */ map) {
    this.map = map;
    this.canvas = L.DomUtil.create('canvas', 'line-layer');
    map.getPanes().overlayPane.prepend(this.canvas);
    map.on('move zoom viewreset resize', this.repaint, this);
    this.repaint();
  },
  onRemove(/** @type {any} */ map) {
    this.canvas.remove();
    map.off('move zoom viewreset resize', this.repaint, this);
  },
  /** @param {Float32Array} contact */
  show(contact) { this.contact = contact; this.repaint(); },
  repaint() {
    if (!this.map || !this.contact) return;
    const size = this.map.getSize();
    L.DomUtil.setPosition(this.canvas, this.map.containerPointToLayerPoint([0, 0]));
    this.canvas.width = size.x;
    this.canvas.height = size.y;
    const context = this.canvas.getContext('2d');
    const scale = this.map.latLngToContainerPoint([0, 1]).x - this.map.latLngToContainerPoint([0, 0]).x;
    const origin = this.map.latLngToContainerPoint([0, 0]);
    let first = 0;
    for (const seal of this.seals.list) {
      const wide = Math.max(2.5, seal.width_mm * scale);
      for (let k = 0; k < seal.points; k++) {
        const a = first + k;
        const b = first + ((k + 1) % seal.points);
        const pressure = this.contact[a];
        const line = (/** @type {string} */ shade, /** @type {number} */ width) => {
          context.beginPath();
          context.moveTo(origin.x + scale * this.seals.places[2 * a], origin.y - scale * this.seals.places[2 * a + 1]);
          context.lineTo(origin.x + scale * this.seals.places[2 * b], origin.y - scale * this.seals.places[2 * b + 1]);
          context.lineWidth = width;
          context.strokeStyle = shade;
          context.stroke();
        };
        if (pressure < this.painter.limit) line('#d1006c', wide + 4);
        line(this.painter.shade(pressure), wide);
      }
      first += seal.points;
    }
  },
});
