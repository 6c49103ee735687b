// Runs the measuring image (tests/ramps) on an emulated RP2040 and prints the cycles that it
// measured, as JSON.
//
//     node cycles.mjs IMAGE      the linked image, an ELF file
//
// What the emulator counts: a cycle for each instruction, and more for loads, stores, branches and
// so on, as the Cortex-M0+ has it (Technical Reference Manual, section 3.3). It counts no wait for
// the flash (the tick belongs into memory) and none for the entry and return of an interrupt: these
// take 15 and 13 cycles more (same manual, section 3.6.1; from memory).

import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { RP2040 } from 'rp2040js';

/** The image's marks: stores to these addresses (tests/ramps/src/chip.rs). */
const MARKS = {
  0xd00000c0: 'text',
  0xd00000c4: 'length',
  0xd00000dc: 'case',
  0xd00000c8: 'start',
  0xd00000cc: 'end',
  0xd00000d0: 'due',
  0xd00000d4: 'over',
  0xd00000d8: 'panic',
  0x50200010: 'pulses',
  0x50200014: 'alarm',
};

const VECTORS = 0x10000100;
const FLASH = 0x10000000;
/** The image is over long before. */
const MOST_INSTRUCTIONS = 1_000_000_000;

/** Copies the loaded segments of a little-endian 32-bit ELF file into the chip's flash. */
export function load(chip, elf) {
  const view = new DataView(elf.buffer, elf.byteOffset, elf.byteLength);
  if (view.getUint32(0, false) !== 0x7f454c46 || elf[4] !== 1 || elf[5] !== 1) {
    throw new Error('not a little-endian 32-bit ELF file');
  }
  const [at, size, count] = [view.getUint32(28, true), view.getUint16(42, true), view.getUint16(44, true)];
  for (let place = at; place < at + size * count; place += size) {
    const [kind, from, , to, length] = [0, 4, 8, 12, 16].map((field) => view.getUint32(place + field, true));
    if (kind !== 1 || length === 0) continue;
    if (to < FLASH || to + length > FLASH + chip.flash.length) {
      throw new Error(`a segment of the image at ${to.toString(16)} is not in the flash`);
    }
    chip.flash.set(elf.subarray(from, from + length), to - FLASH);
  }
}

/** Runs the image to its end; the cases in its order, each with its cycles. */
export function measure(elf) {
  const chip = new RP2040();
  load(chip, elf);
  const { core } = chip;
  const cases = [];
  let current;
  let text;
  let names = [];
  let start;
  let over = false;
  const write = chip.writeUint32.bind(chip);
  chip.writeUint32 = (address, value) => {
    switch (MARKS[address >>> 0]) {
      case undefined:
        write(address, value);
        break;
      case 'text':
        text = value - FLASH;
        break;
      case 'length':
        names.push(new TextDecoder().decode(chip.flash.subarray(text, text + value)));
        break;
      case 'case':
        current = { group: names[0], name: names[1], count: 0, total: 0, least: Infinity, most: 0, pulses: 0 };
        names = [];
        cases.push(current);
        break;
      case 'start':
        start = core.cycles;
        break;
      case 'end': {
        const cycles = core.cycles - start;
        current.count += 1;
        current.total += cycles;
        current.least = Math.min(current.least, cycles);
        current.most = Math.max(current.most, cycles);
        break;
      }
      case 'due':
        if (current.pulses !== value) {
          throw new Error(`${current.group}, ${current.name}: ${current.pulses} pulses instead of ${value}`);
        }
        break;
      case 'pulses':
        for (let bits = value; bits !== 0; bits &= bits - 1) if (current) current.pulses += 1;
        break;
      case 'over':
        over = true;
        break;
      case 'panic':
        throw new Error(`the image gave up at line ${value}, in ${current?.group}, ${current?.name}`);
    }
  };
  core.VTOR = VECTORS;
  core.SP = chip.readUint32(VECTORS);
  core.PC = chip.readUint32(VECTORS + 4) & ~1;
  let instructions = 0;
  while (!over) {
    core.executeInstruction();
    instructions += 1;
    if (instructions > MOST_INSTRUCTIONS) throw new Error('the image does not come to its end');
  }
  // What an empty pair of marks costs is in every figure.
  const empty = cases.shift().total;
  return cases.map(({ group, name, count, total, least, most, pulses }) => ({
    group,
    name,
    measured: count,
    pulses,
    mean: total / count - empty,
    least: least - empty,
    most: most - empty,
    perPulse: pulses === 0 ? null : (total - count * empty) / pulses,
  }));
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const [image] = process.argv.slice(2);
  if (image === undefined) {
    console.error('usage: node cycles.mjs IMAGE');
    process.exit(2);
  }
  console.log(JSON.stringify(measure(readFileSync(image)), null, 1));
}
