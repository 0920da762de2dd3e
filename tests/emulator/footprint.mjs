#!/usr/bin/env node
// Prints what the image costs: bytes of flash and RAM, stack, cycles a frame; compares with the
// kept figures in firmware/rp2040/footprint.json.
//
//   node tests/emulator/footprint.mjs [--elf FILE] [--write]
//
// Fails (exit code 1) when a figure is more than 5 % above the kept one, or when the sampling
// path is not in RAM. --write keeps the present figures: do it in the commit that explains the
// growth. Figures repeat exactly for the same image; another compiler moves them, so they are
// kept by compiler, and an image of a compiler without kept figures is printed, not compared.
//
// firmware/rp2040/budget.json holds what must never be exceeded, whatever the compiler: half of the
// flash (the journal has its own), RAM and stack within 256 KiB together with room for as much
// again, the cycles of the sampling path, the latency of data ready, and no floating point in an
// interrupt. Beyond it the run fails; it is not
// written by --write.
//
// Two runs. At rest: 1.5 simulated seconds, a blank flash, 120 V and 60 Hz between the blades as
// codes. Busy, for the latency: the same for 3 seconds with an open port that sends garbage and
// messages without end, a button that starts tests, and a flash that must be erased before it takes
// a record. An edge of data ready seldom comes at the worst moment; the longest stretch with
// interrupts off, with the longest interrupt and 15 cycles of entry, is what it can come to. Sampling work of a frame, all of it: both interrupts from entry to exit (no SPI wait is
// in them: the DMA waits), and taking its block into the tester and its sums, the ends of windows
// included. Cycles of code in RAM agree with Arm's table; flash wait states are not modelled, so counts
// of code in flash are a floor.

import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { AdcChip, CHANNELS, CodeFile } from './adc-chip.mjs';
import { Elf } from './elf.mjs';
import { Machine } from './machine.mjs';
import { NorChip } from './nor-chip.mjs';
import { Profile, plain } from './profile.mjs';
import { UsbHost } from './usb-host.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const KEPT = join(ROOT, 'firmware/rp2040/footprint.json');
const BUDGET = join(ROOT, 'firmware/rp2040/budget.json');
export const ELF = join(process.env.CARGO_TARGET_DIR ?? join(ROOT, 'target'), 'firmware/slotwise.elf');
const SECONDS = 1.5;
/// Largest growth that passes.
const GROWTH = 0.05;
const FRAMES_A_SECOND = 4000;
const CYCLES_A_FRAME = 125e6 / FRAMES_A_SECOND;
/// Entry points that must not wait for flash.
const IN_RAM = ['IO_IRQ_BANK0', 'DMA_IRQ_0', 'slotwise_take_frames', 'slotwise_accumulate'];
/// ... and what they call, by parts of its mangled name, where it was not inlined.
const PARTS_IN_RAM = ['5block6Packer', 'one_by_one', '7sampler7Sampler', '10stimulator', 'read_frame', '9estimator9Estimator4push', '11accumulator11Accumulator4push', '7summing7Summing3add', '6window5batch'];
/// Parts that may stay in flash: what opens everything runs once.
const PARTS_IN_FLASH = ['4open17h', '7silence17h', '3set17h', '3new17h'];
const RAM = 0x20000000;

/// Names, and what they are called in the print.
const FIGURES = {
  flashBytes: 'flash, bytes',
  ramBytes: 'RAM without stack, bytes',
  stackBytes: 'stack, bytes',
  interruptCycles: 'both interrupts of a frame, cycles',
  interruptMost: 'longest of them, cycles',
  takeCycles: 'taking a frame in its block into the tester, cycles (mean)',
  frameCycles: 'of these in the tester, cycles (mean)',
  samplingCycles: 'sampling work of a frame, cycles (mean)',
  latencyMost: 'longest from data ready to its handler, cycles',
  maskedMost: 'longest with interrupts off, cycles',
  floatCycles: 'floating point in interrupts, cycles',
};
/// The compiler's routines of floating point.
const FLOATS = /^__aeabi_(u?[il]2[df]|ul2[df]|ui2[df]|c?[df](add|sub|rsub|mul|div|neg|cmp|2|eq|lt|le|gt|ge|un))|libm::|4libm4math|float/;
const SAMPLING = ['IO_BANK0', 'DMA_0'];
const BUSY_SECONDS = 3;

