// Each thing that must never be at the pins is found, and what is allowed is not.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { Judge } from '../src/judge.mjs';

const SOUND = { drivers: true, release: false, shutter: false };

/** A judge of one axis that has seen a sound pulse begin at 100 us and end at 102.5 us. */
function after() {
  const judge = new Judge(6);
  judge.turn(0, 0);
  judge.rise(0, 100_000, SOUND);
  judge.fall(0, 102_500);
  assert.equal(judge.count, 0);
  return judge;
}

function found(judge) {
  return judge.violations.map(({ what }) => what);
}

test('sound pulses are found sound, and their times are kept', () => {
  const judge = after();
  judge.rise(0, 105_000, SOUND);
  judge.fall(0, 107_500);
  judge.turn(0, 110_000);
  judge.rise(0, 115_000, SOUND);
  judge.fall(0, 117_500);
  assert.deepEqual(found(judge), []);
  const figures = judge.figures(0);
  assert.deepEqual(figures, { high: 2500, low: 2500, setup: 5000, hold: 5000, turns: 2 });
});

test('a pulse that is too short', () => {
  const judge = after();
  judge.rise(0, 200_000, SOUND);
  judge.fall(0, 201_899);
  assert.deepEqual(found(judge), ['pulse high too short']);
});

test('pulses too close together', () => {
  const judge = after();
  judge.rise(0, 102_500 + 1899, SOUND);
  assert.deepEqual(found(judge), ['pulse low too short']);
  assert.equal(judge.violations[0].numbers.low, 1899);
});

test('a direction that changes too late before a pulse, or too soon after one', () => {
  const judge = after();
  judge.turn(0, 199_351);
  judge.rise(0, 200_000, SOUND);
  judge.turn(0, 200_649);
  assert.deepEqual(found(judge), ['direction set-up too short', 'direction hold too short']);
});

test('pulses with the drivers off, the release line closed, the shutter open', () => {
  for (const [change, what] of [
    [{ drivers: false }, 'pulse with the drivers off'],
    [{ release: true }, 'pulse with the release line closed'],
    [{ shutter: true }, 'pulse with the shutter open'],
  ]) {
    const judge = after();
    judge.rise(0, 200_000, { ...SOUND, ...change });
    assert.deepEqual(found(judge), [what]);
  }
});

test('an open stop circuit: the pulse before the tick that sees it is allowed, none after', () => {
  const judge = after();
  judge.stop(true, 150_000);
  judge.rise(3, 150_500, SOUND);
  judge.fall(3, 153_000);
  assert.deepEqual(found(judge), []);
  judge.tick(151_000);
  judge.rise(3, 155_500, SOUND);
  assert.deepEqual(found(judge), ['pulse with the stop circuit open']);
  judge.fall(3, 158_000);
  judge.stop(false, 160_000);
  judge.rise(3, 165_500, SOUND);
  assert.equal(judge.count, 1);
});

test('a tripped switch forbids its axis, where nothing looks for it', () => {
  const judge = after();
  judge.trip(0, true, 150_000);
  judge.tick(151_000);
  judge.rise(0, 200_000, SOUND);
  judge.fall(0, 202_500);
  assert.deepEqual(found(judge), []);
  judge.strict(0, true);
  judge.rise(1, 300_000, SOUND);
  judge.rise(0, 300_000, SOUND);
  assert.deepEqual(found(judge), ['pulse with the switch tripped']);
  assert.equal(judge.violations[0].axis, 0);
});

test('a switch that bounces is seen anew', () => {
  const judge = after();
  judge.strict(0, true);
  judge.trip(0, true, 150_000);
  judge.tick(151_000);
  judge.trip(0, false, 152_000);
  judge.trip(0, true, 153_000);
  judge.rise(0, 154_000, SOUND);
  assert.deepEqual(found(judge), []);
  judge.tick(156_000);
  judge.fall(0, 156_500);
  judge.rise(0, 159_000, SOUND);
  assert.equal(judge.count, 1);
});

test('the camera is used as often as asked for, and no oftener', () => {
  for (const kind of ['half-press', 'release', 'exposure']) {
    const judge = new Judge(6);
    judge.permit(1);
    judge.shoot(kind, 100_000);
    assert.deepEqual(found(judge), []);
    judge.shoot(kind, 200_000);
    assert.deepEqual(found(judge), [`${kind} not asked for`]);
    judge.permit(2);
    judge.shoot(kind, 300_000, true);
    assert.equal(judge.violations[1].what, `${kind} while the camera is busy`);
    assert.equal(judge.count, 2);
  }
  const judge = new Judge(6);
  judge.shoot('release', 100_000);
  assert.deepEqual(found(judge), ['release not asked for'], 'none at first');
});
