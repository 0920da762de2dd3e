// The command line: its arguments, and a bounded run of a program that does nothing.

import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { test } from 'node:test';
import { fileURLToPath } from 'node:url';

import { grown, over } from '../footprint.mjs';
import { smallElf } from '../fixtures/small-elf.mjs';
import { readArguments } from '../run.mjs';

const RUN = fileURLToPath(new URL('../run.mjs', import.meta.url));

/// Runs the command with these arguments in a folder of its own.
function inFolder(act) {
  const folder = mkdtempSync(join(tmpdir(), 'emulator-'));
  try {
    return act(folder, (...args) => spawnSync(process.execPath, [RUN, ...args], { encoding: 'utf8', input: '', timeout: 60e3 }));
  } finally {
    rmSync(folder, { recursive: true });
  }
}

/// An image whose program is one branch to itself.
function idleImage(path) {
  const table = Buffer.alloc(0x100);
  table.writeUInt32LE(0x20040000, 0);
  table.writeUInt32LE(0x10000201, 4);
  const symbols = { __sheap: 0x20000000 };
  writeFileSync(path, smallElf([{ load: 0x10000100, bytes: table }, { load: 0x10000200, bytes: Buffer.from([0xfe, 0xe7]) }], symbols));
}

test('arguments have defaults, units and limits', () => {
  const options = readArguments(['--elf', 'a.elf', '--seconds', '2.5', '--button', '100:200', '--fault', 'crc@7']);
  assert.equal(options.nanos, 2.5e9);
  assert.equal(options.serial, 'none');
  assert.equal(options.afterFrames, 'hold');
  assert.deepEqual(options.presses, [{ from: 100e6, to: 200e6 }]);
  assert.deepEqual(options.faults, [{ kind: 'crc', from: 7, to: 8 }]);
});

test('wrong arguments are refused by name', () => {
  const refused = (pattern, ...args) => assert.throws(() => readArguments(args), pattern);
  refused(/--elf FILE is missing/);
  refused(/--seconds soon/, '--elf', 'a', '--seconds', 'soon');
  refused(/--serial usb: give one of none, stdio/, '--elf', 'a', '--serial', 'usb');
  refused(/--button 5:5/, '--elf', 'a', '--button', '5:5');
  refused(/--fault: fault "x"/, '--elf', 'a', '--fault', 'x');
  refused(/--circuit one: give IN,OUT/, '--elf', 'a', '--circuit', 'one');
  refused(/--restart-at 5: give MS:HOW/, '--elf', 'a', '--restart-at', '5');
  refused(/give one of them/, '--elf', 'a', '--circuit', 'one,other', '--frames', 'f');
  refused(/speed/, '--elf', 'a', '--speed', '9');
});

test('a run ends at its bound with exit code 0 and leaves report and flash contents', () => {
  inFolder((folder, run) => {
    const elf = join(folder, 'idle.elf');
    const report = join(folder, 'report.json');
    const nor = join(folder, 'nor.bin');
    idleImage(elf);
    const { status, stdout, stderr } = run('--elf', elf, '--seconds', '0.02', '--report', report, '--nor', nor);
    assert.equal(status, 0, stderr);
    assert.equal(stdout, '', 'standard output belongs to the serial port');
    const told = JSON.parse(readFileSync(report, 'utf8'));
    assert.ok(Math.abs(told.simulatedSeconds - 0.02) < 1e-4);
    assert.equal(told.sleepRatio, 0);
    assert.equal(told.converter.conversions, 80);
    assert.equal(told.converter.delivered, 0);
    assert.deepEqual(told.problems, []);
    assert.equal(readFileSync(nor).length, 8388608);
  });
});

test('a missing file is exit code 1, a wrong argument 2, each with a sentence', () => {
  inFolder((folder, run) => {
    const missing = run('--elf', join(folder, 'none.elf'));
    assert.equal(missing.status, 1);
    assert.match(missing.stderr, /none\.elf/);
    assert.doesNotMatch(missing.stderr, /at .*run\.mjs/, 'no stack trace for a plain mistake');
    const wrong = run('--sped', '1');
    assert.equal(wrong.status, 2);
    assert.match(wrong.stderr, /see --help/);
    const help = run('--help');
    assert.equal(help.status, 0);
    assert.match(help.stderr, /--after-frames HOW/);
  });
});

test('the footprint fails on more than five percent and names the figure', () => {
  const kept = { flashBytes: 1000, ramBytes: 1000 };
  assert.deepEqual(grown({ flashBytes: 1050, ramBytes: 900 }, kept), []);
  assert.deepEqual(grown({ flashBytes: 1051, ramBytes: 900 }, kept), ['flash, bytes: 1051, kept 1000: 5.1 % more']);
});

test('the budget fails on what is over it and on what was not measured', () => {
  assert.deepEqual(over({ frameCycles: 1000 }, { frameCycles: 1000 }), []);
  assert.match(over({ frameCycles: 1001 }, { frameCycles: 1000 })[0], /1001, budget 1000/);
  assert.equal(over({}, { stackBytes: 1 }).length, 1);
});
