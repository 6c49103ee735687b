// Instructions that the image seldom or never executes, against the architecture's own definition
// (ARM DDI 0419, AddWithCarry and the shifts; from memory), where the package has them otherwise.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { RP2040 } from 'rp2040js';

import { Translator } from '../src/translate.mjs';

const CODE = 0x20000000;

const rp2040 = new RP2040();
const translator = new Translator(rp2040);

/** Executes one instruction; registers and flags before and after. */
function execute(op, registers, flags = {}) {
  const { core } = rp2040;
  rp2040.writeUint16(CODE, op);
  Object.entries(registers).forEach(([number, value]) => (core.registers[number] = value));
  Object.assign(core, { N: false, Z: false, C: false, V: false, ...flags });
  core.PC = CODE;
  const cycles = translator.block(CODE, 1, translator.single)(0);
  const { N, Z, C, V } = core;
  return { registers: core.registers, flags: { N, Z, C, V }, cycles };
}

const EDGES = [0, 1, 2, 0x7ffffffe, 0x7fffffff, 0x80000000, 0x80000001, 0xfffffffe, 0xffffffff];

/** AddWithCarry in numbers that do not run out. */
function addWithCarry(x, y, carry) {
  const unsigned = BigInt(x >>> 0) + BigInt(y >>> 0) + BigInt(carry);
  const signed = BigInt(x | 0) + BigInt(y | 0) + BigInt(carry);
  const result = Number(BigInt.asUintN(32, unsigned));
  return {
    result,
    flags: {
      N: result >= 0x80000000,
      Z: result === 0,
      C: unsigned !== BigInt(result),
      V: signed !== BigInt.asIntN(32, signed),
    },
  };
}

test('ADCS, SBCS, ADDS, SUBS, CMP, RSBS at every edge', () => {
  for (const x of EDGES) {
    for (const y of EDGES) {
      for (const carry of [0, 1]) {
        const flags = { C: carry === 1 };
        for (const [name, op, expected, put] of [
          ['ADCS', 0x4148, addWithCarry(x, y, carry), true],
          ['SBCS', 0x4188, addWithCarry(x, ~y, carry), true],
          ['ADDS', 0x1840, addWithCarry(x, y, 0), true],
          ['SUBS', 0x1a40, addWithCarry(x, ~y, 1), true],
          ['CMP', 0x4288, addWithCarry(x, ~y, 1), false],
          ['CMN', 0x42c8, addWithCarry(x, y, 0), false],
          ['RSBS', 0x4248, addWithCarry(~y, 0, 1), true],
        ]) {
          const got = execute(op, { 0: x, 1: y }, flags);
          const where = `${name} ${x} ${y} ${carry}`;
          assert.deepEqual(got.flags, expected.flags, where);
          assert.equal(got.registers[0], put ? expected.result : x, where);
        }
      }
    }
  }
});

test('shifts by a register, by every amount', () => {
  for (const x of EDGES) {
    for (let by = 0; by < 70; by++) {
      const bits = BigInt(x);
      const shift = BigInt(by);
      const extended = BigInt.asUintN(128, BigInt(x | 0));
      const expected = {
        0x4088: [bits << shift, (bits << shift) & (1n << 32n)],
        0x40c8: [bits >> shift, by > 0 ? (bits >> (shift - 1n)) & 1n : 0n],
        0x4108: [extended >> shift, by > 0 ? (extended >> (shift - 1n)) & 1n : 0n],
      };
      for (const [op, [result, out]] of Object.entries(expected)) {
        const got = execute(Number(op), { 0: x, 1: by });
        const where = `${Number(op).toString(16)} ${x} ${by}`;
        assert.equal(got.registers[0], Number(BigInt.asUintN(32, result)), where);
        assert.equal(got.flags.C, out !== 0n, where);
      }
      const turned = by % 32;
      const rotated = ((x >>> turned) | (turned === 0 ? 0 : x << (32 - turned))) >>> 0;
      const got = execute(0x41c8, { 0: x, 1: by });
      assert.equal(got.registers[0], rotated, `RORS ${x} ${by}`);
      assert.equal(got.flags.C, by > 0 && rotated >= 0x80000000, `RORS ${x} ${by}`);
    }
  }
});

test('PUSH and POP take a cycle for every register, LR and PC among them', () => {
  assert.equal(execute(0xb510, { 13: CODE + 0x100 }).cycles, 3);
  assert.equal(execute(0xbc10, { 13: CODE + 0x100 }).cycles, 2);
  assert.equal(execute(0xbd10, { 13: CODE + 0x100 }).cycles, 5);
});
