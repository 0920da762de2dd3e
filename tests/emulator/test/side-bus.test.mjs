import assert from 'node:assert/strict';
import { test } from 'node:test';

import { DisplayChip } from '../display-chip.mjs';
import { RtcChip } from '../rtc-chip.mjs';

/// One transfer: writes, then reads so many bytes.
function transfer(chip, now, writes, reads = 0) {
  chip.start(now, false);
  for (const byte of writes) chip.write(byte);
  if (reads > 0) {
    chip.stop(now);
    chip.start(now, true);
  }
  const bytes = Array.from({ length: reads }, () => chip.read());
  chip.stop(now);
  return bytes;
}

// 1795632727 is 2026-11-25T18:52:07Z, a Wednesday, by `date -u`.
test('a clock chip counts on in packed decimals', () => {
  const chip = new RtcChip(1795632727);
  assert.deepEqual(transfer(chip, 0, [0], 7), [0x07, 0x52, 0x18, 4, 0x25, 0x11, 0x26]);
  assert.deepEqual(transfer(chip, 53e9, [0], 3), [0x00, 0x53, 0x18]);
  assert.deepEqual(transfer(chip, 0, [0x0f], 1), [0x08]);
});

test('its oscillator flag can only be written down', () => {
  const chip = new RtcChip(null);
  assert.deepEqual(transfer(chip, 0, [0x0f], 1), [0x88]);
  transfer(chip, 0, [0x0f, 0x08]);
  assert.deepEqual(transfer(chip, 0, [0x0f], 1), [0x08]);
  transfer(chip, 0, [0x0f, 0x88]);
  assert.deepEqual(transfer(chip, 0, [0x0f], 1), [0x08]);
});

test('a time that is written stands at the end of the transfer', () => {
  const chip = new RtcChip(null);
  transfer(chip, 2e9, [0, 0x07, 0x52, 0x18, 4, 0x25, 0x11, 0x26]);
  assert.equal(chip.time(2e9), 1795632727);
  assert.equal(chip.time(4.9e9), 1795632729);
});

test('a display shows what is in its memory while it is on', () => {
  const chip = new DisplayChip();
  const send = (...bytes) => transfer(chip, 0, bytes);
  const lit = () => chip.picture().join('').split('1').length - 1;
  assert.equal(lit(), 0);
  for (const command of [[0x8d, 0x14], [0x20, 0], [0xa1], [0xc8], [0x21, 0, 127], [0x22, 0, 7]]) send(0, ...command);
  for (let at = 0; at < 1024; at += 16) send(0x40, ...Array(16).fill(0));
  send(0, 0x21, 3, 4);
  send(0, 0x22, 1, 2);
  send(0x40, 0x01, 0x80, 0xff);
  assert.equal(lit(), 0, 'off');
  send(0, 0xaf);
  assert.equal(lit(), 10);
  const picture = chip.picture();
  assert.equal(picture[8][3], '1');
  assert.equal(picture[15][4], '1');
  assert.equal(picture[16][3], '1');
  send(0, 0xa7);
  assert.equal(lit(), 128 * 64 - 10);
  send(0, 0xa6);
  send(0, 0xa0);
  assert.equal(chip.picture()[8][124], '1', 'columns scanned the other way');
  assert.deepEqual([...chip.oddities], []);
});

test('what a driver should never send is counted', () => {
  const chip = new DisplayChip();
  transfer(chip, 0, [0, 0x21, 5]);
  transfer(chip, 0, [0, 0x22, 3, 2]);
  transfer(chip, 0, [0, 0xf7]);
  transfer(chip, 0, [0x55, 0xae]);
  assert.equal(chip.oddities.size, 4, JSON.stringify([...chip.oddities]));
});
