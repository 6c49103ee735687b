// Runs what is translated twice, also by the package's interpreter, and compares.

import { forgotten } from './decode.mjs';

const FLAGS = ['N', 'Z', 'C', 'V'];
const MOST = 20;

/** Every instruction, by itself. */
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

/** How often each block is compared, every second time with all flags the other way round. */
const VISITS = 4;

/** Most instructions that the interpreter is given to come where a block came. */
const MOST_STEPS = 64;

const SIZES = ['Uint8', 'Uint16', 'Uint32'];

/**
 * Does whole blocks on trial before they are done, and the same by the package's interpreter:
 * registers, flags, cycles, RAM and what goes out of it. All is put back afterwards.
 */
export class BlockDoubt {
  /** @param {import('./chip.mjs').Chip} chip */
  constructor(chip) {
    this.chip = chip;
    this.compared = 0;
    this.differences = [];
    this.visits = new Map();
    this.before = new Uint8Array(chip.rp2040.sram.length);
    this.after = new Uint8Array(chip.rp2040.sram.length);
  }

  /**
   * @param {(time: number) => number} block
   * @param {number} time now, by the chip's clock
   */
  check(block, time) {
    const { core, sram, clock } = this.chip.rp2040;
    const pc = core.PC;
    const visits = this.visits.get(pc) ?? 0;
    if (visits >= VISITS) return;
    this.visits.set(pc, visits + 1);
    const first = take(core);
    const rest = [core.PM, core.interruptsUpdated, core.waiting, clock.nanosCounter];
    const begin = { ...first, flags: first.flags.map((flag) => flag !== (visits % 2 === 1)) };
    this.before.set(sram);
    const restore = (state) => {
      put(core, state);
      [core.PM, core.interruptsUpdated, core.waiting, clock.nanosCounter] = rest;
    };

    restore(begin);
    let cycles = 0;
    const ours = this.apart(() => (cycles = block(time)));
    this.after.set(sram);
    sram.set(this.before);
    restore(begin);
    if (cycles > 0) {
      let taken = 0;
      let steps = 0;
      const theirs = this.apart(() => {
        for (; taken < cycles && steps < MOST_STEPS; steps++) {
          clock.nanosCounter = time + taken * 8;
          const op = this.chip.rp2040.readUint16(core.PC);
          taken += core.executeInstruction() + forgotten(op);
        }
      });
      const memory = Buffer.compare(this.after, sram) === 0;
      this.compared++;
      ours.cycles = cycles;
      theirs.cycles = taken;
      const [our, their] = [JSON.stringify(ours), JSON.stringify(theirs)];
      if ((our !== their || !memory) && this.differences.length < MOST) {
        this.differences.push({ pc, begin, ours, theirs, memory });
      }
      sram.set(this.before);
    }
    restore(first);
  }

  /** Does something that reaches nothing outside RAM and flash: what it asks for there is kept. */
  apart(act) {
    const { rp2040 } = this.chip;
    const { core } = rp2040;
    const outside = [];
    for (const size of SIZES) {
      const [read, write] = [`read${size}`, `write${size}`];
      const [reads, writes] = [rp2040[read].bind(rp2040), rp2040[write].bind(rp2040)];
      rp2040[read] = (address) => {
        if (inside(address)) return reads(address);
        outside.push([read, address, rp2040.clock.nanosCounter]);
        // Anything, but the same for both.
        return Math.imul(address, 0x9e3779b1) >>> { Uint8: 24, Uint16: 16, Uint32: 0 }[size];
      };
      rp2040[write] = (address, value) => {
        if (inside(address)) return writes(address, value);
        outside.push([write, address, value >>> 0, rp2040.clock.nanosCounter]);
        return undefined;
      };
    }
    const banked = core.exceptionReturn;
    core.exceptionReturn = (value) => {
      outside.push(['return', value]);
      // Where it goes on is the package's business, for both.
      core.PC = 0;
    };
    act();
    for (const size of SIZES) {
      delete rp2040[`read${size}`];
      delete rp2040[`write${size}`];
    }
    core.exceptionReturn = banked;
    return { ...take(core), PM: core.PM, updated: core.interruptsUpdated, outside };
  }
}

function inside(address) {
  return address >>> 24 === 0x10 || address >>> 20 === 0x200;
}
