import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { test } from 'node:test';

import { crc32, finish } from '../image-check.mjs';

/// A linked image of two segments with a gap, its mark in the second.
function image() {
  const first = { virtualAddress: 0x10000000, loadAddress: 0x10000000, bytes: new Uint8Array(256).map((_, at) => at) };
  const second = { virtualAddress: 0x10000104, loadAddress: 0x10000104, bytes: new Uint8Array(64).fill(7) };
  return { segments: [first, second], require: () => 0x10000110 };
}

test('the check word is the catalogued one', () => {
  assert.equal(crc32(Buffer.from('123456789')), 0xcbf43926);
});

test('the mark holds place, length and the check over all but itself, and stays when done twice', () => {
  const elf = image();
  const { check, build } = finish(elf);
  const view = new DataView(elf.segments[1].bytes.buffer);
  assert.deepEqual([12, 16, 20].map((at) => view.getUint32(at, true)), [0x10000000, 0x144, check]);
  const gap = new Uint8Array(4).fill(0xff);
  const before = elf.segments[1].bytes.subarray(0, 20);
  const after = elf.segments[1].bytes.subarray(24);
  assert.equal(crc32(Buffer.concat([elf.segments[0].bytes, gap, before, after])), check);
  assert.deepEqual(finish(elf), { check, build });
});

test('the build is the digest of the image without itself and the check word', () => {
  const elf = image();
  const { build } = finish(elf);
  const [first, second] = elf.segments.map(({ bytes }) => Buffer.from(bytes));
  assert.equal(second.subarray(24, 32).toString('hex'), build);
  second.fill(0, 20, 32);
  const digest = createHash('sha256').update(first).update(Buffer.alloc(4, 0xff)).update(second).digest('hex');
  assert.equal(digest.slice(0, 16), build);

  const other = image();
  other.segments[1].bytes[63] ^= 1;
  assert.notEqual(finish(other).build, build);
});

test('a mark that is not in flash is refused', () => {
  const elf = { ...image(), require: () => 0x20000000 };
  assert.throws(() => finish(elf), /does not stand in flash/);
});
