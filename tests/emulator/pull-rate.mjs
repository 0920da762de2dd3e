#!/usr/bin/env node
// How fast the image hands out its journal, beside what the emulated USB pipe carries at all.
//
//   node tests/emulator/pull-rate.mjs --nor FILE [--elf FILE] [--pulled FILE] [--build]
//
//   --nor FILE      8 MiB of flash with a journal in it; not changed. To make one:
//                   cargo run --release -p slotwise-tests --example long_journal -- FILE
//   --pulled FILE   what came is written here: for each record its number and length as
//                   little-endian u32, and its bytes
//   --build         only builds the bare programs
//
// Three programs on the same emulated chip, under the same host (usb-host.mjs), in simulated time, so
// that the figures do not depend on the machine and repeat exactly:
//
// - echo (tests/emulator/pipe): sends back what it is sent, with a busy loop and nothing else to do.
//   Bytes a second that come back. Both ways share the bus, so this is what the pipe carries when
//   a host asks for what it gets;
// - source (also there): full packets without being asked: the most that a polled endpoint of one
//   buffer can send;
// - the image: samples 4000 frames a second and judges them meanwhile, and answers pulls of 64 records
//   as the host program asks for them, each request sent when the one before was answered. Bytes on
//   the line a second, from the first request to the last answer.
//
// Prints the rates and ratios as JSON. Fails (exit code 1) when a record or a frame is lost.

import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';

import { AdcChip, CodeFile } from './adc-chip.mjs';
import { Elf } from './elf.mjs';
import { ELF, mains } from './footprint.mjs';
import { Replies, hello, pull } from './link.mjs';
import { Machine } from './machine.mjs';
import { NorChip } from './nor-chip.mjs';
import { UsbHost } from './usb-host.mjs';

const HERE = fileURLToPath(new URL('pipe', import.meta.url));
const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const DEBIAN_CARGO = '/usr/bin/cargo';
const TARGET = process.env.CARGO_TARGET_DIR ?? join(ROOT, 'target');
/// Records in one request, as in host/src/client.
const BATCH = 64;
/// Simulated time of a bare program, after it is open.
const BARE_NANOS = 0.5e9;
const OPEN_NANOS = 5e9;
const SLICE_NANOS = 1e6;
/// The image is given this long to answer; a pull of the whole flash takes some 20 s.
const PULL_NANOS = 120e9;

/// Whether the active compiler has the target's core library.
function hasCore() {
  const { stdout } = spawnSync('rustc', ['--print', 'target-libdir', '--target', 'thumbv6m-none-eabi'], { encoding: 'utf8' });
  const folder = (stdout ?? '').trim();
  return existsSync(folder) && readdirSync(folder).some((name) => name.startsWith('libcore-'));
}

function build() {
  const folder = join(TARGET, 'pipe');
  const env = { ...process.env, CARGO_TARGET_DIR: folder };
  const args = ['build', '--release', '--locked', '--quiet', '--target', 'thumbv6m-none-eabi'];
  let cargo = 'cargo';
  if (!hasCore() && existsSync(DEBIAN_CARGO)) {
    // Debian's packaged Rust builds the core library from its sources, as build.sh does.
    cargo = DEBIAN_CARGO;
    args.push('-Zbuild-std=core');
    Object.assign(env, { RUSTC: '/usr/bin/rustc', RUSTC_BOOTSTRAP: '1' });
    delete env.RUSTUP_TOOLCHAIN;
  }
  const { status } = spawnSync(cargo, args, { cwd: HERE, env, stdio: 'inherit' });
  if (status !== 0) throw new Error('the bare programs did not build; is the target thumbv6m-none-eabi installed?');
}

function bareElf(name) {
  const file = join(TARGET, 'pipe/thumbv6m-none-eabi/release', name);
  if (!existsSync(file)) build();
  return new Elf(readFileSync(file));
}

/// A board with the port open; runs until the device knows.
function open(elf, norFile) {
  const host = new UsbHost();
  let machine = null;
  const nor = new NorChip(norFile, () => machine?.nanos ?? 0);
  const log = (text) => process.stderr.write(`pull-rate: ${text}\n`);
  machine = new Machine({ elf, adc: new AdcChip(new CodeFile(mains(), 'repeat')), nor, host, log });
  host.onError = (text) => {
    throw new Error(text);
  };
  host.setOpen(true);
  until(machine, OPEN_NANOS, () => host.isOpen);
  return machine;
}

