// The converter's model against the data sheet and the vectors in the driver's notes.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { AdcChip, CodeFile, FRAME_BYTES, crc16, parseFault } from '../adc-chip.mjs';

/// Rows of four codes as a file holds them.
function rows(...codes) {
  const file = Buffer.alloc(16 * codes.length);
  codes.flat().forEach((code, index) => file.writeInt32LE(code, index * 4));
  return file;
}

/// One frame with these command words; the 18 bytes that come back.
function frame(chip, ...words) {
  const out = new Uint8Array(FRAME_BYTES);
  words.forEach((word, index) => out.set([word >> 8, word & 0xff, 0], index * 3));
  const crc = crc16(out.subarray(0, words.length * 3));
  out.set([crc >> 8, crc & 0xff], words.length * 3);
  chip.select(true, 1, 8e6);
  const back = Array.from(out, (byte) => chip.exchange(byte));
  chip.select(false, 1, 8e6);
  return back;
}

const answer = (bytes) => (bytes[0] << 8) | bytes[1];
const codesOf = (bytes) =>
  [3, 6, 9, 12].map((at) => (((bytes[at] << 24) | (bytes[at + 1] << 16) | (bytes[at + 2] << 8)) >> 8));
const crcHolds = (bytes) => crc16(bytes.slice(0, 15)) === ((bytes[15] << 8) | bytes[16]);

/// A chip past its set-up, with `source` at its inputs, row 0 next.
function settled(source, faults = []) {
  const chip = new AdcChip(new CodeFile(source), faults);
  frame(chip, 0x0011);
  frame(chip, 0x6100, 0x1110);
  chip.unsettled = 0;
  chip.row = 0;
  chip.fifo = [];
  frame(chip, 0x0000);
  return chip;
}

test('the check word has the known value and that of the empty response', () => {
  assert.equal(crc16(Buffer.from('123456789')), 0x29b1);
  assert.equal(crc16([0x00, 0x11, 0x00]), 0xfcde);
  assert.equal(crc16([0xa0, 0x00, 0x00]), 0x7100);
  assert.equal(crc16([0x61, 0x00, 0x00, 0x01, 0x10, 0x00]), 0x20eb);
  assert.equal(crc16([0x05, 0x0f, ...new Array(13).fill(0)]), 0xe0e0);
});

test('RESET is acknowledged in the next frame and leaves the defaults', () => {
  const chip = new AdcChip(new CodeFile(rows([1, 2, 3, 4])));
  frame(chip, 0x0011);
  assert.equal(answer(frame(chip, 0xa000)), 0xff24);
  assert.equal(answer(frame(chip, 0xa100)) >> 8, 0x24, 'identity');
  assert.equal(answer(frame(chip, 0xa180)), 0x0510, 'MODE');
  assert.equal(answer(frame(chip, 0x0000)), 0x0f0e, 'CLOCK');
  assert.equal(answer(frame(chip, 0x0000)) & 0xff00, 0x0500, 'the reset flag stands');
});

test('a write is acknowledged, reads back and clears the reset flag', () => {
  const chip = new AdcChip(new CodeFile(rows([0, 0, 0, 0])));
  frame(chip, 0x6100, 0x0110);
  assert.equal(answer(frame(chip, 0xa100)), 0x4100);
  assert.equal(answer(frame(chip, 0x0000)), 0x0110);
  assert.equal(answer(frame(chip, 0x0000)) & 0xff00, 0x0100);
});

test('codes come out whole, signed, under a right check word', () => {
  const codes = [0x7fffff, -0x800000, -1, 123456];
  const chip = settled(rows(codes));
  chip.convert();
  const bytes = frame(chip, 0x0000);
  assert.equal(answer(bytes), 0x010f, 'all four channels new');
  assert.deepEqual(codesOf(bytes), codes);
  assert.ok(crcHolds(bytes));
});

test('after a pause the two oldest conversions come first and the loss is counted', () => {
  const chip = settled(rows([1, 0, 0, 0], [2, 0, 0, 0], [3, 0, 0, 0], [4, 0, 0, 0]));
  for (let index = 0; index < 4; index++) chip.convert();
  const first = codesOf(frame(chip, 0x0000));
  const second = codesOf(frame(chip, 0x0000));
  assert.deepEqual([first[0], second[0]], [3, 4]);
  assert.equal(chip.statistics.missed, 3);
});

test('data ready falls with each conversion and rises when its frame is read', () => {
  const chip = settled(rows([1, 2, 3, 4]));
  const levels = [];
  chip.onDataReady = (high) => levels.push(high);
  chip.convert();
  frame(chip, 0x0000);
  assert.deepEqual(levels, [false, true]);
  chip.convert();
  chip.convert();
  assert.deepEqual(levels.slice(2), [false, true, false], 'unread: high for a moment');
});

