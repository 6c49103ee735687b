// What a boot loader would refuse is refused.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { load } from '../src/uf2.mjs';

function block(number, of, change = {}) {
  const bytes = Buffer.alloc(512, 0);
  const words = {
    0: 0x0a324655, 4: 0x9e5d5157, 8: 0x2000, 12: 0x10000000 + number * 256, 16: 256, 20: number,
    24: of, 28: 0xe48bff56, 508: 0x0ab16f30, ...change,
  };
  Object.entries(words).forEach(([at, word]) => bytes.writeUInt32LE(word, Number(at)));
  bytes.fill(number + 1, 32, 32 + 256);
  return bytes;
}

test('blocks go where they belong', () => {
  const flash = new Uint8Array(1024);
  assert.equal(load(Buffer.concat([block(0, 2), block(1, 2)]), flash), 512);
  assert.deepEqual([...flash.subarray(254, 258)], [1, 1, 2, 2]);
  assert.equal(flash[512], 0);
});

test('damaged files are refused', () => {
  const flash = new Uint8Array(1024);
  const refused = (file) => assert.throws(() => load(file, flash), Error);
  refused(Buffer.alloc(0));
  refused(block(0, 1).subarray(0, 511));
  refused(block(0, 1, { 0: 0 }));
  refused(block(0, 1, { 508: 0 }));
  refused(block(0, 1, { 28: 1 }));
  refused(block(0, 2, { 20: 1 }));
  refused(block(0, 1, { 12: 0x10000000 + 4096 }));
  refused(block(0, 1, { 12: 0x20000000 }));
});