/// Runs until `done()`, at most `nanos` longer.
function until(machine, nanos, done) {
  const last = machine.nanos + nanos;
  while (!done()) {
    if (machine.nanos >= last) throw new Error(`nothing after ${nanos / 1e9} simulated seconds`);
    machine.run(machine.nanos + SLICE_NANOS);
  }
}

/// Bytes a second from a bare program; `feed(host)` is called before and after each packet.
function bareRate(name, feed) {
  const machine = open(bareElf(name));
  const { host } = machine;
  let bytes = 0;
  host.onBytes = (packet) => {
    bytes += packet.length;
    feed(host);
  };
  feed(host);
  const from = machine.nanos;
  machine.run(from + BARE_NANOS);
  return bytes / ((machine.nanos - from) / 1e9);
}

/// Echo: some packets are always under way.
function feedEcho(host) {
  while (host.outQueue.length < 4) host.send(new Uint8Array(64).fill(0x5a));
}

/// Pulls everything from the image.
function pullAll(elf, norFile) {
  const machine = open(elf, norFile);
  const { host } = machine;
  const replies = new Replies();
  const records = [];
  let sequence = 1;
  let next = 1;
  let got = 0;
  let isGreeted = false;
  let isOver = false;
  let bytes = 0;
  let last = 0;
  const ask = () => {
    got = 0;
    host.send(pull(++sequence, next, BATCH));
  };
  host.onBytes = (packet) => {
    bytes += packet.length;
    last = machine.nanos;
    for (const reply of replies.push(packet)) {
      if (reply.sequence !== sequence) continue;
      if (reply.record !== undefined) {
        records.push(reply.record);
        next = reply.record.number + 1;
        got++;
      } else if (reply.end !== undefined) {
        if (got < BATCH) isOver = true;
        else ask();
      } else if (!isGreeted) {
        isGreeted = true;
      } else {
        throw new Error(`the image answers a pull with reply ${reply.other}`);
      }
    }
  };
  host.send(hello(sequence));
  until(machine, OPEN_NANOS, () => isGreeted);
  bytes = 0;
  const from = machine.nanos;
  ask();
  until(machine, PULL_NANOS, () => isOver);
  const report = machine.report();
  return { records, damaged: replies.damaged, bytes, seconds: (last - from) / 1e9, report };
}

function main() {
  const { values } = parseArgs({
    options: { nor: { type: 'string' }, elf: { type: 'string', default: ELF }, pulled: { type: 'string' }, build: { type: 'boolean', default: false } },
  });
  if (values.build) {
    build();
    return 0;
  }
  if (values.nor === undefined || !existsSync(values.nor)) {
    process.stderr.write('pull-rate: --nor FILE is missing; the first lines of this file say how to make one\n');
    return 2;
  }
  const echo = bareRate('echo', feedEcho);
  const source = bareRate('source', () => {});
  const { records, damaged, bytes, seconds, report } = pullAll(new Elf(readFileSync(values.elf)), values.nor);
  if (values.pulled !== undefined) {
    const parts = records.map(({ number, bytes: content }) => {
      const head = Buffer.alloc(8);
      head.writeUInt32LE(number, 0);
      head.writeUInt32LE(content.length, 4);
      return Buffer.concat([head, content]);
    });
    writeFileSync(values.pulled, Buffer.concat(parts));
  }
  const rate = bytes / seconds;
  const lost = report.converter.missedWhileStreaming;
  const figures = {
    echoBytesASecond: Math.round(echo),
    sourceBytesASecond: Math.round(source),
    pullBytesASecond: Math.round(rate),
    ofEcho: Number((rate / echo).toFixed(3)),
    ofSource: Number((rate / source).toFixed(3)),
    records: records.length,
    bytes,
    simulatedSeconds: Number(seconds.toFixed(4)),
    damagedFrames: damaged,
    lostFramesOfTheConverter: lost,
  };
  process.stdout.write(`${JSON.stringify(figures, null, 2)}\n`);
  return damaged === 0 && lost === 0 && records.length > 0 ? 0 : 1;
}

if (process.argv[1] !== undefined && fileURLToPath(import.meta.url) === process.argv[1]) process.exit(main());
