// The outputs of the tester's own currents, and a circuit that answers to them.

import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { test } from 'node:test';

import { AdcChip } from '../adc-chip.mjs';
import { boardWith, load } from '../fixtures/program.mjs';
import { LiveCodes } from '../live-codes.mjs';
import { OUTPUT_PINS, Outputs } from '../outputs.mjs';

const movs = (register, value) => 0x2000 | (register << 8) | value;
const str = (from, base, offset) => 0x6000 | ((offset / 4) << 6) | (base << 3) | from;
const STAY = 0xe7fe;
const SIO = 0xd0000000;
/// SIO's registers, from its base.
const OUT_SET = 0x14;
const OUT_CLR = 0x18;
const OUT_XOR = 0x1c;
const OE_SET = 0x24;
const IO_BANK0 = 0x40014000;
const mask = (...names) => names.reduce((bits, name) => bits | (1 << OUTPUT_PINS[name]), 0);

/// A program that makes all six pins outputs, then runs `rest`. Registers: r0 SIO, r1 the
/// mask of all, r2 and up free; constants from number 2 on are the caller's.
function withPins(rest, constants = []) {
  const pins = Object.values(OUTPUT_PINS);
  const count = 3 + 3 * pins.length + rest.length;
  const functions = pins.map((pin) => IO_BANK0 + 8 * pin + 4);
  const all = [SIO, mask(...Object.keys(OUTPUT_PINS)), ...functions, ...constants];
  const code = [load(0, 0, 0, count), load(1, 1, 1, count)];
  // Function 5 is SIO.
  functions.forEach((_, index) => code.push(load(2, 2 + index, code.length, count), movs(3, 5), str(3, 2, 0)));
  code.push(str(1, 0, OE_SET));
  const first = code.length;
  code.push(...rest.map((half) => (typeof half === 'function' ? half(code.length + rest.indexOf(half), count) : half)));
  return { code, constants: all, first };
}

/// `ldr r4, =value`, the caller's constant number `which`.
const constant = (register, which) => (index, count) => load(register, 2 + Object.keys(OUTPUT_PINS).length + which, index, count);

test('pins that the program drives are seen, and a new chip lets go of them', () => {
  const board = boardWith(withPins([constant(4, 0), str(4, 0, OUT_SET), STAY], [mask('probeHold', 'driveClip', 'tone')]));
  board.run(1e5);
  assert.deepEqual(board.outputs.levels, { probePump: false, probeHold: true, driveGround: false, driveClip: true, tone: true, driveRaise: false });
  assert.equal(board.outputs.bits, 0b11010);
  board.pendingReset = { reason: 1, scratch: new Array(8).fill(0) };
  board.reset();
  assert.equal(board.outputs.bits, 0, 'undriven after a reset, before the program runs');
  board.run(board.nanos + 1e5);
  assert.equal(board.outputs.bits, 0b11010, 'the program drives them again');
  assert.equal(board.report().outputs.edges.tone, 3);
});

test('the charge pump holds while its pin moves and for a millisecond after', () => {
  let now = 0;
  const outputs = new Outputs(() => now);
  outputs.set('probeHold', true);
  outputs.sample();
  assert.equal(outputs.conversions.probe, 0, 'a pin that stands still holds nothing');
  for (let frame = 0; frame < 10; frame++) {
    outputs.set('probePump', frame % 2 === 0);
    now += 250e3;
    outputs.sample();
  }
  assert.equal(outputs.conversions.probe, 10);
  for (let frame = 0; frame < 10; frame++) {
    now += 250e3;
    outputs.sample();
  }
  assert.equal(outputs.conversions.probe, 12, 'held for 1 ms from its last edge');
  outputs.set('probeHold', false);
  outputs.set('probePump', true);
  outputs.sample();
  assert.equal(outputs.conversions.probe, 12, 'relay B alone opens it');
});

test('the codes of a conversion depend on the pins during it', () => {
  // Toggles the tone for ever: about a microsecond a turn at the start-up clock.
  const loop = [constant(4, 0), str(4, 0, OUT_SET), constant(5, 1), str(5, 0, OUT_XOR), 0xe7fd];
  const board = boardWith(withPins(loop, [mask('driveGround'), mask('tone')]));
  const seen = [];
  board.adc.codes = {
    row: (index, outputs) => {
      seen.push({ index, outputs });
      return [index, outputs, 0, 0];
    },
  };
  board.adc.row = 0;
  board.run(10e6);
  assert.equal(seen.length, 40);
  assert.deepEqual(seen.map(({ index }) => index), [...Array(40).keys()]);
  const tone = 16;
  assert.ok(seen.every(({ outputs }) => (outputs & ~tone) === 4), 'the relay to ground');
  assert.ok(board.report().outputs.edges.tone > 1000);
  assert.equal(board.report().outputs.conversions.driveToGround, 40);
});

test('a converter without a board around it sees nothing driven', () => {
  const chip = new AdcChip({ row: (_, outputs) => [outputs, 0, 0, 0] });
  chip.row = 0;
  chip.unsettled = 0;
  chip.convert();
  assert.deepEqual(chip.fifo[0].codes, [0, 0, 0, 0]);
});

/// A circuit of its own: answers [row, outputs, -1, 2^23 - 1] to each request, and ends after
/// `count` of them.
const CIRCUIT = `
const { openSync, readSync, writeSync } = require('node:fs');
const [requests, answers, count] = process.argv.slice(1);
const from = openSync(requests, 'r');
const to = openSync(answers, 'w');
const request = Buffer.alloc(8);
const answer = Buffer.alloc(16);
for (let number = 0; number < Number(count); number++) {
  let filled = 0;
  while (filled < 8) {
    const more = readSync(from, request, filled, 8 - filled, null);
    if (more === 0) process.exit(0);
    filled += more;
  }
  answer.writeInt32LE(request.readUInt32LE(0), 0);
  answer.writeInt32LE(request.readUInt32LE(4), 4);
  answer.writeInt32LE(-1, 8);
  answer.writeInt32LE(0x7fffff, 12);
  writeSync(to, answer);
}
`;

test('a circuit in another process answers row by row, and its end is told', { skip: process.platform === 'win32' }, () => {
  const folder = mkdtempSync(join(tmpdir(), 'circuit-'));
  try {
    const [requests, answers] = ['requests', 'answers'].map((name) => join(folder, name));
    execFileSync('mkfifo', [requests, answers]);
    spawn(process.execPath, ['-e', CIRCUIT, requests, answers, '1000'], { stdio: 'inherit' });
    const codes = new LiveCodes(requests, answers);
    for (let row = 0; row < 1000; row++) {
      assert.deepEqual(codes.row(row, row % 32), [row, row % 32, -1, 0x7fffff]);
    }
    assert.throws(() => codes.row(1000, 0), /the circuit ended before it answered row 1000|EPIPE/);
    codes.close();
  } finally {
    rmSync(folder, { recursive: true });
  }
});