/// Three line cycles = 200 frames at the inputs: 286 mV rms is 120 V; narrow 2/3, the others
/// -1/3.
export function mains() {
  const count = (3 * FRAMES_A_SECOND) / 60;
  const file = Buffer.alloc(count * CHANNELS * 4);
  for (let row = 0; row < count; row++) {
    const value = ((0.286 * Math.SQRT2) / 1.2) * 0x800000 * Math.sin((2 * Math.PI * 60 * row) / FRAMES_A_SECOND);
    for (let channel = 0; channel < CHANNELS; channel++) {
      file.writeInt32LE(Math.round(value * (channel === 0 ? 2 / 3 : -1 / 3)), (row * CHANNELS + channel) * 4);
    }
  }
  return file;
}

/// The board that the figures are taken on: 120 V between the blades, a blank flash.
export function board(elf) {
  const adc = new AdcChip(new CodeFile(mains(), 'repeat'));
  let machine = null;
  const nor = new NorChip(undefined, () => machine?.nanos ?? 0);
  machine = new Machine({ elf, adc, nor, host: new UsbHost(), log: (text) => process.stderr.write(`${text}\n`) });
  return machine;
}

/// The latency of data ready while everything else wants the core, too.
export function busy(elf) {
  const machine = board(elf);
  machine.nor.contents.fill(0);
  // Out of step with everything that the chip's own clock paces.
  machine.adc.clockFactor = 1.0005;
  const { host } = machine;
  host.onError = (text) => process.stderr.write(`footprint: USB: ${text}\n`);
  host.setOpen(true);
  let state = 1;
  const garbage = Buffer.alloc(256);
  for (let ms = 1; ms <= BUSY_SECONDS * 1000; ms++) {
    machine.run(ms * 1e6);
    machine.setButton(ms % 500 > 400);
    if (host.outBytes > 4096) continue;
    for (let at = 0; at < garbage.length; at++) {
      state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
      garbage[at] = at % 16 === 0 ? 0 : state >>> 24;
    }
    host.send(Uint8Array.from(garbage));
  }
  const report = machine.report();
  for (const [what, count] of [['resets', report.watchdogResets.length], ['faults', report.faults.length], ['frames missed', report.converter.missedWhileStreaming]]) {
    if (count > 0) throw new Error(`${count} ${what} in the busy run`);
  }
  if (report.nor.erases === 0 || report.usb.bytesOut === 0) throw new Error('the busy run was not busy');
  return report;
}

/// Runs the image and measures it.
export function measure(elf) {
  const machine = board(elf);
  const profile = new Profile(machine, elf, { calls: ['slotwise_take_frames'] });
  profile.run(SECONDS * 1e9);
  const report = machine.report();
  const frames = report.converter.delivered;
  if (frames < FRAMES_A_SECOND) {
    throw new Error(`only ${frames} frames reached the tester in ${SECONDS} s: the image does not run`);
  }
  const { flash, ram } = elf.footprint();
  const interrupts = SAMPLING.map((name) => report.interrupts[name]);
  const take = [...profile.watched.values()].find(({ name }) => name === 'slotwise_take_frames').cycles / frames;
  const inInterrupts = interrupts.reduce((sum, { cycles }) => sum + cycles, 0) / frames;
  const floats = profile.places.names.reduce((sum, name, number) => (FLOATS.test(plain(name)) ? sum + profile.handler[number] : sum), 0);
  const underLoad = busy(elf);
  return {
    figures: {
      flashBytes: flash,
      ramBytes: ram,
      stackBytes: Math.max(report.stack.used, underLoad.stack.used),
      interruptCycles: interrupts.reduce((sum, { median }) => sum + median, 0),
      interruptMost: Math.max(...SAMPLING.map((name) => Math.max(report.interrupts[name].most, underLoad.interrupts[name].most))),
      takeCycles: Math.round(take),
      frameCycles: Math.round(report.accumulate.cycles / frames),
      samplingCycles: Math.round(inInterrupts + take),
      latencyMost: Math.max(report.latency.most, underLoad.latency.most),
      maskedMost: underLoad.masked.most,
      floatCycles: floats,
    },
    report,
    underLoad,
  };
}

