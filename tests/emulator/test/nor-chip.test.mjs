// The flash model against what every 25-series part does.

import assert from 'node:assert/strict';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { test } from 'node:test';

import { NorChip, SIZE, UNIQUE_NUMBER } from '../nor-chip.mjs';

/// One command; the bytes that come back after those sent.
function command(chip, sent, wanted = 0) {
  chip.select(true, 0, 16e6);
  sent.forEach((byte) => chip.exchange(byte));
  const back = Array.from({ length: wanted }, () => chip.exchange(0));
  chip.select(false, 0, 16e6);
  return back;
}

function fresh(path) {
  const time = { nanos: 0 };
  const chip = new NorChip(path, () => time.nanos);
  return { chip, time };
}

const program = (chip, address, bytes) => {
  command(chip, [0x06]);
  command(chip, [0x02, address >> 16, (address >> 8) & 0xff, address & 0xff, ...bytes]);
};
const read = (chip, address, count) => command(chip, [0x03, address >> 16, (address >> 8) & 0xff, address & 0xff], count);

test('identity and unique number', () => {
  const { chip } = fresh();
  assert.deepEqual(command(chip, [0x9f], 3), [0xef, 0x40, 0x17]);
  assert.deepEqual(command(chip, [0x4b, 0, 0, 0, 0], 8), UNIQUE_NUMBER);
});

test('programming clears bits only, after write enable only, and takes 0.4 ms', () => {
  const { chip, time } = fresh();
  command(chip, [0x02, 0, 0, 0, 0x55]);
  assert.deepEqual(read(chip, 0, 1), [0xff], 'without write enable nothing happens');
  program(chip, 0, [0x5f]);
  assert.equal(command(chip, [0x05], 1)[0], 1, 'busy, write enable gone');
  time.nanos += 399e3;
  assert.equal(command(chip, [0x05], 1)[0] & 1, 1);
  time.nanos += 2e3;
  assert.equal(command(chip, [0x05], 1)[0], 0);
  program(chip, 0, [0xf5]);
  time.nanos += 1e6;
  assert.deepEqual(read(chip, 0, 2), [0x55, 0xff]);
  assert.deepEqual([...chip.oddities.keys()], ['program or erase without write enable']);
});

test('a program wraps at the end of its page', () => {
  const { chip, time } = fresh();
  program(chip, 0x1fe, [1, 2, 3]);
  time.nanos += 1e6;
  assert.deepEqual(read(chip, 0x1fe, 3), [1, 2, 0xff]);
  assert.deepEqual(read(chip, 0x100, 1), [3]);
});

test('an erase sets its sector, takes 45 ms, and the part is deaf meanwhile', () => {
  const { chip, time } = fresh();
  program(chip, 0x1000, [0]);
  time.nanos += 1e6;
  program(chip, 0x2000, [0]);
  time.nanos += 1e6;
  command(chip, [0x06]);
  command(chip, [0x20, 0x00, 0x1f, 0xff]);
  time.nanos += 44e6;
  assert.deepEqual(read(chip, 0x2000, 1), [0xff], 'busy: no data');
  assert.ok(chip.oddities.has('command 3 while busy'));
  time.nanos += 2e6;
  assert.deepEqual(read(chip, 0x1000, 1), [0xff]);
  assert.deepEqual(read(chip, 0x2000, 1), [0]);
});

test('write disable takes write enable back', () => {
  const { chip } = fresh();
  command(chip, [0x06]);
  assert.equal(command(chip, [0x05], 1)[0], 2);
  command(chip, [0x04]);
  assert.equal(command(chip, [0x05], 1)[0], 0);
});

test('contents outlive the run in their file, and a file of another size is refused', () => {
  const folder = mkdtempSync(join(tmpdir(), 'nor-'));
  try {
    const path = join(folder, 'nor.bin');
    const { chip } = fresh(path);
    program(chip, 0x7ffffe, [0x12, 0x34]);
    chip.save();
    assert.deepEqual(read(fresh(path).chip, 0x7ffffe, 3), [0x12, 0x34, 0xff], 'reading wraps at the end');
    writeFileSync(path, 'short');
    assert.throws(() => fresh(path), /holds 5 bytes, not 8388608/);
  } finally {
    rmSync(folder, { recursive: true });
  }
  assert.equal(SIZE, 8 * 1024 * 1024);
});
