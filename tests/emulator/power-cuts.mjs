#!/usr/bin/env node
// The supply of the real image fails: at every program and erase of the record that a start leaves,
// at several moments of each, and in the middle of everything else. After every cut it must start,
// and hand out every record that stood there before.
//
//   node tests/emulator/power-cuts.mjs --nor FILE [--nor FILE ...] [--elf FILE] [--pulled FILE]
//
//   --nor FILE      8 MiB of flash with a journal in it; not changed
//   --pulled FILE   what came after each cut, one after the other: the number of records as little-endian
//                   u32, then the records as pull-rate.mjs writes them
//
// Prints JSON: how many cuts, during what, how many records were there before and after. Exit code 1
// if one is lost or changed, or the image does not start.

import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';

import { Elf } from './elf.mjs';
import { ELF } from './footprint.mjs';
import { PullClient, board, recordsFile, same } from './pull-client.mjs';

const MILLIS = 1e6;
/// Shares of an operation's time at which the supply fails.
const SHARES = [0.02, 0.35, 0.7, 0.98];
/// A start has written its record within this.
const START_NANOS = 2e9;

/// A board whose supply fails `share` into operation `index` of its flash since power-on (from 0).
function failing(machine, index, share) {
  let count = 0;
  const { nor } = machine;
  nor.onBegin = (nanos) => {
    if (count++ !== index) return;
    machine.chip.clock.createAlarm(() => machine.cutPower('board')).schedule(share * nanos);
  };
  const before = machine.powerCuts.length;
  const last = machine.nanos + START_NANOS;
  while (machine.powerCuts.length === before && machine.nanos < last) machine.run(machine.nanos + MILLIS);
  nor.onBegin = () => {};
  return machine.powerCuts.length > before;
}

function pulled(machine) {
  const client = new PullClient(machine);
  client.open();
  client.greet();
  const { records } = client.pullAll();
  if (client.damaged > 0) throw new Error('damaged frames');
  return records;
}

class Count {
  constructor() {
    this.cuts = 0;
    this.lost = 0;
    this.parts = [];
    this.resets = 0;
    this.seen = {};
  }

  /// Starts the board after a cut, pulls, and compares with what stood there before.
  check(what, machine, before) {
    const after = pulled(machine);
    this.parts.push(after);
    this.cuts += machine.powerCuts.length;
    this.resets += machine.resets.length;
    this.seen[what] = (this.seen[what] ?? 0) + machine.powerCuts.length;
    if (!same(after.slice(0, before.length), before)) {
      this.lost++;
      process.stderr.write(`power-cuts: ${what}: ${before.length} records before, ${after.length} after, not the same\n`);
    }
    return after;
  }
}

function main() {
  const { values } = parseArgs({
    options: { nor: { type: 'string', multiple: true, default: [] }, elf: { type: 'string', default: ELF }, pulled: { type: 'string' } },
  });
  if (values.nor.length === 0) {
    process.stderr.write('power-cuts: --nor FILE is missing; pull-rate.mjs says how to make one\n');
    return 2;
  }
  const elf = new Elf(readFileSync(values.elf));
  const count = new Count();
  for (const file of values.nor) {
    // Without its own start's record: what the file holds.
    const before = pulled(board(elf, file)).slice(0, -1);
    for (let index = 0; ; index++) {
      let isCut = false;
      for (const share of SHARES) {
        const machine = board(elf, file);
        isCut = failing(machine, index, share);
        if (!isCut) break;
        // The second cut at the same operation of the next start, half way.
        const isTwice = share === SHARES[1] && failing(machine, index, 0.5);
        count.check(isTwice ? 'two cuts in a row' : 'one cut', machine, before);
      }
      if (!isCut) break;
    }
    // One flash through many cuts: at any operation, and between them.
    const machine = board(elf, file);
    let kept = before;
    for (let turn = 0; turn < 12; turn++) {
      if (turn % 3 === 2) {
        machine.run(machine.nanos + 150 * MILLIS + 7.3 * turn * MILLIS);
        machine.cutPower(turn % 2 === 0 ? 'chip' : 'board');
      } else {
        failing(machine, turn % 2, (turn % 10) / 10);
      }
    }
    kept = count.check('a row of cuts, board and chip', machine, kept);
    // In the middle of a pull, and of a test.
    const client = new PullClient(machine);
    client.open();
    client.greet();
    client.request(1, 0xffff);
    machine.run(machine.nanos + 20 * MILLIS);
    machine.cutPower('chip');
    machine.run(machine.nanos + 700 * MILLIS);
    machine.cutPower('board');
    count.check('in a pull, in a test', machine, kept);
  }
  if (values.pulled !== undefined) {
    const parts = count.parts.map((records) => {
      const head = Buffer.alloc(4);
      head.writeUInt32LE(records.length, 0);
      return Buffer.concat([head, recordsFile(records)]);
    });
    writeFileSync(values.pulled, Buffer.concat(parts));
  }
  const { cuts, lost, resets, seen } = count;
  process.stdout.write(`${JSON.stringify({ cuts, starts: count.parts.length, lost, watchdogResets: resets, seen }, null, 2)}\n`);
  return lost === 0 && resets === 0 ? 0 : 1;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