/// One sentence for each figure that grew too much.
export function grown(figures, kept) {
  return Object.keys(FIGURES)
    .filter((name) => kept[name] !== undefined && figures[name] > kept[name] * (1 + GROWTH))
    .map((name) => {
      const percent = (figures[name] / kept[name] - 1) * 100;
      return `${FIGURES[name]}: ${figures[name]}, kept ${kept[name]}: ${percent.toFixed(1)} % more`;
    });
}

/// One sentence for each figure over the budget.
export function over(figures, budget) {
  return Object.keys(budget)
    .filter((name) => typeof budget[name] === 'number' && !(figures[name] <= budget[name]))
    .map((name) => `${FIGURES[name] ?? name}: ${figures[name]}, budget ${budget[name]}`);
}

function main() {
  const { values } = parseArgs({ options: { elf: { type: 'string', default: ELF }, write: { type: 'boolean', default: false } } });
  if (!existsSync(values.elf)) {
    process.stderr.write(`footprint: ${values.elf} is missing; run firmware/rp2040/build.sh first\n`);
    return 1;
  }
  const elf = new Elf(readFileSync(values.elf));
  const problems = IN_RAM.filter((name) => elf.require(name) < RAM).map(
    (name) => `${name} is not in RAM; see .ram_fast in firmware/rp2040/memory.x`,
  );
  for (const [name, { value }] of elf.symbols) {
    const isPart = PARTS_IN_RAM.some((part) => name.includes(part)) && !PARTS_IN_FLASH.some((part) => name.includes(part));
    if (isPart && !name.startsWith('__Thumb') && value < RAM) problems.push(`${name} is not in RAM; see .ram_fast in firmware/rp2040/memory.x`);
  }
  const { figures, report, underLoad } = measure(elf);
  for (const [name, text] of Object.entries(FIGURES)) process.stdout.write(`${String(figures[name]).padStart(8)}  ${text}\n`);
  const share = (cycles) => ((cycles / CYCLES_A_FRAME) * 100).toFixed(2).padStart(8);
  process.stdout.write(`${share(figures.samplingCycles)}  of 100 parts of a frame period: sampling work\n`);
  process.stdout.write(`${share(figures.interruptCycles)}  ... of it in interrupts\n`);
  process.stdout.write(`${String(report.latency.median).padStart(8)}  from data ready to its handler at rest, cycles (median)\n`);
  const bound = figures.maskedMost + figures.interruptMost + 15;
  process.stdout.write(`${String(bound).padStart(8)}  from data ready to its handler at worst, cycles (${(bound / 125).toFixed(1)} us)\n`);
  process.stdout.write(`${String(underLoad.latency.median).padStart(8)}  ... and busy\n`);
  process.stdout.write(`${(100 * report.sleepRatio).toFixed(1).padStart(8)}  of 100 parts of the time asleep\n`);
  process.stdout.write(`${String(report.accumulate.most).padStart(8)}  longest single block of frames, cycles\n`);
  process.stdout.write(`${String(report.converter.missedWhileStreaming).padStart(8)}  frames lost\n`);
  problems.push(...over(figures, JSON.parse(readFileSync(BUDGET, 'utf8'))));
  const compiler = elf.compiler ?? 'unknown';
  const kept = existsSync(KEPT) ? JSON.parse(readFileSync(KEPT, 'utf8')) : {};
  if (values.write) {
    kept[compiler] = figures;
    writeFileSync(KEPT, `${JSON.stringify(kept, null, 2)}\n`);
  } else if (kept[compiler] === undefined) {
    const others = Object.keys(kept).join(', ') || 'none';
    process.stderr.write(`footprint: not compared: built by ${compiler}, figures are kept for: ${others}\n`);
  } else {
    problems.push(...grown(figures, kept[compiler]));
  }
  for (const problem of problems) process.stderr.write(`footprint: ${problem}\n`);
  return problems.length === 0 ? 0 : 1;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
