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
    const fine = window.devicePixelRatio || 1;
    L.DomUtil.setPosition(this.canvas, this.map.containerPointToLayerPoint([0, 0]));
    this.canvas.width = size.x * fine;
    this.canvas.height = size.y * fine;
    this.canvas.style.width = `${size.x}px`;
    this.canvas.style.height = `${size.y}px`;
    const context = this.canvas.getContext('2d');
    context.scale(fine, fine);
    // Whole pixels, as the map's own conversions give them, would be too coarse for a scale.
    const place = (/** @type {number[]} */ at) => this.map.layerPointToContainerPoint(this.map.project(at).subtract(this.map.getPixelOrigin()));
    const origin = place([0, 0]);
    const scale = place([0, 1]).x - origin.x;
    let first = 0;
    for (const seal of this.seals.list) {
      const wide = Math.max(2.5, seal.width_mm * scale);
      const below = (/** @type {number} */ k) => (this.contact[k] < this.painter.limit ? this.painter.looks.threshold : '');
      this.strokes(context, first, seal.points, wide + 4, origin, scale, below);
      this.strokes(context, first, seal.points, wide, origin, scale, (/** @type {number} */ k) => this.painter.shade(this.contact[k]));
      first += seal.points;
    }
  },
  /**
   * Stroke one seal, pieces of one colour at once.
   * @param {CanvasRenderingContext2D} context @param {number} first @param {number} count @param {number} width
   * @param {{x: number, y: number}} origin @param {number} scale @param {(k: number) => string} shade empty: not stroked
   */
  strokes(context, first, count, width, origin, scale, shade) {
    const at = this.seals.places;
    context.lineWidth = width;
    for (let k = 0; k < count;) {
      const colour = shade(first + k);
      let next = k + 1;
      while (next < count && shade(first + next) === colour) next++;
      if (colour) {
        context.beginPath();
        for (let j = k; j <= next; j++) {
          const place = first + (j % count);
          context.lineTo(origin.x + scale * at[2 * place], origin.y - scale * at[2 * place + 1]);
        }
        context.strokeStyle = colour;
        context.stroke();
      }
      k = next;
    }
  },
});
