// A stand at the board's pins: what its motors, switches and camera make of the lines, by
// themselves. It shares nothing with the firmware.

import { Judge } from './judge.mjs';
import {
  AXES, CONTACT, DIRECTION, ENABLE, HALF_PRESS, HOME, LAMP, LED, RELEASE, STEP, STOP,
} from './pins.mjs';

const MILLISECOND = 1e6;

/** Most pulses that a log holds between two readings. */
const MOST_LOGGED = 4e6;

class Axis {
  constructor(number) {
    this.number = number;
    this.fitted = false;
    this.position = 0;
    this.up = 0;
    this.down = 0;
    this.step = 0;
    this.high = 0;
    this.reversed = false;
    this.low = true;
    this.trip = -Infinity;
    this.opens = -Infinity;
    this.bounce = [];
    /** Whether the carriage presses on its switch, and whether the switch is tripped by force. */
    this.pressed = false;
    this.forced = null;
    this.bouncing = null;
    /** Steps that it has gone beyond the place where its switch trips, at most. */
    this.beyond = 0;
  }

  /** Whether the carriage, where it is, presses on its switch. */
  presses() {
    const edge = this.pressed ? this.opens : this.trip;
    return this.low ? this.position <= edge : this.position >= edge;
  }
}

export class Stand {
  /** @param {import('./chip.mjs').Chip} chip */
  constructor(chip) {
    this.chip = chip;
    this.axes = Array.from({ length: AXES }, (_, number) => new Axis(number));
    this.judge = new Judge(AXES);
    this.drivers = false;
    this.stopOpen = false;
    this.camera = { delay: 40 * MILLISECOND, exposure: 100 * MILLISECOND, contact: 5 * MILLISECOND };
    this.shutter = null;
    /** Axes that nobody looks for the switch of, bit per axis. */
    this.strictly = 0;
    this.lines = { half: false, release: false, lamp: false, led: false };
    this.halfPresses = 0;
    this.releases = [];
    this.exposures = [];
    /** Releases while the camera was busy. */
    this.ignored = 0;
    this.contacts = 0;
    this.logging = false;
    this.logged = [];
    /** What is to happen when an axis has taken so many pulses more. */
    this.traps = [];
    chip.onStart = (why) => this.started(why);
    chip.onTick = (now) => this.judge.tick(now);
  }

  /** The chip has started: its pins float, and are listened to anew. */
  started() {
    const { chip } = this;
    const now = chip.now;
    this.axes.forEach((axis, number) => {
      axis.step = 0;
      axis.high = 0;
      this.judge.floated(number, now);
      chip.listen(STEP + number, (level) => this.stepped(axis, level ?? 0));
      chip.listen(DIRECTION + number, (level) => this.turned(axis, level ?? 0));
    });
    // The enable line is pulled high where nothing drives it; the camera's are pulled low.
    this.enabled(1);
    this.released(0);
    this.lines.half = false;
    this.lines.lamp = false;
    this.lines.led = false;
    chip.listen(ENABLE, (level) => this.enabled(level ?? 1));
    chip.listen(RELEASE, (level) => this.released(level ?? 0));
    chip.listen(HALF_PRESS, (level) => {
      this.lines.half = level === 1;
      if (level !== 1) return;
      this.halfPresses++;
      this.judge.shoot('half-press', chip.now);
    });
    chip.listen(LAMP, (level) => (this.lines.lamp = level === 1));
    chip.listen(LED, (level) => (this.lines.led = level === 1));
    // Alarms went with the chip's old clock.
    for (const axis of this.axes) {
      axis.bouncing = null;
      this.wireHome(axis);
    }
    chip.wire(STOP, this.stopOpen);
    chip.wire(CONTACT, true);
    if (this.shutter) {
      const { due, then } = this.shutter;
      this.later(Math.max(0, due - now), then);
    }
  }

  /** @param {object} settings as the protocol has them */
  set({ axes = [], camera, minima, stopOpen }) {
    for (const settings of axes) {
      const axis = this.axes[settings.axis];
      axis.fitted = true;
      axis.reversed = settings.reversed ?? false;
      axis.low = settings.end !== 'high';
      axis.trip = settings.trip;
      axis.opens = settings.trip + (axis.low ? 1 : -1) * (settings.hysteresis ?? 0);
      axis.bounce = settings.bounce ?? [];
      axis.position = settings.position ?? axis.position;
      axis.pressed = false;
      axis.pressed = axis.presses();
      this.wireHome(axis);
    }
    if (camera) Object.assign(this.camera, camera);
    if (minima) Object.assign(this.judge.minima, minima);
    if (stopOpen !== undefined) this.stop(stopOpen);
  }

  /** @param {boolean} open */
  stop(open) {
    this.stopOpen = open;
    this.chip.wire(STOP, open);
    this.judge.stop(open, this.chip.now);
  }

  /**
   * @param {number} number the axis
   * @param {boolean | null} tripped what its switch is held at, or `null`: it is let go
   */
  force(number, tripped) {
    const axis = this.axes[number];
    axis.forced = tripped;
    this.guard(axis);
    this.wireHome(axis);
  }

  /** @param {number} axes those whose tripped switch forbids any pulse, bit per axis */
  strict(axes) {
    this.strictly = axes;
    for (const axis of this.axes) this.guard(axis);
  }

