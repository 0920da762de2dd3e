#!/usr/bin/env node
// What bad hosts and bad cables do to the image, and whether a normal pull after each of them still
// brings every record.
//
//   node tests/emulator/usb-mishaps.mjs --nor FILE [--elf FILE] [--pulled FILE] [--only NAME]
//
//   --nor FILE      8 MiB of flash with a journal in it; not changed
//   --pulled FILE   the records of the first pull, as pull-rate.mjs writes them
//
// One tester lives through all of it, in simulated time. Prints JSON: of each mishap the records that
// the pull after it brought, whether they are those of the first pull, and what was seen meanwhile;
// frames of the converter lost, watchdog resets and faults over the whole run. Exit code 1 if
// anything of it is not as it should be.

import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';

import { Elf } from './elf.mjs';
import { ELF } from './footprint.mjs';
import { frame, hello } from './link.mjs';
import { BATCH, PullClient, board, recordsFile, same, until } from './pull-client.mjs';

const MILLIS = 1e6;
/// A pull is broken off after so many bytes: in the middle of a record.
const PART = 20_000;

/// Bytes that look drawn (xorshift32), zeros among them.
function noise(count, seed) {
  let state = seed;
  return Uint8Array.from({ length: count }, () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return state & 0xff;
  });
}

/// Asks for everything and lets `PART` bytes come.
function pullPart(client) {
  client.bytes = 0;
  client.onReply = () => {};
  client.request(1, 0xffff);
  until(client.machine, 5e9, () => client.bytes > PART, 'a part of a pull');
}

function rest(client, millis) {
  client.machine.run(client.machine.nanos + millis * MILLIS);
}

/// Each does its harm through an open port and leaves it open. What it returns is reported.
const MISHAPS = {
  'half a request, then the port is shut': (client) => {
    client.host.send(hello(9).subarray(0, 5));
    rest(client, 20);
    client.shut();
    client.open();
  },
  'half a request, and the next program is there': (client) => {
    client.host.send(hello(9).subarray(0, 5));
    rest(client, 20);
  },
  'the port is shut in the middle of a pull': (client) => {
    pullPart(client);
    client.shut();
    client.open();
  },
  'DTR falls and rises while a pull runs': (client) => {
    for (let turn = 0; turn < 20; turn++) {
      client.bytes = 0;
      client.request(1, 0xffff);
      // Every time a little later in the record.
      until(client.machine, 5e9, () => client.bytes > 3000 + 37 * turn, 'a part of a pull');
      client.host.setOpen(false);
      rest(client, 1 + (turn % 3));
      client.open();
    }
  },
  'the cable is pulled in the middle of a pull': (client) => {
    pullPart(client);
    client.host.replug(500 * MILLIS);
    rest(client, 100);
    client.open();
  },
  'the cable is pulled ten times, as fast as it goes': (client) => {
    for (let turn = 0; turn < 10; turn++) {
      client.request(1, 0xffff);
      rest(client, 3 + turn);
      client.host.replug((1 + turn) * MILLIS);
      rest(client, 30);
    }
    client.open();
  },
  'noise with zeros in it': (client) => {
    client.host.send(noise(8192, 0x51071));
    rest(client, 100);
  },
  'noise in the middle of a pull': (client) => {
    pullPart(client);
    client.host.send(noise(2048, 0x51072));
    rest(client, 200);
  },
  'a frame that never ends': (client) => {
    client.host.send(new Uint8Array(65_536).fill(1));
    rest(client, 500);
    return { bytesLeft: client.host.outBytes };
  },
  'a flood of requests whose answers nobody fetches': (client) => {
    client.host.hold(true);
    for (let turn = 0; turn < 4000; turn++) client.host.send(frame([5, 1]));
    rest(client, 1000);
    const held = client.host.outBytes;
    client.host.hold(false);
    until(client.machine, 20e9, () => client.host.outBytes === 0, 'the flood runs off');
    rest(client, 100);
    return { bytesHeldOff: held, answersBytes: client.bytes };
  },
  'a flood of pulls, each before the last has ended': (client) => {
    for (let turn = 0; turn < 300; turn++) {
      client.request(1 + turn, 0xffff);
      rest(client, 1);
    }
    rest(client, 3000);
  },
  'nobody reads for three seconds in a pull': (client) => {
    pullPart(client);
    client.host.hold(true);
    rest(client, 3000);
    const before = client.bytes;
    client.host.hold(false);
    rest(client, 50);
    return { wentOn: client.bytes > before + 10_000 };
  },
};

/// A reader that takes a millisecond's worth in every ten, through a whole pull.
function slowly(client) {
  const { host, machine } = client;
  const beat = machine.run.bind(machine);
  let turn = 0;
  machine.run = (nanos) => {
    host.hold(turn++ % 10 !== 0);
    beat(nanos);
  };
  try {
    client.greet();
    return client.pullAll();
  } finally {
    machine.run = beat;
    host.hold(false);
  }
}

function main() {
  const { values } = parseArgs({
    options: { nor: { type: 'string' }, elf: { type: 'string', default: ELF }, pulled: { type: 'string' }, only: { type: 'string' } },
  });
  if (values.nor === undefined || !existsSync(values.nor)) {
    process.stderr.write('usb-mishaps: --nor FILE is missing; pull-rate.mjs says how to make one\n');
    return 2;
  }
  const machine = board(new Elf(readFileSync(values.elf)), values.nor);
  const client = new PullClient(machine);
  client.open();
  client.greet();
  // After the first answer is kept, so that the journal stands still.
  rest(client, 3000);
  const first = client.pullAll();
  if (values.pulled !== undefined) writeFileSync(values.pulled, recordsFile(first.records));
  const after = [];
  const note = (name, pulled, seen = {}) => {
    // A test that ended meanwhile is a record more; what was there before must stand there still.
    const old = pulled.records.slice(0, first.records.length);
    after.push({ name, records: pulled.records.length, isSame: same(old, first.records), bytesASecond: Math.round(pulled.bytes / pulled.seconds), ...seen });
  };
  for (const [name, harm] of Object.entries(MISHAPS)) {
    if (values.only !== undefined && !name.includes(values.only)) continue;
    const seen = harm(client) ?? {};
    client.damaged = 0;
    client.greet();
    // Stale bytes may stand in front of the first answer; after it the line is clean.
    const stale = client.damaged;
    client.damaged = 0;
    note(name, client.pullAll(), { ...seen, staleFrames: stale, damagedFrames: client.damaged });
  }
  note('a reader ten times too slow', slowly(client), { staleFrames: 0, damagedFrames: client.damaged });
  const report = machine.report();
  const figures = {
    records: first.records.length,
    batch: BATCH,
    mishaps: after,
    lostFramesOfTheConverter: report.converter.missedWhileStreaming,
    watchdogResets: report.watchdogResets,
    faults: report.faults,
    simulatedSeconds: report.simulatedSeconds,
  };
  process.stdout.write(`${JSON.stringify(figures, null, 2)}\n`);
  const isWell = after.every(({ isSame, damagedFrames }) => isSame && damagedFrames === 0);
  return isWell && figures.lostFramesOfTheConverter === 0 && report.watchdogResets.length === 0 && report.faults.length === 0 ? 0 : 1;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
