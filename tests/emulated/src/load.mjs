// What the interrupts cost: cycles of each run of a handler, with those of entry and return, how
// late each ran after its request, and requests that came before the last one was answered.

import { TICK_IRQ } from './pins.mjs';

const KINDS = 32;

class Account {
  constructor(start) {
    this.start = start;
    this.idle = 0;
    this.overruns = 0;
    this.handlers = Array.from({ length: KINDS }, () => ({
      count: 0, cycles: 0, most: 0, least: Infinity, late: 0,
    }));
  }

  report(cycle) {
    const handlers = {};
    this.handlers.forEach((handler, irq) => {
      if (handler.count === 0) return;
      handlers[irq] = {
        count: handler.count,
        cycles: handler.cycles,
        most: handler.most,
        least: handler.least,
        late: handler.late,
      };
    });
    return { cycles: cycle - this.start, idle: this.idle, overruns: this.overruns, handlers };
  }
}

export class Load {
  constructor() {
    this.all = new Account(0);
    this.window = null;
    this.requested = new Float64Array(KINDS);
    /** Handlers under way, innermost last: pairs of interrupt and cycle of entry. */
    this.stack = [];
    /** When the ticks were asked for that have not begun yet. */
    this.ticks = [];
  }

  /** The chip starts anew; what ran is gone. */
  reset() {
    this.stack = [];
    this.ticks = [];
  }

  begin(cycle) {
    this.window = new Account(cycle);
  }

  request(irq, cycle) {
    this.requested[irq] = cycle;
  }

  /**
   * The state machine asks for a tick.
   * @param {number} cycle now
   * @param {number} waiting how many ticks wait, with this one
   */
  tick(cycle, waiting) {
    this.ticks.push(cycle);
    // Some may have been thrown away unserved.
    while (this.ticks.length > waiting) this.ticks.shift();
    if (waiting <= 1) return;
    this.all.overruns++;
    if (this.window) this.window.overruns++;
  }

  idle(cycles) {
    this.all.idle += cycles;
    if (this.window) this.window.idle += cycles;
  }

  enter(irq, cycle) {
    this.stack.push(irq, cycle);
    const asked = irq === TICK_IRQ ? (this.ticks.shift() ?? cycle) : this.requested[irq];
    const late = cycle - asked;
    this.all.handlers[irq].late = Math.max(this.all.handlers[irq].late, late);
    if (this.window) {
      this.window.handlers[irq].late = Math.max(this.window.handlers[irq].late, late);
    }
  }

  leave(cycle) {
    const began = this.stack.pop();
    const irq = this.stack.pop();
    if (irq === undefined) return;
    const cycles = cycle - began;
    book(this.all.handlers[irq], cycles);
    // What began before the window is none of its.
    if (this.window && began >= this.window.start) book(this.window.handlers[irq], cycles);
  }

  /** @param {number} cycle now */
  report(cycle) {
    return {
      all: this.all.report(cycle),
      window: this.window ? this.window.report(cycle) : null,
    };
  }
}

function book(handler, cycles) {
  handler.count++;
  handler.cycles += cycles;
  if (cycles > handler.most) handler.most = cycles;
  if (cycles < handler.least) handler.least = cycles;
}
