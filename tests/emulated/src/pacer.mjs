// Steps the programmable I/O's state machines in emulated time. The package runs them from a
// timer of the host's, all of them, and takes no notice of delays and clock dividers.

/** Nanoseconds of one cycle of the system clock, 125 MHz. */
export const CYCLE = 8;

const CTRL = 0x000;

export class Pacer {
  /**
   * @param {object} rp2040 the package's chip
   */
  constructor(rp2040) {
    this.clock = rp2040.clock;
    this.blocks = rp2040.pio;
    /** When the next state machine is due, in the clock's nanoseconds. */
    this.next = Infinity;
    this.active = [];
    for (const pio of rp2040.pio) {
      pio.run = () => {};
      const write = pio.writeUint32.bind(pio);
      pio.writeUint32 = (offset, value) => {
        const was = pio.machines.map((machine) => machine.enabled);
        write(offset, value);
        if (offset === CTRL) this.switched(pio, was, value);
        // A forced instruction and a changed pin mapping act at once.
        pio.checkChangedPins();
      };
      // The package's loop asks every pin; few have changed.
      pio.checkChangedPins = () => {
        let changed =
          (pio.oldPinDirections ^ pio.pinDirections) | (pio.oldPinValues ^ pio.pinValues);
        if (changed === 0) return;
        pio.oldPinDirections = pio.pinDirections;
        pio.oldPinValues = pio.pinValues;
        while (changed !== 0) {
          const pin = 31 - Math.clz32(changed & -changed);
          changed &= changed - 1;
          if (pin < rp2040.gpio.length) rp2040.gpio[pin].checkForUpdates();
        }
      };
    }
  }

  switched(pio, was, value) {
    pio.machines.forEach((machine, index) => {
      const restarted = value & (1 << (8 + index));
      if (machine.enabled && (!was[index] || restarted)) {
        this.active = this.active.filter((entry) => entry.machine !== machine);
        this.active.push({ pio, machine, due: this.clock.nanosCounter + period(machine) });
      }
    });
    this.active = this.active.filter((entry) => entry.machine.enabled);
    this.plan();
  }

  plan() {
    let next = Infinity;
    for (const entry of this.active) if (entry.due < next) next = entry.due;
    this.next = next;
  }

  /** Steps what is due now. */
  step() {
    const now = this.next;
    const { active } = this;
    for (let i = 0; i < active.length; i++) {
      const entry = active[i];
      if (entry.due > now) continue;
      const { machine } = entry;
      const before = machine.cycles;
      machine.step();
      const cycles = machine.cycles - before;
      // One that waits is asked again a cycle of its own later.
      entry.due = now + (cycles > 0 ? cycles : 1) * period(machine);
      entry.pio.checkChangedPins();
    }
    this.plan();
  }
}

/** Nanoseconds of one cycle of a state machine. A divider of 0 counts as 65536. */
function period(machine) {
  return ((machine.clockDivInt || 65536) + machine.clockDivFrac / 256) * CYCLE;
}
