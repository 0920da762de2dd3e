// ELF reader and UF2 writer against the figures of their formats.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { Elf } from '../elf.mjs';
import { smallElf } from '../fixtures/small-elf.mjs';
import { encodeUf2, flashContents } from '../uf2.mjs';

const LOADER = Buffer.alloc(256, 0xb2);

test('segments carry their load address, symbols lose the Thumb bit', () => {
  const elf = new Elf(
    smallElf(
      [
        { load: 0x10000100, bytes: Buffer.from([1, 2, 3, 4]) },
        { load: 0x10000104, run: 0x20000000, bytes: Buffer.from([5, 6]), memory: 10 },
        { type: 6, load: 0, bytes: Buffer.from([9]) },
      ],
      { main: 0x100001c1, _SEGGER_RTT: 0x20000040 },
    ),
  );
  assert.equal(elf.segments.length, 2);
  assert.equal(elf.segments[1].virtualAddress, 0x20000000);
  assert.deepEqual([...elf.segments[1].bytes], [5, 6]);
  assert.equal(elf.address('main'), 0x100001c0);
  assert.equal(elf.address('nothing'), undefined);
  assert.throws(() => elf.require('nothing'), /no symbol nothing/);
  assert.deepEqual(elf.footprint(), { flash: 6, ram: 10 });
  assert.equal(elf.compiler, 'rustc 9.8.7');
});

test('a file that is no Arm ELF, or was cut off, is refused with a reason', () => {
  assert.throws(() => new Elf(Buffer.from('UF2\n')), /does not start with 7F/);
  const whole = smallElf([{ load: 0x10000000, bytes: LOADER }]);
  const desktop = Buffer.from(whole);
  desktop.writeUInt16LE(62, 18);
  assert.throws(() => new Elf(desktop), /not a 32-bit little-endian Arm/);
  assert.throws(() => new Elf(whole.subarray(0, 150)), /cut off|beyond the end/);
});

test('UF2 blocks have the magic words, the family and unbroken numbers', () => {
  const elf = new Elf(
    smallElf([
      { load: 0x10000000, bytes: LOADER },
      { load: 0x10000100, bytes: Buffer.alloc(300, 0x11) },
      { load: 0x10001000, run: 0x20000000, bytes: Buffer.from([0x22]) },
    ]),
  );
  const contents = flashContents(elf);
  assert.equal(contents.length, 2 * 4096, 'filled up to whole erase sectors');
  const file = encodeUf2(contents);
  const view = new DataView(file.buffer);
  const blocks = file.length / 512;
  assert.equal(blocks, 32);
  for (let block = 0; block < blocks; block++) {
    const word = (at) => view.getUint32(block * 512 + at, true);
    assert.equal(word(0), 0x0a324655);
    assert.equal(word(4), 0x9e5d5157);
    assert.equal(word(8), 0x2000, 'family present, main flash');
    assert.equal(word(12), 0x10000000 + 256 * block);
    assert.equal(word(16), 256);
    assert.equal(word(20), block);
    assert.equal(word(24), blocks);
    assert.equal(word(28), 0xe48bff56);
    assert.equal(word(508), 0x0ab16f30);
  }
  assert.equal(file.subarray(0, 4).toString(), Buffer.from('UF2\n').join(','));
  assert.equal(file[32], 0xb2);
  assert.equal(file[512 + 32], 0x11);
  assert.equal(file[512 * 2 + 32 + 44], 0xff, 'gaps read as erased flash');
  assert.equal(file[512 * 16 + 32], 0x22);
});

test('an image without loader, or stored outside flash, makes no UF2', () => {
  const noLoader = new Elf(smallElf([{ load: 0x10000100, bytes: Buffer.from([1]) }]));
  assert.throws(() => flashContents(noLoader), /second-stage loader/);
  const inRam = new Elf(smallElf([{ load: 0x10000000, bytes: LOADER }, { load: 0x20000000, bytes: Buffer.from([1]) }]));
  assert.throws(() => flashContents(inRam), /not flash/);
});