test('a damaged command is not executed, but a damaged write is', () => {
  const chip = settled(rows([0, 0, 0, 0]));
  const damaged = (words) => {
    const out = new Uint8Array(FRAME_BYTES);
    words.forEach((word, index) => out.set([word >> 8, word & 0xff, 0], index * 3));
    chip.select(true, 1, 8e6);
    out.forEach((byte) => chip.exchange(byte));
    chip.select(false, 1, 8e6);
  };
  damaged([0x0011]);
  const status = answer(frame(chip, 0x0000));
  assert.equal(status & 0x1400, 0x1000, 'wrong check word told, no reset');
  damaged([0x6200, 0x0001]);
  frame(chip, 0xa200);
  assert.equal(answer(frame(chip, 0x0000)), 0x0001, 'GAIN1 took the write');
});

test('test inputs, gain and clipping follow the registers', () => {
  const chip = settled(rows([3000000, 3000000, 3000000, 3000000]));
  for (const [register, value] of [[0x6480, 1], [0x6700, 2], [0x6980, 3], [0x6200, 0x2000]]) frame(chip, register, value);
  chip.unsettled = 0;
  chip.convert();
  frame(chip, 0x0000);
  chip.convert();
  const codes = codesOf(frame(chip, 0x0000));
  assert.deepEqual(codes, [0, 1118481, -1118481, 0x7fffff]);
});

test('conversions after a change are unsettled', () => {
  const chip = settled(rows([800, 800, 800, 800]));
  frame(chip, 0x6180, 0x0f0e);
  const seen = [];
  for (let index = 0; index < 4; index++) {
    chip.convert();
    seen.push(codesOf(frame(chip, 0x0000))[0]);
  }
  assert.deepEqual(seen, [400, 400, 400, 800]);
});

test('faults: a damaged frame, a silent stretch, a restart', () => {
  const now = settled(rows([5, 5, 5, 5])).statistics.conversions;
  const chip = settled(rows([5, 5, 5, 5]), [`crc@${now}`, `silent@${now + 1}:${now + 3}`, `restart@${now + 4}`].map(parseFault));
  chip.convert();
  assert.ok(!crcHolds(frame(chip, 0x0000)));
  let falls = 0;
  chip.onDataReady = (high) => (falls += high ? 0 : 1);
  chip.convert();
  chip.convert();
  assert.equal(falls, 0);
  chip.convert();
  assert.equal(falls, 1);
  assert.ok(crcHolds(frame(chip, 0x0000)));
  chip.convert();
  assert.equal(answer(frame(chip, 0x0000)) & 0x0400, 0x0400);
  assert.throws(() => parseFault('crc'), /not one of/);
  assert.throws(() => parseFault('silent@5'), /not one of/);
});

test('a bit of a register turns over once', () => {
  const now = settled(rows([5, 5, 5, 5])).statistics.conversions;
  const chip = settled(rows([5, 5, 5, 5]), [parseFault(`bit@${now}:03.1`)]);
  const before = chip.registers[3];
  chip.convert();
  assert.equal(chip.registers[3], before ^ 2);
  chip.convert();
  assert.equal(chip.registers[3], before ^ 2);
  assert.throws(() => parseFault('bit@5:3.1'), /not one of/);
  assert.throws(() => parseFault('bit@5:3f.1'), /not one of/);
  assert.throws(() => parseFault('bit@5:03.16'), /not one of/);
});

test('a part without supply answers nothing and comes back with its defaults', () => {
  const now = settled(rows([5, 5, 5, 5])).statistics.conversions;
  const chip = settled(rows([5, 5, 5, 5]), [parseFault(`dead@${now}:${now + 1}`)]);
  chip.convert();
  assert.ok(frame(chip, 0x0000).every((byte) => byte === 0xff));
  chip.convert();
  assert.equal(answer(frame(chip, 0x0000)) & 0xff00, 0x0500);
});

test('the file of codes holds, repeats or ends in zeros', () => {
  const file = rows([1, 1, 1, 1], [2, 2, 2, 2]);
  assert.equal(new CodeFile(file, 'hold').row(9)[0], 2);
  assert.equal(new CodeFile(file, 'repeat').row(4)[0], 1);
  assert.equal(new CodeFile(file, 'zero').row(2)[0], 0);
  assert.throws(() => new CodeFile(Buffer.alloc(17)), /17 bytes/);
});

test('a wrong SPI mode or a cut frame is noticed', () => {
  const chip = new AdcChip(new CodeFile(rows([0, 0, 0, 0])));
  chip.select(true, 0, 8e6);
  chip.exchange(0);
  chip.select(false, 0, 8e6);
  assert.deepEqual([...chip.oddities.keys()], ['SPI mode 0 instead of 1', 'frame of 1 bytes']);
});

test('SYNC low for 250 us resets, a shorter pulse only resynchronises', () => {
  const chip = settled(rows([0, 0, 0, 0]));
  chip.sync(false, 0);
  chip.sync(true, 100e3);
  assert.equal(answer(frame(chip, 0x0000)) & 0x4000, 0x4000);
  chip.sync(false, 1e6);
  chip.sync(true, 1e6 + 251e3);
  assert.equal(answer(frame(chip, 0x0000)) & 0xff00, 0x0500);
});