  guard(axis) {
    const on = (this.strictly & (1 << axis.number)) !== 0 || axis.forced === true;
    this.judge.strict(axis.number, on);
  }

  wireHome(axis) {
    const open = axis.forced ?? (axis.bouncing === null ? axis.pressed : axis.bouncing);
    this.chip.wire(HOME + axis.number, open);
    this.judge.trip(axis.number, open, this.chip.now);
  }

  stepped(axis, level) {
    if (level === axis.step) return;
    const { chip, judge } = this;
    const now = chip.now;
    axis.step = level;
    if (level === 0) {
      judge.fall(axis.number, now);
      return;
    }
    judge.rise(axis.number, now, {
      drivers: this.drivers,
      release: this.lines.release,
      shutter: this.exposing,
    });
    const up = (axis.high === 1) !== axis.reversed;
    if (up) axis.up++;
    else axis.down++;
    if (this.drivers) axis.position += up ? 1 : -1;
    const beyond = axis.low ? axis.trip - axis.position : axis.position - axis.trip;
    if (beyond > axis.beyond) axis.beyond = beyond;
    if (this.logging) this.log(now, axis.number, up);
    if (axis.presses() !== axis.pressed) this.press(axis);
    if (this.traps.length > 0) this.spring(axis);
  }

  press(axis) {
    axis.pressed = !axis.pressed;
    axis.bouncing = null;
    if (axis.bounce.length > 0) {
      const first = axis.pressed;
      let at = 0;
      axis.bounce.forEach((time, place) => {
        at += time;
        const last = place === axis.bounce.length - 1;
        const value = last ? null : (place % 2 === 0) !== first;
        this.later(at, () => {
          // It may have moved off meanwhile.
          if (axis.pressed !== first) return;
          axis.bouncing = value;
          this.wireHome(axis);
        });
      });
    }
    this.wireHome(axis);
  }

  spring(axis) {
    const due = this.traps.filter((trap) => trap.axis === axis.number && --trap.pulses <= 0);
    if (due.length === 0) return;
    this.traps = this.traps.filter((trap) => !due.includes(trap));
    for (const trap of due) trap.act();
  }

  turned(axis, level) {
    if (level === axis.high) return;
    axis.high = level;
    this.judge.turn(axis.number, this.chip.now);
  }

  enabled(level) {
    this.drivers = level === 0;
  }

  released(level) {
    const closed = level === 1;
    if (closed === this.lines.release) return;
    this.lines.release = closed;
    const now = this.chip.now;
    if (!closed) {
      this.releases[this.releases.length - 1].opened = now;
      return;
    }
    this.releases.push({ closed: now, opened: null, half: this.lines.half });
    this.judge.shoot('release', now, this.shutter !== null);
    if (this.shutter) {
      this.ignored++;
      return;
    }
    this.shutter = { due: 0, then: null };
    this.then(this.camera.delay, () => this.openShutter());
  }

  openShutter() {
    this.exposing = true;
    this.contacts++;
    this.judge.shoot('exposure', this.chip.now);
    this.exposures.push({
      opened: this.chip.now,
      closed: null,
      positions: this.axes.map((axis) => axis.position),
    });
    this.chip.wire(CONTACT, false);
    const { contact, exposure } = this.camera;
    this.then(contact, () => {
      this.chip.wire(CONTACT, true);
      this.then(Math.max(0, exposure - contact), () => {
        this.exposing = false;
        this.exposures[this.exposures.length - 1].closed = this.chip.now;
        this.shutter = null;
      });
    });
  }

  /** The camera's next act; it outlives a reset of the chip. */
  then(time, act) {
    this.shutter.due = this.chip.now + time;
    this.shutter.then = act;
    this.later(time, act);
  }

  later(time, act) {
    this.chip.rp2040.clock.createAlarm(act).schedule(time);
  }

  log(now, axis, up) {
    if (this.logged.length >= 2 * MOST_LOGGED) {
      this.chip.complain('the pulse log is full: read it more often');
      this.logging = false;
      return;
    }
    this.logged.push(now, axis | (up ? 8 : 0));
  }

  /** @returns {{times: string, what: string}} the pulses since the last reading, base 64 */
  takeLog() {
    const count = this.logged.length / 2;
    const times = new Float64Array(count);
    const what = new Uint8Array(count);
    for (let i = 0; i < count; i++) {
      times[i] = this.logged[2 * i];
      what[i] = this.logged[2 * i + 1];
    }
    this.logged = [];
    return {
      times: Buffer.from(times.buffer).toString('hex'),
      what: Buffer.from(what.buffer).toString('hex'),
    };
  }

  counters() {
    const { lines } = this;
    return {
      axes: this.axes.map((axis) => ({
        position: axis.position,
        up: axis.up,
        down: axis.down,
        tripped: axis.forced ?? axis.pressed,
        beyond: axis.beyond,
        ...this.judge.figures(axis.number),
      })),
      drivers: this.drivers,
      half: lines.half,
      half_presses: this.halfPresses,
      release: lines.release,
      lamp: lines.lamp,
      releases: this.releases,
      exposures: this.exposures,
      ignored: this.ignored,
      contacts: this.contacts,
      ticks: this.judge.ticks,
      starts: this.chip.starts,
      watchdogs: this.chip.watchdogs,
      forced: this.chip.forced,
    };
  }
}
