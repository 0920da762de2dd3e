#!/usr/bin/env node
// Writes the image as UF2, the file that is dragged onto a board in boot-loader mode.
//
//   node tests/emulator/uf2.mjs slotwise.elf slotwise.uf2
//
// UF2 (github.com/microsoft/uf2, README "File format"): blocks of 512 bytes, 256 bytes of
// payload each. The blocks cover flash without a gap from its start to the end of the image,
// filled up with FF to a whole 4 KiB erase sector: the boot loader of the RP2040 mishandles a
// last sector that is written in part (erratum RP2040-E14).

import { readFileSync, writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';

import { Elf } from './elf.mjs';

const FIRST_MAGIC = 0x0a324655;
const SECOND_MAGIC = 0x9e5d5157;
const LAST_MAGIC = 0x0ab16f30;
const FAMILY_PRESENT = 0x2000;
/// Family of the RP2040.
export const RP2040 = 0xe48bff56;
export const BLOCK = 512;
export const PAYLOAD = 256;
const SECTOR = 4096;
const FLASH = 0x10000000;
const FLASH_BYTES = 16 << 20;

/// What stands in flash from its start on, filled up to a whole sector.
export function flashContents(elf) {
  const stored = elf.segments.filter((segment) => segment.bytes.length > 0);
  let end = FLASH;
  for (const { loadAddress, bytes } of stored) {
    if (loadAddress < FLASH || loadAddress + bytes.length > FLASH + FLASH_BYTES) {
      throw new Error(`UF2: a segment is stored at ${loadAddress.toString(16)}, which is not flash; check memory.x`);
    }
    end = Math.max(end, loadAddress + bytes.length);
  }
  if (!stored.some(({ loadAddress }) => loadAddress === FLASH)) {
    throw new Error('UF2: nothing is stored at the start of flash: the second-stage loader is missing');
  }
  const contents = new Uint8Array(Math.ceil((end - FLASH) / SECTOR) * SECTOR).fill(0xff);
  for (const { loadAddress, bytes } of stored) contents.set(bytes, loadAddress - FLASH);
  return contents;
}

/// The UF2 file for `contents`, to be written from `address` on.
export function encodeUf2(contents, address = FLASH) {
  const blocks = Math.ceil(contents.length / PAYLOAD);
  const file = new Uint8Array(blocks * BLOCK);
  const view = new DataView(file.buffer);
  for (let block = 0; block < blocks; block++) {
    const at = block * BLOCK;
    const words = [FIRST_MAGIC, SECOND_MAGIC, FAMILY_PRESENT, address + block * PAYLOAD, PAYLOAD, block, blocks, RP2040];
    words.forEach((word, index) => view.setUint32(at + 4 * index, word, true));
    file.set(contents.subarray(block * PAYLOAD, (block + 1) * PAYLOAD), at + 32);
    view.setUint32(at + 508, LAST_MAGIC, true);
  }
  return file;
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  const [elfPath, uf2Path] = process.argv.slice(2);
  if (uf2Path === undefined) {
    process.stderr.write('usage: uf2.mjs IMAGE.elf IMAGE.uf2\n');
    process.exit(2);
  }
  try {
    const elf = new Elf(readFileSync(elfPath));
    writeFileSync(uf2Path, encodeUf2(flashContents(elf)));
    const { flash, ram } = elf.footprint();
    process.stdout.write(`flash ${flash} bytes\nRAM   ${ram} bytes, stack not counted\n`);
  } catch (error) {
    process.stderr.write(`${error.message}\n`);
    process.exit(1);
  }
}
