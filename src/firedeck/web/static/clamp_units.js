// @ts-check
/** Units in which the clamp page shows what the answers carry; factors and decimals come from the server. */

/**
 * Minus as a reader expects it, and no minus before nought.
 * @param {string} text
 */
const signed = (text) => text.replace(/^-(?=[0.]+$)/, '').replace('-', '−');

export class Units {
  /**
   * @param {Record<string, Record<string, [number, string, number]>>} table by what is shown and by system
   * @param {string} system
   */
  constructor(table, system) { this.table = table; this.system = system; }

  /** @param {string} system */
  change(system) {
    this.system = system;
    for (const place of document.querySelectorAll('[data-unit]')) {
      place.textContent = this.name(place.getAttribute('data-unit') ?? '');
    }
  }

  /** @param {string} what @returns {string} its unit */
  name(what) { return this.table[what][this.system][1]; }

  /** @param {number} value as the answer carries it @param {string} what */
  value(value, what) { return value * this.table[what][this.system][0]; }

  /** @param {number | null} value @param {string} what @param {number} [places] decimals, those of the unit unless given */
  text(value, what, places) {
    if (value === null) return 'not shown';
    const [factor, , usual] = this.table[what][this.system];
    return signed((value * factor).toFixed(places ?? usual));
  }

  /** @param {number | null} low @param {number | null} high @param {string} what @returns {string} in brackets; empty where not known */
  interval(low, high, what) {
    if (low === null && high === null) return '';
    const most = Math.abs(this.value(high ?? low ?? 0, what));
    const places = most < 20 ? Math.min(1, this.table[what][this.system][2]) : 0;
    const end = high === null ? 'no end found' : this.text(high, what, places);
    return `(${this.text(low, what, places)} to ${end})`;
  }
}

/** @param {number | null} value @param {number} places */
export const plainNumber = (value, places) => (value === null ? 'not shown' : signed(value.toFixed(places)));

/**
 * Units as a reader writes them.
 * @param {string} text as the files write it
 */
export const readable = (text) => text.replace(/N\*m/g, 'N·m').replace(/lbf\*ft/g, 'lbf·ft')
  .replace(/ degC/g, ' °C').replace(/ degF/g, ' °F').replace(/ deg/g, '°');
