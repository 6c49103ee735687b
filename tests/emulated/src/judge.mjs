// Looks at every edge of the step and direction lines, and keeps what must never be.

const STOP = 1 << 30;
const MOST_KEPT = 50;

/** Stands for the axis where it is the camera's lines. */
const NO_AXIS = 255;

export class Judge {
  constructor(axes) {
    /**
     * Least times in nanoseconds that the motor drivers ask for: pulse high, pulse low, direction
     * before and after the rising edge. DRV8825 data sheet (SLVSA73F), timing requirements: 1.9 us
     * high and low, 650 ns set-up and hold (from memory); the A4988's and TMC2209's are shorter.
     */
    this.minima = { high: 1900, low: 1900, setup: 650, hold: 650 };
    this.edges = Array.from({ length: axes }, () => ({
      rose: -Infinity, fell: -Infinity, turned: -Infinity,
      high: Infinity, low: Infinity, setup: Infinity, hold: Infinity,
      turns: 0,
    }));
    this.violations = [];
    this.count = 0;
    this.ticks = 0;
    /** Circuits that are open: bit per axis, and the stop circuit. */
    this.open = 0;
    /** Those that a tick has had the chance to see. */
    this.seen = 0;
    /** Axes whose switch forbids any pulse. */
    this.strictly = 0;
    /** Exposures that the host has asked for, and what has been done at the camera's lines. */
    this.permitted = 0;
    this.camera = { 'half-press': 0, release: 0, exposure: 0 };
    this.since = new Float64Array(32);
  }

  violate(what, axis, now, numbers = {}) {
    this.count++;
    if (this.violations.length < MOST_KEPT) this.violations.push({ what, axis, at: now, numbers });
  }

  /** The tick's interrupt has been requested. */
  tick() {
    this.ticks++;
    this.seen = this.open;
  }

  stop(open, now) {
    this.circuit(STOP, 30, open, now);
  }

  trip(axis, open, now) {
    this.circuit(1 << axis, axis, open, now);
  }

  circuit(bit, place, open, now) {
    if (open === ((this.open & bit) !== 0)) return;
    if (open) this.open |= bit;
    else this.open &= ~bit;
    this.seen &= ~bit;
    this.since[place] = now;
  }

  /**
   * @param {number} axis
   * @param {boolean} on whether its tripped switch forbids any pulse: not while it is looked for
   */
  strict(axis, on) {
    if (on) this.strictly |= 1 << axis;
    else this.strictly &= ~(1 << axis);
  }

  /** Pins float after a reset: whatever a line does by itself is no pulse of the board's. */
  floated(axis) {
    const edges = this.edges[axis];
    edges.rose = -Infinity;
    edges.fell = -Infinity;
    edges.turned = -Infinity;
  }

  rise(axis, now, { drivers, release, shutter }) {
    const edges = this.edges[axis];
    const { minima } = this;
    const low = now - edges.fell;
    if (low < edges.low) edges.low = low;
    if (low < minima.low) this.violate('pulse low too short', axis, now, { low });
    const setup = now - edges.turned;
    if (setup < edges.setup) edges.setup = setup;
    if (setup < minima.setup) this.violate('direction set-up too short', axis, now, { setup });
    edges.rose = now;
    if (!drivers) this.violate('pulse with the drivers off', axis, now);
    if (release) this.violate('pulse with the release line closed', axis, now);
    if (shutter) this.violate('pulse with the shutter open', axis, now);
    if (this.seen !== 0) {
      if (this.seen & STOP) {
        this.violate('pulse with the stop circuit open', axis, now, { since: this.since[30] });
      }
      if (this.seen & this.strictly & (1 << axis)) {
        this.violate('pulse with the switch tripped', axis, now, { since: this.since[axis] });
      }
    }
  }

  /** @param {number} more exposures are asked for */
  permit(more) {
    this.permitted += more;
  }

  /**
   * Each exposure that has been asked for permits one of each kind.
   * @param {'half-press' | 'release' | 'exposure'} kind
   * @param {number} now
   * @param {boolean} busy whether the camera is still at the last one
   */
  shoot(kind, now, busy = false) {
    const count = ++this.camera[kind];
    const numbers = { count, permitted: this.permitted };
    if (count > this.permitted) this.violate(`${kind} not asked for`, NO_AXIS, now, numbers);
    if (busy) this.violate(`${kind} while the camera is busy`, NO_AXIS, now, numbers);
  }

  fall(axis, now) {
    const edges = this.edges[axis];
    const high = now - edges.rose;
    if (high < edges.high) edges.high = high;
    if (high < this.minima.high) this.violate('pulse high too short', axis, now, { high });
    edges.fell = now;
  }

  turn(axis, now) {
    const edges = this.edges[axis];
    const hold = now - edges.rose;
    if (hold < edges.hold) edges.hold = hold;
    if (hold < this.minima.hold) this.violate('direction hold too short', axis, now, { hold });
    edges.turned = now;
    edges.turns++;
  }

  /** @returns the shortest times seen of an axis, in nanoseconds; `null` where there was none */
  figures(axis) {
    const { high, low, setup, hold, turns } = this.edges[axis];
    const finite = (time) => (Number.isFinite(time) ? time : null);
    return {
      high: finite(high), low: finite(low), setup: finite(setup), hold: finite(hold), turns,
    };
  }
}
