// The chip with an image in it, run step by step in emulated time, and only when asked to.

import { GPIOPinState, RP2040 } from 'rp2040js';

import { forgotten } from './decode.mjs';
import { Load } from './load.mjs';
import { CYCLE, Pacer } from './pacer.mjs';
import { TICK_IRQ } from './pins.mjs';
import { Random } from './random.mjs';
import { LONGEST, Translator } from './translate.mjs';

/**
 * Cycles of taking an exception and of returning from it, which the package leaves out. Taking:
 * Cortex-M0+ Technical Reference Manual (ARM DDI 0484), "Exception handling": 15 cycles with
 * zero-wait-state memory. Returning: 13, from memory of the same.
 */
const ENTRY = 15;
const RETURN = 13;

/** The image's vector table, behind the second-stage boot loader of 256 bytes. */
const VECTORS = 0x10000100;

const ROSC_STATUS = 0x18;
const ROSC_RANDOMBIT = 0x1c;
const ROSC_STABLE = 0x80000000;

/** The watchdog's reason register: the program asked for it. */
const FORCED = 2;

const MOST_TROUBLE = 20;

/** What the package only warns of (its `rp2040.js` and `cortex-m0-core.js`). */
const FAULTS = [
  'Read from invalid memory address',
  'Write to undefined address',
  'is not implemented yet',
];

/** Most things that can happen between two instructions; a wait of a second has a million. */
const MOST_ROUNDS = 1e8;

export class Chip {
  /**
   * @param {Uint8Array} flash what the flash holds, from its start
   * @param {number} seed for everything that is random on a chip
   */
  constructor(flash, seed) {
    this.flash = flash;
    this.random = new Random(seed);
    this.load = new Load();
    /** What the emulator had to say, and traps of the program: sentences. */
    this.trouble = [];
    /** Emulated nanoseconds at the chip's last start. */
    this.base = 0;
    this.starts = 0;
    this.masked = false;
    this.extra = 0;
    this.left = 0;
    this.wanted = null;
    /** Bites of the watchdog, and resets that the program asked it for: it does so in a panic. */
    this.watchdogs = 0;
    this.forced = 0;
    this.levels = new Map();
    /** Compares every instruction with the package's interpreter, where set. */
    this.doubt = null;
    /** Compares whole blocks likewise, each a few times, where set. */
    this.blocks = null;
    /** Whether the package interprets every instruction, and nothing is translated. */
    this.plain = false;
    /** Called at every request for a tick, and after every start. */
    this.onTick = () => {};
    this.onStart = () => {};
  }

  /** Emulated nanoseconds since the first start. */
  get now() {
    return this.base + this.rp2040.clock.nanosCounter;
  }

  /**
   * Starts the chip: the first time, after a reset, or after a power cut.
   * @param {'power' | 'reset' | 'watchdog'} why
   */
  start(why) {
    const before = this.rp2040;
    const now = before ? this.now : 0;
    const rp2040 = new RP2040();
    rp2040.logger = this.logger();
    rp2040.flash.set(this.flash);
    if (why === 'power' || !before) {
      // Memory holds anything after power has been away.
      const words = new Uint32Array(rp2040.sram.buffer);
      for (let i = 0; i < words.length; i++) words[i] = this.random.next();
    } else {
      rp2040.sram.set(before.sram);
    }
    this.rp2040 = rp2040;
    this.base = now;
    this.starts++;
    this.masked = false;
    this.extra = 0;
    this.left = 0;
    this.wanted = null;
    this.load.reset();
    this.peripherals(why, before);
    this.interrupts();
    this.pacer = new Pacer(rp2040);
    this.translator = new Translator(rp2040);
    const { core } = rp2040;
    core.VTOR = VECTORS;
    core.SP = rp2040.readUint32(VECTORS);
    core.PC = rp2040.readUint32(VECTORS + 4) & ~1;
    this.inputs();
    this.onStart(why);
  }

  logger() {
    const nothing = () => {};
    return {
      debug: nothing,
      info: nothing,
      // On the chip these are hard faults.
      warn: (part, message) => {
        if (FAULTS.some((fault) => message.includes(fault))) this.complain(`${part}: ${message}`);
      },
      error: (part, message) => this.complain(`${part}: ${message}`),
    };
  }

  complain(what) {
    if (this.trouble.length < MOST_TROUBLE) {
      const { core } = this.rp2040;
      const at = core ? `, at ${core.PC.toString(16)}, ${this.now} ns` : '';
      this.trouble.push(`${what}${at}`);
    }
  }

