// Runs every instruction twice, translated and by the package's interpreter, and compares.

import { forgotten } from './decode.mjs';

const FLAGS = ['N', 'Z', 'C', 'V'];
const MOST = 20;

export class Doubt {
  /** @param {import('./chip.mjs').Chip} chip */
  constructor(chip) {
    this.chip = chip;
    this.compared = 0;
    /** Accesses outside RAM and flash have effects of their own and are made once. */
    this.skipped = 0;
    this.interpreted = 0;
    this.kinds = new Set();
    this.differences = [];
  }

  /** As `Chip.instructions`, one at a time. */
  instruction(time) {
    const { chip } = this;
    const { rp2040, translator } = chip;
    const { core } = rp2040;
    rp2040.clock.nanosCounter = time;
    const pc = core.PC;
    const op = rp2040.readUint16(pc);
    let block = translator.single.get(pc);
    if (block === undefined) block = translator.block(pc, 1, translator.single);
    if (block === null) {
      this.interpreted++;
      return core.executeInstruction();
    }
    const before = take(core);
    let outside = false;
    const watched = ['read', 'write'].flatMap((way) =>
      ['Uint8', 'Uint16', 'Uint32'].map((size) => way + size));
    for (const name of watched) {
      rp2040[name] = (...words) => {
        outside = true;
        delete rp2040[name];
        return rp2040[name](...words);
      };
    }
    const banked = core.exceptionReturn;
    core.exceptionReturn = (value) => {
      outside = true;
      banked(value);
    };
    const cycles = block(time);
    core.exceptionReturn = banked;
    for (const name of watched) delete rp2040[name];
    if (cycles < 0) {
      this.interpreted++;
      return core.executeInstruction();
    }
    if (outside) {
      this.skipped++;
      return cycles;
    }
    this.compare(op, pc, before, cycles);
    return cycles;
  }

  compare(op, pc, before, cycles) {
    const { core, rp2040 } = { core: this.chip.rp2040.core, rp2040: this.chip.rp2040 };
    const ours = take(core);
    put(core, before);
    const wrote = [];
    for (const [name, read] of [
      ['writeUint8', 'readUint8'], ['writeUint16', 'readUint16'], ['writeUint32', 'readUint32'],
    ]) {
      // The translated one has written already: it must be the same.
      core[name] = (address, value) => {
        const mask = { writeUint8: 255, writeUint16: 65535, writeUint32: -1 }[name];
        if (((rp2040[read](address) ^ value) & mask) !== 0) wrote.push(address);
      };
    }
    const updated = core.interruptsUpdated;
    core.interruptsUpdated = false;
    const theirs = core.executeInstruction() + forgotten(op);
    core.interruptsUpdated ||= updated;
    for (const name of ['writeUint8', 'writeUint16', 'writeUint32']) delete core[name];
    const package_ = take(core);
    this.compared++;
    this.kinds.add(op >> 9);
    const same =
      theirs === cycles && wrote.length === 0 &&
      package_.flags.every((flag, place) => flag === ours.flags[place]) &&
      package_.registers.every((value, place) => value === ours.registers[place]);
    if (!same && this.differences.length < MOST) {
      this.differences.push({
        pc, op, before, ours, theirs: package_, cycles: [cycles, theirs], wrote,
      });
    }
    put(core, ours);
  }
}

function take(core) {
  return { registers: Array.from(core.registers), flags: FLAGS.map((flag) => core[flag]) };
}

function put(core, { registers, flags }) {
  core.registers.set(registers);
  FLAGS.forEach((flag, place) => (core[flag] = flags[place]));
}
