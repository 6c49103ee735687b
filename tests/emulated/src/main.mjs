// Runs a board's image for a harness that talks in lines of JSON on standard input and output, in
// lock-step: emulated time passes only within a "run". Bytes are in hexadecimal, times in emulated
// nanoseconds. Every answer has "now"; "violations", "trouble" and "starts" say how many there are.
//
//     {"do":"start","image":"...uf2","seed":1,"link":"usb","stand":{...}}
//     {"do":"run","until":NS,"wake":true}   until then, or until bytes for the host: "bytes"
//     {"do":"send","bytes":"00ff"}          to the board
//     {"do":"stand", ...}                   sets the model up: see Stand.set
//     {"do":"stop","open":true,"axis":0,"pulses":9}     now, or after so many pulses of an axis,
//                                           and "by" nanoseconds more
//     {"do":"force","switch":2,"tripped":true,"axis":0,"pulses":9}
//     {"do":"strict","axes":63}             axes whose tripped switch forbids any pulse
//     {"do":"permit","exposures":1}         the host has asked for so many more; none at first
//     {"do":"reset","why":"reset"|"power"}
//     {"do":"starve"}                       the core takes no interrupts any more
//     {"do":"hold","nanos":30000,...}       it takes none for so long; when, as with stop
//     {"do":"counters"} {"do":"findings"} {"do":"log","on":true} {"do":"pulses"}
//     {"do":"measure"} {"do":"load"}        load since then, and since the start
//     {"do":"doubt","on":true}              compares every instruction with the package's own doing;
//                                           "on":false tells what came of it
//     {"do":"blocks","on":true}             the same for whole blocks, each a few times
//     {"do":"plain","on":true}              only the package's interpreter, from now on
//     {"do":"trace","until":NS,"every":NS}  runs, and tells the core's state at every so many as a
//                                           number: "states"

import { readFileSync, readSync, writeSync } from 'node:fs';

import { Chip } from './chip.mjs';
import { BlockDoubt, Doubt } from './doubt.mjs';
import { Usb, Uart } from './lines.mjs';
import { Stand } from './stand.mjs';
import { load } from './uf2.mjs';

// The package writes notes to standard output, which is not theirs.
console.log = console.info = console.debug = (...words) => console.error(...words);

const FLASH = 16 * 1024 * 1024;

let chip = null;
let stand = null;
let line = null;
let heard = [];

const commands = {
  start({ image, seed = 1, link = 'usb', stand: settings = {} }) {
    const flash = new Uint8Array(FLASH).fill(0xff);
    const loaded = load(readFileSync(image), flash);
    chip = new Chip(flash, seed);
    stand = new Stand(chip);
    const started = chip.onStart;
    chip.onStart = (why) => {
      started(why);
      const Line = link === 'uart' ? Uart : Usb;
      heard = [];
      line = new Line(chip.rp2040, (bytes) => heard.push(bytes));
    };
    chip.start('power');
    stand.set(settings);
    return { loaded };
  },
  run({ until, wake = false }) {
    const done = wake ? () => heard.length > 0 : () => false;
    chip.run(until, done);
    const bytes = Buffer.concat(heard);
    heard = [];
    return { bytes: bytes.toString('hex') };
  },
  send({ bytes }) {
    line.send(Buffer.from(bytes, 'hex'));
  },
  stand(settings) {
    stand.set(settings);
  },
  stop({ open, axis, pulses, by }) {
    when(axis, pulses, by, () => stand.stop(open));
  },
  force({ switch: number, tripped, axis, pulses, by }) {
    when(axis, pulses, by, () => stand.force(number, tripped));
  },
  strict({ axes }) {
    stand.strict(axes);
  },
  permit({ exposures }) {
    stand.judge.permit(exposures);
  },
  reset({ why = 'reset', axis, pulses, by }) {
    // In the middle of an instruction's events nothing can be exchanged: the loop does it.
    if (pulses === undefined) chip.start(why);
    else when(axis, pulses, by, () => (chip.wanted = why));
  },
  starve() {
    chip.mask();
  },
  hold({ nanos, axis, pulses, by }) {
    when(axis, pulses, by, () => chip.hold(nanos));
  },
  counters() {
    return { ready: line.ready, ...stand.counters() };
  },
  findings() {
    if (!chip.translator.sound()) chip.complain('code in RAM has changed since it was translated');
    return {
      found: stand.judge.violations,
      troubles: chip.trouble,
      overrun: line.overrun ?? 0,
    };
  },
  log({ on }) {
    stand.logging = on;
  },
  pulses() {
    return stand.takeLog();
  },
  measure() {
    chip.load.begin(chip.now / 8);
  },
  doubt({ on }) {
    if (on) {
      chip.doubt = new Doubt(chip);
      return {};
    }
    const { compared, skipped, interpreted, kinds, differences } = chip.doubt;
    chip.doubt = null;
    return { compared, skipped, interpreted, kinds: kinds.size, differences };
  },
  blocks({ on }) {
    if (on) {
      chip.blocks = new BlockDoubt(chip);
      return {};
    }
    const { compared, differences } = chip.blocks;
    chip.blocks = null;
    return { compared, differences };
  },
  plain({ on }) {
    chip.plain = on;
  },
  trace({ until, every }) {
    const states = [];
    while (chip.now < until) {
      chip.run(Math.min(until, chip.now + every), () => false);
      if (chip.wanted === 'trap') break;
      states.push(chip.state());
    }
    return { states, memory: chip.memory() };
  },
  load() {
    return chip.load.report(chip.now / 8);
  },
};

function when(axis, pulses, by, act) {
  if (pulses === undefined || pulses === null) act();
  else if (by > 0) stand.traps.push({ axis, pulses, act: () => stand.later(by, act) });
  else stand.traps.push({ axis, pulses, act });
}

function answer(text) {
  const { do: what, ...rest } = JSON.parse(text);
  const command = commands[what];
  if (command === undefined) return { error: `there is no command ${what}` };
  if (chip === null && what !== 'start') return { error: 'nothing has been started' };
  const result = command(rest) ?? {};
  return {
    now: chip.now,
    violations: stand.judge.count,
    trouble: chip.trouble.length,
    starts: chip.starts,
    ...result,
  };
}

function main() {
  const buffer = Buffer.alloc(1 << 16);
  let text = '';
  for (;;) {
    const count = readSync(0, buffer);
    if (count === 0) return;
    text += buffer.toString('utf8', 0, count);
    for (let end = text.indexOf('\n'); end >= 0; end = text.indexOf('\n')) {
      const command = text.slice(0, end);
      text = text.slice(end + 1);
      let reply;
      try {
        reply = answer(command);
      } catch (error) {
        reply = { error: String(error?.stack ?? error) };
      }
      say(`${JSON.stringify(reply)}\n`);
    }
  }
}

function say(text) {
  const bytes = Buffer.from(text);
  for (let at = 0; at < bytes.length; ) at += writeSync(1, bytes, at);
}

main();
