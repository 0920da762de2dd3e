#!/usr/bin/env node
// Cycles of the sampling path beside other ways to do the same work, on the emulated core.
//
//   node tests/emulator/bench.mjs [--elf FILE]
//
// Builds tests/emulator/bench (a workspace of its own; needs rustup's thumbv6m-none-eabi) and
// prints a table: cycles a frame, and how many times the core's own. All run as zero-wait code,
// the floats through the compiler's own routines: the core has no floating-point unit. It prints,
// it asserts no time; it fails when a way does not find the amplitude it was given, so that
// nothing is compared that did not do the work.
//
// | way | does |
// |---|---|
// | core | I, Q, mean, 8 Gram products, frequency blocks; Hann window; all in 32-bit integers; ten frames a call, as in the image |
// | f32 dealt out as the core | the same in f32: two frames added, the window once for ten, tables |
// | f32 with tables | the same sums in f32, frame by frame, sine and window looked up |
// | micromath | the same frame by frame, sine and window by micromath |
// | micromath, I and Q | I, Q and mean alone: less than the core does |
// | idsp | I and Q alone, by four lock-ins of the crate idsp: low-pass of two poles, no window |

import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { Elf } from './elf.mjs';
import { board } from './footprint.mjs';
import { Profile } from './profile.mjs';

const HERE = fileURLToPath(new URL('bench', import.meta.url));
const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const RAM = 0x20000000;
/// Amplitude of channel 0: 2/3 of 2^21 codes; its RMS in thousandths.
const EXPECTED = ((2 ** 21 * 2) / 3 / Math.SQRT2) * 1000;
/// micromath's sine is good to some 1e-3; a low-pass leaves some percent of 120 Hz, which a window
/// does not.
const WITHIN = { bench_idsp: 0.1, default: 0.01 };
const MOST_SECONDS = 600;

/// Function, text, place of what it found, frames a call.
const WAYS = [
  ['bench_core', 'core: all sums, integers', 0, 10],
  ['bench_f32_batch', 'f32 with tables, dealt out as the core: all sums', 5, 10],
  ['bench_micromath', 'f32 with micromath: all sums', 1],
  ['bench_f32_tables', 'f32 with tables: all sums', 2],
  ['bench_micromath_iq', 'f32 with micromath: I, Q and mean alone', 3],
  ['bench_idsp', 'idsp, integers: I and Q alone', 4],
];
const OTHERS = [
  ['bench_core_single', 'core, a frame alone (mean and most)'],
  ['bench_window', 'end of a window (Gatherer::take)'],
  ['bench_probe', 'a frame into the probe\'s sums'],
  ['bench_fit', 'look at the earth path (after 4, 8, 16 s)'],
];

function build() {
  const folder = join(process.env.CARGO_TARGET_DIR ?? join(ROOT, 'target'), 'bench');
  const { status } = spawnSync('cargo', ['build', '--release', '--locked', '--quiet', '--target', 'thumbv6m-none-eabi'], {
    cwd: HERE,
    env: { ...process.env, CARGO_TARGET_DIR: folder },
    stdio: 'inherit',
  });
  if (status !== 0) throw new Error('the bench did not build; is the target thumbv6m-none-eabi installed?');
  return join(folder, 'thumbv6m-none-eabi/release/slotwise-bench');
}

/// Runs the bench and returns what each call took.
export function run(elf) {
  const machine = board(elf);
  const calls = [...WAYS, ...OTHERS].map(([name]) => name);
  const profile = new Profile(machine, elf, { calls });
  const word = (at) => new DataView(machine.chip.sram.buffer, machine.chip.sram.byteOffset).getUint32(at - RAM, true);
  const done = elf.require('DONE');
  // RAM holds noise until the program has cleared it.
  let seconds = 0;
  do {
    if (++seconds > MOST_SECONDS) throw new Error('the bench does not come to its end');
    profile.run(seconds * 1e9);
  } while (word(done) === 0);
  if (word(done) !== 1) throw new Error('the bench panicked');
  const tallies = new Map([...profile.watched.values()].map((call) => [call.name, call]));
  return { tallies, found: (place) => word(elf.require('FOUND') + 4 * place) };
}

function main() {
  const { values } = parseArgs({ options: { elf: { type: 'string' } } });
  const elf = new Elf(readFileSync(values.elf ?? build()));
  const { tallies, found } = run(elf);
  const mean = (name, frames = 1) => tallies.get(name).cycles / tallies.get(name).count / frames;
  const own = mean('bench_core', 10);
  let status = 0;
  process.stdout.write('cycles a frame   times the core\n');
  for (const [name, text, place, frames] of WAYS) {
    process.stdout.write(`${mean(name, frames).toFixed(0).padStart(14)} ${(mean(name, frames) / own).toFixed(2).padStart(16)}   ${text}\n`);
    const off = found(place) / EXPECTED - 1;
    if (!(Math.abs(off) < (WITHIN[name] ?? WITHIN.default))) {
      process.stderr.write(`bench: ${text}: found ${found(place)}, expected ${EXPECTED.toFixed(0)}: it did not do the work\n`);
      status = 1;
    }
  }
  process.stdout.write('\n        cycles             most\n');
  for (const [name, text] of OTHERS) {
    process.stdout.write(`${mean(name).toFixed(0).padStart(14)} ${String(tallies.get(name).most).padStart(16)}   ${text}\n`);
  }
  return status;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
