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

import { Elf } from './elf.mjs';
import { ELF } from './footprint.mjs';
import { PullClient, board, recordsFile } from './pull-client.mjs';

const HERE = fileURLToPath(new URL('pipe', import.meta.url));
const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const DEBIAN_CARGO = '/usr/bin/cargo';
const TARGET = process.env.CARGO_TARGET_DIR ?? join(ROOT, 'target');
/// Simulated time of a bare program, after it is open.
const BARE_NANOS = 0.5e9;

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

/// Bytes a second from a bare program; `feed(host)` is called before and after each packet.
function bareRate(name, feed) {
  const machine = board(bareElf(name));
  const { host } = machine;
  new PullClient(machine).open();
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
  const machine = board(new Elf(readFileSync(values.elf)), values.nor);
  const client = new PullClient(machine);
  client.open();
  client.greet();
  const { records, bytes, seconds } = client.pullAll();
  const { damaged } = client;
  const report = machine.report();
  if (values.pulled !== undefined) writeFileSync(values.pulled, recordsFile(records));
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
