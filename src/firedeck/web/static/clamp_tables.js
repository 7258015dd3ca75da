// @ts-check
/** The clamp page's tables and words: seals, fasteners, bow, certificate, how far off the quick answer was. */
import { byId, make } from './lib.js';
import { plainNumber as number } from './clamp_units.js';

/** @param {string | Node} head @param {(string | Node)[]} cells */
const row = (head, cells) => make('tr', {}, make('th', { scope: 'row' }, head), ...cells.map((one) => make('td', {}, one)));

export class Tables {
  /**
   * @param {import('./clamp_units.js').Units} units @param {Record<string, string>} signs of the verdicts
   * @param {(seal: string) => void} choose
   */
  constructor(units, signs, choose) { this.units = units; this.signs = signs; this.choose = choose; }

  /** @param {any} answer @param {Map<string, any>} order */
  show(answer, order) {
    const seals = [...answer.seals].sort((a, b) => (a.ratio ?? Infinity) - (b.ratio ?? Infinity));
    byId('seals').replaceChildren(...seals.map((one) => this.seal(one, answer, order.get(one.seal))));
    byId('tensions').replaceChildren(...answer.fasteners.map((/** @type {any} */ one) =>
      row(one.fastener, [this.units.text(one.tension_kN, 'force'), this.units.text(one.swing_kN, 'force')])));
    byId('bows').replaceChildren(...answer.bows.map((/** @type {any} */ one) =>
      row(`${one.fastener_a} – ${one.fastener_b}`, [this.units.text(one.opening_um, 'gap'), this.units.text(one.head_um, 'gap')])));
    byId('no-bows').hidden = answer.bows.length > 0;
    this.words(answer, seals[0]);
  }

  /** @param {any} one @param {any} answer @param {any} gives */
  seal(one, answer, gives) {
    const name = make('button', { type: 'button', class: 'plain', title: 'Show along this seal' }, one.seal);
    name.addEventListener('click', () => this.choose(one.seal));
    const wait = answer.doubted || answer.step ? '' : '…';
    /** @param {string} key */
    const load = (key) => {
      const ends = this.units.interval(one[`${key}_low_N_per_mm`], one[`${key}_high_N_per_mm`], 'line-load') || wait;
      return `${this.units.text(one[`${key}_N_per_mm`], 'line-load')} ${ends}`.trim();
    };
    const ratio = one.ratio === null ? 'not shown' : `${number(one.ratio, 2)} ${one.ratio_low === null ? wait : `(from ${number(one.ratio_low, 2)})`}`.trim();
    const verdict = one.verdict ? make('span', { class: `state ${one.verdict.replace(' ', '-')}` }, `${this.signs[one.verdict] ?? ''} ${one.verdict}`) : wait || '–';
    return row(name, [verdict, load('lowest'), `${one.angle_deg.toFixed(0)}°`, load('mean'), this.units.text(one.opened_um, 'gap'),
      this.units.text(one.lowest_closure_um, 'gap'), ratio, one.rule, this.gives(gives)]);
  }

  /** @param {any} gives @returns {string} */
  gives(gives) {
    if (!gives) return '…';
    const ends = this.units.interval(gives.gives_low_MPa, gives.gives_high_MPa, 'gas');
    if (gives.gives_at_MPa === null) return gives.reason;
    return `${this.units.text(gives.gives_at_MPa, 'gas')} ${ends}`.trim();
  }

  /** @param {any} answer @param {any} least */
  words(answer, least) {
    const low = least.ratio_low === null ? '' : ` (from ${number(least.ratio_low, 2)})`;
    const finding = byId('finding');
    const has = least.ratio === null ? 'nothing is asked of any seal' : `${least.seal} has ${number(least.ratio, 2)}${low} times what it needs`;
    const move = answer.move
      ? ` (${answer.move.fastener} brought to ${this.units.text(answer.move.brought_to_kN, 'force')} ${this.units.name('force')} in round ${answer.move.round})` : '';
    finding.replaceChildren(`${answer.words}${move}: `, ...(answer.verdict
      ? [make('span', { class: `state ${answer.verdict.replace(' ', '-')}` }, `${this.signs[answer.verdict] ?? ''} ${answer.verdict}`), ' – '] : []), has);
    const ratios = Object.entries(answer.ratios).filter(([, value]) => value !== null);
    byId('ratios').textContent = ratios.length
      ? `Clamp over gas load without gas, at ${answer.gas_words}: ${ratios.map(([bore, value]) => `${bore} ${number(/** @type {number} */ (value), 2)}`).join(', ')}.` : '';
    const one = answer.certificate;
    byId('certificate').textContent = `Certificate: ${one.sound ? 'sound' : 'not sound'}. Largest unbalanced force ${one.residual.toExponential(1)} of the largest at work, lowest point load ${one.lowest_point_load_N.toFixed(2)} N, force off by ${one.force_error.toExponential(1)}, moment by ${one.moment_error.toExponential(1)}.`;
    byId('level').textContent = this.level(answer);
  }

  /** @param {any} answer */
  level(answer) {
    const off = answer.difference;
    /** @param {number | null} share @param {number} load */
    const away = (share, load) => {
      const told = `${this.units.text(load, 'line-load', 1)} ${this.units.name('line-load')}`;
      return share === null ? told : `${number(100 * share, 1)} % (${told})`;
    };
    if (off) return `Every gasket point solved. The quick answer was off by ${away(off.mean, off.mean_N_per_mm)} in mean line load (${off.mean_seal}) and by ${away(off.lowest, off.lowest_N_per_mm)} in the lowest (${off.lowest_seal}).`;
    const hurried = answer.quick ? ', all fasteners brought to their tensions at once' : '';
    return `Quick answer by patches of the gasket${hurried}; every point, every move of the wrench and the intervals are worked out when you rest.`;
  }
}
