// Runs the core's instructions faster than the package's interpreter can, with the same outcome to
// the cycle: straight runs of instructions become JavaScript functions. Everything outside RAM and
// flash goes through the package, at its exact time, and ends the run, so that nothing that the
// access has set off comes late. What is not translated, the package interprets.

import { decode } from './decode.mjs';

const RAM = 0x20000000;
const FLASH = 0x10000000;
/** Most instructions in a block. */
const LONGEST = 24;
/** Cycles by which an access outside RAM and flash can be longer than one inside. */
const SLOWEST = 3;

/** What a block's text uses. */
export class Block {
  constructor(machine, start) {
    this.machine = machine;
    this.start = start;
    this.text = '';
    this.pc = start;
    /** Cycles of the instructions before the present one. */
    this.cycles = 0;
    this.reads = new Set();
    this.writes = new Set();
    this.setFlags = new Set();
    this.usedFlags = new Set();
    this.accesses = 0;
  }

  read(number) {
    this.reads.add(number);
    return `r${number}`;
  }

  write(number) {
    this.reads.add(number);
    this.writes.add(number);
    return `r${number}`;
  }

  use(...flags) {
    for (const flag of flags) this.usedFlags.add(flag);
  }

  set(...flags) {
    for (const flag of flags) {
      this.setFlags.add(flag);
      this.usedFlags.add(flag);
    }
  }

  /** Everything back to where the package looks for it: put in when the block is whole. */
  get back() {
    return '/*back*/';
  }

  /** Leaves to the package what is about to be done outside RAM. */
  inside(bytes, pc) {
    const most = this.machine.ramBytes - bytes;
    return `if((p>>>0)>${most}||(p&3)!==0){${this.back}core.PC=${pc};return c+${this.cycles}||-1;}`;
  }

  literal(t, address) {
    const { machine } = this;
    const ram = (address - RAM) >>> 0;
    const flash = (address - FLASH) >>> 0;
    if (ram < machine.ramBytes) return `${this.write(t)}=s32[${ram >>> 2}];`;
    if (flash < machine.flashBytes) return `${this.write(t)}=${machine.f32[flash >>> 2] | 0};`;
    return this.access(`${address | 0}`, t, 4, false, false);
  }

  access(address, t, size, signed, store) {
    this.accesses++;
    const shift = { 1: 0, 2: 1, 4: 2 }[size];
    const array = { 1: '8', 2: '16', 4: '32' }[size];
    const aligned = size === 1 ? '' : `&&(a&${size - 1})===0`;
    const name = { 1: 'Uint8', 2: 'Uint16', 4: 'Uint32' }[size];
    const inRam = `((o=(a-${RAM})|0)>>>0)<${this.machine.ramBytes}${aligned}`;
    const extended = (value) =>
      signed ? `${value}<<${32 - 8 * size}>>${32 - 8 * size}` : value;
    // The cycle of a RAM access is in the instruction's two.
    const cost = `core.cyclesIO(a,${store})-1`;
    const now = `clock.nanosCounter=t0+(c+${this.cycles})*8;core.PC=${this.pc};`;
    const next = this.pc + 2;
    const after = `core.PC=${next};return c+${this.cycles + 2}+x;`;
    if (store) {
      const value = this.read(t);
      return (
        `a=${address};if(${inRam})s${array}[o>>>${shift}]=${value};` +
        `else{x=${cost};${this.back}${now}rp.write${name}(a>>>0,${value}>>>0);${after}}`
      );
    }
    const target = this.write(t);
    const inFlash = `((o=(a-${FLASH})|0)>>>0)<${this.machine.flashBytes}${aligned}`;
    return (
      `a=${address};if(${inRam})${target}=${extended(`s${array}[o>>>${shift}]`)};` +
      `else if(${inFlash})${target}=${extended(`f${array}[o>>>${shift}]`)};` +
      `else{x=${cost};${now}${target}=${extended(`(rp.read${name}(a>>>0)|0)`)};${this.back}${after}}`
    );
  }
}

