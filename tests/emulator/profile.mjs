#!/usr/bin/env node
// Where the cycles go: cycles by function of an image, and of what is called from within one.
//
//   node tests/emulator/profile.mjs [--elf FILE] [--seconds S] [--within NAME] [--top N]
//                                   [--calls PART,PART...]
//
// Without --within: all that runs outside interrupts, and all that runs in them, apart. With
// --within slotwise_accumulate: only while that function is on the stack. --calls lists the
// whole cost (with all that is called, without interrupts) of each call of the functions whose
// mangled names hold one of the parts: how often, mean, most.
//
// The run is that of footprint.mjs. Cycles of code in flash are a floor (flash wait states are
// not modelled).

import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';

import { Elf } from './elf.mjs';
import { ELF, board } from './footprint.mjs';
import { mayWake } from './corrections.mjs';

const RAM = 0x20000000;
const FLASH = 0x10000000;
const PAGE_BYTES = 0x80000;

/// Function of every halfword of flash and RAM, by number.
export class Places {
  constructor(elf) {
    this.names = ['elsewhere'];
    this.entries = new Map();
    this.flash = new Uint16Array(PAGE_BYTES);
    this.ram = new Uint16Array(PAGE_BYTES);
    for (const [name, { value, size }] of elf.symbols) {
      const at = (value & ~1) >>> 0;
      const table = this.table(at);
      if (size === 0 || table === null || (value & 1) === 0 || this.entries.has(at)) continue;
      const number = this.names.push(name) - 1;
      this.entries.set(at, number);
      const from = (at & 0xffffff) >> 1;
      table.fill(number, from, from + (size >> 1));
    }
  }

  table(at) {
    const bank = at >>> 24;
    if ((at & 0xffffff) >= 2 * PAGE_BYTES) return null;
    if (bank === FLASH >>> 24) return this.flash;
    return bank === RAM >>> 24 ? this.ram : null;
  }

  of(at) {
    const table = this.table(at);
    return table === null ? 0 : table[(at & 0xffffff) >> 1];
  }
}

/// Counts while it runs a machine.
export class Profile {
  constructor(machine, elf, { within = null, calls = [] } = {}) {
    this.machine = machine;
    this.places = new Places(elf);
    this.within = within === null ? null : elf.require(within) & ~1;
    this.thread = new Float64Array(this.places.names.length);
    this.handler = new Float64Array(this.places.names.length);
    this.watched = new Map();
    for (const [at, number] of this.places.entries) {
      const name = this.places.names[number];
      if (at === this.within || calls.some((part) => name.includes(part))) {
        this.watched.set(at, { name, count: 0, cycles: 0, most: 0, open: 0 });
      }
    }
    this.open = [];
    this.threadCycles = 0;
  }

  /// Runs until `nanos` as Machine.runChip does, and counts every instruction.
  run(nanos) {
    const { machine, places, open } = this;
    const { core, clock } = machine.chip;
    const { registers } = core;
    const home = this.within === null ? null : this.watched.get(this.within);
    while (clock.nanosCounter < nanos) {
      if (machine.pendingReset !== null) throw new Error('the image was reset by its watchdog');
      if (core.waiting) {
        if (mayWake(core)) {
          core.waiting = false;
          continue;
        }
        const next = clock.nextAlarm === null ? nanos : Math.min(clock.nextAlarm.nanos, nanos);
        const sleep = Math.max(0, next - clock.nanosCounter);
        machine.sleepNanos += sleep;
        clock.tick(sleep);
        continue;
      }
      const before = core.cycles;
      const at = registers[15];
      core.executeInstruction();
      const took = core.cycles - before;
      clock.nanosCounter += took * machine.nanosPerCycle;
      const inHandler = core.IPSR !== 0;
      const here = places.of(at);
      if (inHandler) {
        this.handler[here] += took;
      } else {
        this.threadCycles += took;
        if (home === null || home.open > 0) this.thread[here] += took;
        this.follow(registers[15], core, open);
      }
      if (clock.nextAlarm !== null && clock.nextAlarm.nanos <= clock.nanosCounter) clock.tick(0);
      if (machine.attention) machine.attend();
      if (registers[15] === machine.meter.watched) machine.meter.reached();
    }
  }

  follow(next, core, open) {
    while (open.length > 0) {
      const last = open[open.length - 1];
      if (next !== last.back || core.SP !== last.stack) break;
      const took = this.threadCycles - last.from;
      const { call } = last;
      call.count++;
      call.cycles += took;
      call.most = Math.max(call.most, took);
      call.open--;
      open.pop();
    }
    const call = this.watched.get(next);
    if (call === undefined) return;
    const back = (core.LR & ~1) >>> 0;
    // A loop back to the entry is no call.
    const last = open[open.length - 1];
    if (last !== undefined && last.call === call && last.back === back && last.stack === core.SP) return;
    call.open++;
    open.push({ call, back, stack: core.SP, from: this.threadCycles });
  }
}

/// A mangled name, readable enough.
export function plain(name) {
  const legacy = /^_ZN(.*)17h[0-9a-f]{16}E$/.exec(name);
  if (legacy === null) return name;
  const parts = [];
  let rest = legacy[1];
  for (let match = /^(\d+)/.exec(rest); match !== null; match = /^(\d+)/.exec(rest)) {
    const from = match[1].length;
    parts.push(rest.slice(from, from + Number(match[1])));
    rest = rest.slice(from + Number(match[1]));
  }
  return parts.join('::').replaceAll('$LT$', '<').replaceAll('$GT$', '>').replaceAll('$u20$', ' ').replaceAll('..', '::');
}

function print(title, counts, names, top) {
  const sum = counts.reduce((all, one) => all + one, 0);
  process.stdout.write(`\n${title}: ${sum} cycles\n`);
  [...counts.keys()]
    .sort((a, b) => counts[b] - counts[a])
    .slice(0, top)
    .filter((number) => counts[number] > 0)
    .forEach((number) => {
      const share = ((100 * counts[number]) / sum).toFixed(1);
      process.stdout.write(`${String(counts[number]).padStart(12)} ${share.padStart(5)} %  ${plain(names[number])}\n`);
    });
}

function main() {
  const { values } = parseArgs({
    options: {
      elf: { type: 'string', default: ELF },
      seconds: { type: 'string', default: '1.5' },
      within: { type: 'string' },
      calls: { type: 'string' },
      top: { type: 'string', default: '25' },
    },
  });
  if (!existsSync(values.elf)) {
    process.stderr.write(`profile: ${values.elf} is missing; run firmware/rp2040/build.sh first\n`);
    return 1;
  }
  const elf = new Elf(readFileSync(values.elf));
  const profile = new Profile(board(elf), elf, { within: values.within ?? null, calls: values.calls?.split(',') ?? [] });
  profile.run(Number(values.seconds) * 1e9);
  const { names } = profile.places;
  const top = Number(values.top);
  print(values.within === undefined ? 'outside interrupts' : `within ${values.within}, without interrupts`, profile.thread, names, top);
  print('in interrupts', profile.handler, names, top);
  process.stdout.write('\ncalls, with all that they call\n       count         mean         most\n');
  for (const { name, count, cycles, most } of [...profile.watched.values()].sort((a, b) => b.cycles - a.cycles)) {
    if (count === 0) continue;
    process.stdout.write(`${String(count).padStart(12)} ${(cycles / count).toFixed(0).padStart(12)} ${String(most).padStart(12)}  ${plain(name)}\n`);
  }
  return 0;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