  peripherals(why, before) {
    const { rp2040 } = this;
    rp2040.onBreak = (code) => {
      this.complain(`the program ran into a trap (${code})`);
      this.wanted = 'trap';
    };
    const rosc = rp2040.peripherals[0x40060];
    const read = rosc.readUint32.bind(rosc);
    rosc.readUint32 = (offset) => {
      if (offset === ROSC_RANDOMBIT) return this.random.next() >>> 31;
      if (offset === ROSC_STATUS) return ROSC_STABLE;
      return read(offset);
    };
    const watchdog = rp2040.peripherals[0x40058];
    if (why === 'watchdog') watchdog.reason = before.peripherals[0x40058].reason;
    watchdog.onWatchdogTrigger = () => {
      if (watchdog.reason === FORCED) this.forced++;
      else this.watchdogs++;
      this.wanted = 'watchdog';
    };
    // A pad's pull decides what an open circuit reads as.
    const pads = rp2040.peripherals[0x4001c];
    const writePads = pads.writeUint32.bind(pads);
    pads.writeUint32 = (offset, value) => {
      writePads(offset, value);
      this.inputs();
    };
    const io = rp2040.peripherals[0x40014];
    const writeIo = io.writeUint32.bind(io);
    io.writeUint32 = (offset, value) => {
      writeIo(offset, value);
      this.seen = -1;
    };
    // The package asks all thirty pins at every reading; they change seldom.
    this.seen = -1;
    const values = Object.getOwnPropertyDescriptor(RP2040.prototype, 'gpioValues').get;
    Object.defineProperty(rp2040, 'gpioValues', {
      get: () => {
        if (this.seen < 0) this.seen = values.call(rp2040);
        return this.seen;
      },
    });
  }

  interrupts() {
    const { core, clock, pio } = this.rp2040;
    const { load } = this;
    // As the package's, but a waiting core with interrupts masked wakes without taking them.
    core.setInterrupt = (irq, value) => {
      const bit = 1 << irq;
      if (!value) {
        core.pendingInterrupts &= ~bit;
        return;
      }
      if (core.pendingInterrupts & bit) return;
      core.pendingInterrupts |= bit;
      core.interruptsUpdated = true;
      if (irq !== TICK_IRQ) load.request(irq, (this.base + clock.nanosCounter) / CYCLE);
      if (core.waiting && core.enabledInterrupts & bit && !this.masked) core.waiting = false;
    };
    const enter = core.exceptionEntry.bind(core);
    core.exceptionEntry = (number) => {
      if (number >= 16) load.enter(number - 16, (this.base + clock.nanosCounter) / CYCLE);
      else if (number === 3) this.complain('hard fault');
      this.extra += ENTRY;
      enter(number);
      // The package leaves the mark for Thumb in it.
      core.PC = (core.PC & ~1) >>> 0;
    };
    const leave = core.exceptionReturn.bind(core);
    core.exceptionReturn = (value) => {
      if (core.IPSR >= 16) this.left++;
      this.extra += RETURN;
      leave(value);
    };
    // Each word that the pulses' state machine leaves is a request for a tick. One that finds the
    // last still there has to wait behind it; one that finds no room is lost.
    const queue = pio[0].machines[0].rxFIFO;
    const push = queue.push.bind(queue);
    queue.push = (word) => {
      push(word);
      const now = this.base + clock.nanosCounter;
      load.tick(now / CYCLE, queue.itemCount);
      this.onTick(now);
    };
  }

  /**
   * Sets what is wired to an input: a closed circuit to ground, or an open one.
   * @param {number} pin
   * @param {boolean} open
   */
  wire(pin, open) {
    this.levels.set(pin, open);
    const gpio = this.rp2040.gpio[pin];
    gpio.setInputValue(open && gpio.pullupEnabled);
    this.seen = -1;
  }

  inputs() {
    for (const [pin, open] of this.levels) this.wire(pin, open);
    this.seen = -1;
  }

  /**
   * Listens to an output. What is not driven is told as `null`.
   * @param {number} pin
   * @param {(level: 0 | 1 | null) => void} listener
   */
  listen(pin, listener) {
    this.rp2040.gpio[pin].addListener((value) => {
      if (value === GPIOPinState.High) listener(1);
      else if (value === GPIOPinState.Low) listener(0);
      else listener(null);
    });
  }

  /** The core takes no interrupt any more: what it does with its watchdog is its business. */
  mask() {
    this.masked = true;
  }

  /**
   * The core takes no interrupt for a while: something holds it up.
   * @param {number} nanos how long
   */
  hold(nanos) {
    const { core } = this.rp2040;
    const enabled = core.enabledInterrupts;
    core.enabledInterrupts = 0;
    this.rp2040.clock
      .createAlarm(() => {
        core.enabledInterrupts = enabled;
        core.interruptsUpdated = true;
        if (core.waiting && core.checkForInterrupts()) core.waiting = false;
      })
      .schedule(nanos);
  }