export class Translator {
  /**
   * @param {object} rp2040 the package's chip
   */
  constructor(rp2040) {
    this.rp2040 = rp2040;
    this.ramBytes = rp2040.sram.length;
    this.flashBytes = rp2040.flash.length;
    const arrays = (bytes) => [
      bytes,
      new Uint16Array(bytes.buffer),
      new Int32Array(bytes.buffer),
    ];
    const [s8, s16, s32] = arrays(rp2040.sram);
    const [f8, f16, f32] = arrays(rp2040.flash);
    Object.assign(this, { s8, s16, s32, f8, f16, f32 });
    /** Blocks by half of their address, those of one instruction, and the cycles at most. */
    this.whole = new Table(this.ramBytes);
    this.single = new Table(this.ramBytes);
    /** What the translated code in RAM was made from. */
    this.sources = [];
  }

  /** @returns the block at an address, or `null` where the package has to interpret */
  block(pc, longest, table) {
    const [function_, most, source] = this.make(pc, longest);
    if (pc >= RAM) this.sources.push(source);
    return table.put(pc, function_, most);
  }

  /** @returns {boolean} whether code in RAM is still what it was when it was translated */
  sound() {
    return this.sources.every(({ pc, words }) =>
      words.every((word, place) => this.s16[((pc - RAM) >> 1) + place] === word));
  }

  make(pc, longest) {
    const block = new Block(this, pc);
    const inRam = pc >>> 0 >= RAM;
    const half = (address) =>
      inRam ? this.s16[(address - RAM) >>> 1] : this.f16[(address - FLASH) >>> 1];
    let ended = false;
    let count = 0;
    const words = [];
    while (count < longest && !ended) {
      const op = half(block.pc);
      const op2 = half(block.pc + 2);
      const one = decode(block, op, op2, block.pc);
      if (one === null) break;
      const wide = op >> 11 >= 0b11101;
      words.push(op);
      if (wide) words.push(op2);
      block.text += `${one.code}\n`;
      block.cycles += one.cycles;
      block.pc += wide ? 4 : 2;
      count++;
      if (one.ends) {
        ended = true;
        block.text += `${block.back}${one.then ?? ''}return c+${block.cycles};`;
      }
    }
    const source = { pc, words };
    if (count === 0) return [null, 0, source];
    if (!ended) block.text += `${block.back}core.PC=${block.pc};return c+${block.cycles};`;
    const most = block.cycles + 1 + SLOWEST * block.accesses;
    return [this.compile(block), most, source];
  }

  compile(block) {
    const { s8, s16, s32, f8, f16, f32, rp2040 } = this;
    let head = 'let c=0,p=0,q=0,s=0,t=0,a=0,o=0,x=0;';
    for (const number of block.reads) head += `let r${number}=R[${number}]|0;`;
    for (const flag of block.usedFlags) head += `let f${flag}=core.${flag};`;
    let back = '';
    for (const number of block.writes) back += `R[${number}]=r${number};`;
    for (const flag of block.setFlags) back += `core.${flag}=f${flag};`;
    const text = block.text.replaceAll('/*back*/', back);
    const make = new Function(
      'R', 'core', 'rp', 'clock', 's8', 's16', 's32', 'f8', 'f16', 'f32',
      `'use strict';return function(t0){${head}\n${text}};`,
    );
    const { core, clock } = rp2040;
    return make(core.registers, core, rp2040, clock, s8, s16, s32, f8, f16, f32);
  }
}

/** Functions by address. */
export class Table {
  constructor(ramBytes) {
    this.ram = new Array(ramBytes / 2).fill(undefined);
    this.ramMost = new Uint16Array(ramBytes / 2);
    this.flash = [];
    this.flashMost = [];
    this.most = 0;
  }

  put(pc, function_, most) {
    this.most = most;
    if (pc >= RAM) {
      this.ram[(pc - RAM) >>> 1] = function_;
      this.ramMost[(pc - RAM) >>> 1] = most;
    } else {
      this.flash[(pc - FLASH) >>> 1] = function_;
      this.flashMost[(pc - FLASH) >>> 1] = most;
    }
    return function_;
  }

  /** @returns a function, `null` where the package has to interpret, `undefined` where unknown */
  get(pc) {
    if (pc >= RAM) {
      const place = (pc - RAM) >>> 1;
      this.most = this.ramMost[place];
      return this.ram[place];
    }
    const place = (pc - FLASH) >>> 1;
    this.most = this.flashMost[place];
    return this.flash[place];
  }
}
export { LONGEST };
