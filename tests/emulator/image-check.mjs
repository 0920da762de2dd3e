#!/usr/bin/env node
// Finishes a linked image: writes its place, its length, which build it is, and the check word over
// it into its mark (firmware/rp2040/src/computer.rs). The firmware compares the check word at start
// and tells the build in its records and over the link.
//
//   node tests/emulator/image-check.mjs slotwise.elf
//   node tests/emulator/image-check.mjs --compiler slotwise.elf     only says which compiler made it
//
// Flash is taken from its start to the end of the image, gaps between segments as FF as the UF2 has
// them. The build is the first eight bytes of SHA-256 over it, with zeros in the place of build and
// check word: the same sources and compiler give the same build, anything else another. The check
// word is CRC-32/ISO-HDLC over it without the check word itself. The file is changed in place;
// doing it twice changes nothing.

import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';

import { Elf } from './elf.mjs';
import { flashContents } from './uf2.mjs';

const FLASH = 0x10000000;
const MARK = 'SLOTWISE_IMAGE_MARK';
const MARK_BYTES = 20;
const BUILD_BYTES = 8;

/// CRC-32/ISO-HDLC, bit by bit.
export function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return ~crc >>> 0;
}

/// Fills in the mark of `elf` and returns the check word and the build.
export function finish(elf) {
  const stored = elf.segments.filter(({ bytes }) => bytes.length > 0);
  const mark = elf.require(MARK);
  const holder = stored.find(
    ({ virtualAddress, bytes }) => mark >= virtualAddress && mark + MARK_BYTES <= virtualAddress + bytes.length,
  );
  if (holder === undefined || holder.virtualAddress !== holder.loadAddress) {
    throw new Error(`ELF: ${MARK} does not stand in flash`);
  }
  const at = mark - holder.virtualAddress;
  const view = new DataView(holder.bytes.buffer, holder.bytes.byteOffset + at, MARK_BYTES);
  const length = Math.max(...stored.map(({ loadAddress, bytes }) => loadAddress + bytes.length)) - FLASH;
  view.setUint32(0, FLASH, true);
  view.setUint32(4, length, true);
  const build = holder.bytes.subarray(at + 12, at + 12 + BUILD_BYTES);
  view.setUint32(8, 0, true);
  build.fill(0);
  build.set(createHash('sha256').update(flashContents(elf).subarray(0, length)).digest().subarray(0, BUILD_BYTES));
  const image = flashContents(elf).subarray(0, length);
  const word = mark - FLASH + 8;
  const check = crc32(Buffer.concat([image.subarray(0, word), image.subarray(word + 4)]));
  view.setUint32(8, check, true);
  return { check, build: Buffer.from(build).toString('hex') };
}

function main(argv) {
  const asks = argv[0] === '--compiler';
  if (argv.length !== (asks ? 2 : 1)) {
    process.stderr.write('image-check: give one ELF file\n');
    return 2;
  }
  try {
    if (asks) {
      process.stdout.write(`${new Elf(readFileSync(argv[1])).compiler ?? 'unknown compiler'}\n`);
      return 0;
    }
    const file = readFileSync(argv[0]);
    const { check, build } = finish(new Elf(file));
    writeFileSync(argv[0], file);
    process.stdout.write(`build ${build}, check word ${check.toString(16).padStart(8, '0')}\n`);
    return 0;
  } catch (error) {
    process.stderr.write(`image-check: ${error.message}\n`);
    return 1;
  }
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.exit(main(process.argv.slice(2)));
}