  /**
   * Runs until a time, or until `done` says so, which is asked after everything that happens.
   * @param {number} until emulated nanoseconds
   * @param {() => boolean} done
   */
  run(until, done) {
    while (this.now < until && !done()) {
      this.burst(until, done);
      if (this.wanted === 'trap') return;
      if (this.wanted) this.start(this.wanted);
    }
  }

  /** As `run`, up to the next reset. */
  burst(until, done) {
    const { rp2040, pacer, load } = this;
    const { core, clock } = rp2040;
    const goal = until - this.base;
    while (clock.nanosCounter < goal && this.wanted === null) {
      let time = clock.nanosCounter;
      const alarm = clock.nextAlarm;
      const next = alarm !== null && alarm.nanos < pacer.next ? alarm.nanos : pacer.next;
      if (core.waiting) {
        // It wakes with its own clock.
        const to = Math.ceil((next < goal ? next : goal) / CYCLE) * CYCLE;
        load.idle((to - time) / CYCLE);
        time = to;
      } else {
        if (core.interruptsUpdated) {
          if (!this.masked) core.checkForInterrupts();
          core.interruptsUpdated = false;
        }
        time += this.extra * CYCLE;
        this.extra = 0;
        time += (this.instructions(time, next < goal ? next : goal) + this.extra) * CYCLE;
        this.extra = 0;
        if (this.left > 0) {
          for (; this.left > 0; this.left--) load.leave((this.base + time) / CYCLE);
        }
        // One that is pending already does not come again.
        if (core.waiting && core.pendingInterrupts & core.enabledInterrupts && !this.masked) {
          core.waiting = false;
          core.interruptsUpdated = true;
        }
      }
      const first = clock.nextAlarm;
      if ((first !== null && first.nanos <= time) || pacer.next <= time) {
        this.advance(time);
        if (done()) return;
      } else {
        clock.nanosCounter = time;
      }
    }
  }

  /**
   * Executes one instruction, or several that are over before anything else can happen.
   * @param {number} time now, by the chip's clock
   * @param {number} next when something else happens
   * @returns {number} cycles
   */
  instructions(time, next) {
    if (this.plain) return this.interpreted(time);
    if (this.doubt !== null) return this.doubt.instruction(time);
    const { translator, rp2040 } = this;
    const { core } = rp2040;
    rp2040.clock.nanosCounter = time;
    const pc = core.PC;
    let table = translator.whole;
    let block = table.get(pc);
    if (block === undefined) block = translator.block(pc, LONGEST, table);
    if (block !== null && time + table.most * CYCLE > next) {
      table = translator.single;
      block = table.get(pc);
      if (block === undefined) block = translator.block(pc, 1, table);
    }
    if (block === null) return core.executeInstruction();
    if (this.blocks !== null && table === translator.whole) this.blocks.check(block, time);
    const cycles = block(time);
    return cycles < 0 ? core.executeInstruction() : cycles;
  }

  /** One instruction, by the package's interpreter. */
  interpreted(time) {
    const { rp2040 } = this;
    rp2040.clock.nanosCounter = time;
    const op = rp2040.readUint16(rp2040.core.PC);
    return rp2040.core.executeInstruction() + forgotten(op);
  }

  /** @returns {number} the core's registers, flags and time, all mixed into 32 bits */
  state() {
    const { core } = this.rp2040;
    const flags = [core.N, core.Z, core.C, core.V, core.PM, core.waiting];
    const bits = flags.reduce((sum, flag) => 2 * sum + (flag ? 1 : 0), 0);
    return mix([...core.registers, bits, core.IPSR, this.now / CYCLE]);
  }

  /** @returns {number} what is in RAM, mixed into 32 bits */
  memory() {
    return mix(new Uint32Array(this.rp2040.sram.buffer));
  }

  /** Lets everything happen that is due up to a time of the chip's clock. */
  advance(time) {
    const { pacer } = this;
    const { clock } = this.rp2040;
    for (let rounds = 0; ; rounds++) {
      if (rounds > MOST_ROUNDS) throw new Error('the same moment comes again and again');
      const alarm = clock.nextAlarm;
      const at = alarm === null ? Infinity : alarm.nanos;
      if (pacer.next <= at) {
        if (pacer.next > time) break;
        clock.nanosCounter = pacer.next;
        pacer.step();
      } else {
        if (at > time) break;
        clock.nextAlarm = alarm.next;
        clock.nanosCounter = Math.max(at, clock.nanosCounter);
        alarm.callback();
      }
      // The watchdog's alarm comes again at once until it has had its way.
      if (this.wanted !== null) return;
    }
    clock.nanosCounter = time;
  }
}

/** FNV-1a, 32 bits at a time (from memory): any change in a word changes what comes out. */
function mix(words) {
  let sum = 0x811c9dc5;
  for (const word of words) sum = Math.imul(sum ^ word, 0x01000193);
  return sum >>> 0;
}
