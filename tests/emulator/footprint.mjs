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
// again, an interrupt of a quarter of a frame period at the longest, and a frame within 1000 cycles.
// Beyond it the run fails; it is not written by --write.
//
// The run: 1.5 simulated seconds, a blank flash, 120 V and 60 Hz between the blades as codes.
// Cycles of code in RAM agree with Arm's table; flash wait states are not modelled, so counts
// of code in flash are a floor.

import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { AdcChip, CHANNELS, CodeFile } from './adc-chip.mjs';
import { Elf } from './elf.mjs';
import { Machine } from './machine.mjs';
import { NorChip } from './nor-chip.mjs';
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
const PARTS_IN_RAM = ['7sampler7Sampler', '10stimulator', 'read_frame', '9estimator9Estimator4push', '11accumulator11Accumulator4push', '11accumulator11Accumulator9sum_batch', '6window5batch'];
/// Parts that may stay in flash: what opens everything runs once.
const PARTS_IN_FLASH = ['4open17h', '7silence17h', '3set17h', '3new17h'];
const RAM = 0x20000000;

/// Names, and what they are called in the print.
const FIGURES = {
  flashBytes: 'flash, bytes',
  ramBytes: 'RAM without stack, bytes',
  stackBytes: 'stack, bytes',
  interruptCycles: 'data-ready interrupt, cycles',
  interruptMost: 'longest data-ready interrupt, cycles',
  frameCycles: 'one frame into the tester, cycles (mean)',
};

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

/// Runs the image and measures it.
export function measure(elf) {
  const machine = board(elf);
  machine.run(SECONDS * 1e9);
  const report = machine.report();
  if (report.accumulate.calls < FRAMES_A_SECOND) {
    throw new Error(`only ${report.accumulate.calls} frames reached the tester in ${SECONDS} s: the image does not run`);
  }
  const { flash, ram } = elf.footprint();
  return {
    figures: {
      flashBytes: flash,
      ramBytes: ram,
      stackBytes: report.stack.used,
      interruptCycles: report.interrupts.IO_BANK0.median,
      interruptMost: report.interrupts.IO_BANK0.most,
      frameCycles: Math.round(report.accumulate.mean),
    },
    report,
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
    .filter((name) => !(figures[name] <= budget[name]))
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
  const { figures, report } = measure(elf);
  for (const [name, text] of Object.entries(FIGURES)) process.stdout.write(`${String(figures[name]).padStart(8)}  ${text}\n`);
  const share = ((figures.interruptCycles + figures.frameCycles) / CYCLES_A_FRAME) * 100;
  process.stdout.write(`${share.toFixed(1).padStart(8)}  of 100 parts of a frame period, interrupt and frame\n`);
  process.stdout.write(`${(100 * report.sleepRatio).toFixed(1).padStart(8)}  of 100 parts of the time asleep\n`);
  process.stdout.write(`${String(report.accumulate.most).padStart(8)}  longest single frame, cycles\n`);
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
