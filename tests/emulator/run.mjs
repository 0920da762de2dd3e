#!/usr/bin/env node
// Runs the image on the emulated board and bridges its serial port to standard input and output.
//
//   node tests/emulator/run.mjs --elf slotwise.elf [options]
//
//   --elf FILE          image as firmware/rp2040/build.sh writes it
//   --frames FILE       what the converter sees: rows of four little-endian i32 codes, 4000 a
//                       second; row 0 is the first conversion after the firmware's RESET of the
//                       converter. Without it: zero codes
//   --circuit IN,OUT    instead of --frames: two named pipes to a circuit that answers, conversion
//                       by conversion, what the converter sees with the tester's outputs as they
//                       are (live-codes.mjs says how)
//   --after-frames HOW  after the last row: hold (default), zero, repeat
//   --nor FILE          contents of the NOR flash, 8 MiB, made when missing, written back at
//                       the end. Without it: blank, and lost afterwards
//   --seconds N         simulated time at which the run ends at the latest; default 10
//   --serial HOW        none (default): the port stays shut. stdio: the port is open; bytes from
//                       the tester go to standard output, raw, bytes from standard input to it
//   --send MS:HEX       these bytes go to the tester at this millisecond; may be repeated
//   --pace X            simulated seconds per real second at most; default 0 = as fast as it goes
//   --button FROM:TO    the button is down between these milliseconds; may be repeated
//   --fault F           crc@N, crc@N:M, restart@N, silent@N:M, dead@N:M at the converter, by conversion
//                       number since power-on; bit@N:R.B turns bit B of its register R (hexadecimal)
//                       over; may be repeated
//   --stuck CH:CODE     the converter's channel CH (0 to 3) is stuck at CODE; may be repeated
//   --rtc WHEN          a clock chip is on the board: seconds since 1970 at power-on, or unset
//   --display           a display is on the board
//   --side-bus-stuck N  a part holds the bus of clock chip and display low for N clocks, or: forever
//   --nor-fault F@MS    from this millisecond on the flash answers nothing (dead), is never ready
//                       (busy), or takes programs and erases and does neither (deaf)
//   --adc-clock-ppm N   the converter's clock is N millionths too fast
//   --flip ADDRESS      bit 0 of this byte of flash (hexadecimal) is flipped
//   --skip-frames-at MS from this millisecond on the function that takes a frame returns at once
//   --crash-at MS       the program faults at this millisecond (HardFault)
//   --log-stuck         a debug probe asks for the whole log and then reads nothing: its buffer is full
//                       all the time
//   --panic-at MS       the program panics at this millisecond
//   --restart-at MS:HOW the chip restarts at this millisecond: pin (reset pin), dip (of the supply,
//                       memory holds), power (it was off); may be repeated
//   --hang-at MS        the program hangs at this millisecond; interrupts go on
//   --max-resets N      the run ends at this many watchdog resets; default 5
//   --report FILE       counts as JSON, written at the end (also after SIGTERM)
//   --defmt HOW         none (default), print: in words on standard error, by the project's own
//                       firmware-log (cargo builds it), or a file for the raw frames
//
// Ends: at --seconds; with --serial stdio also when standard input has ended, all of it was
// taken, and the tester has sent nothing for 0.3 simulated seconds, or when standard output is
// shut. All of these give exit code 0. 1 = the run went wrong (no USB, reset loop, file
// errors), 2 = wrong arguments. Messages go to standard error.
//
// The report: simulatedSeconds, wallSeconds, sleepRatio (time asleep over all time), converter
// (conversions since power-on; delivered = frames read in the data-ready interrupt, firstRow and
// lastRow of the file among them; missed = conversions not read before the next one, and of
// those missedWhileStreaming = after the set-up; oddities = what a driver should never do), nor
// (operations, oddities), usb, accumulate (cycles of the function that takes a block of frames),
// interrupts (cycles by name, entry to exit), latency (cycles from the edge of data ready to its
// handler), masked (cycles of each stretch with interrupts off while data ready is enabled), watchdogResets, faults (with program counter),
// lamps (levels, history in ms), heartbeats, outputs (levels and edges of the pins of the tester's
// own currents, conversions with each of them on), sideBus (transfers), rtc (its time, settings),
// display (bytes, what a person sees, row by row), stack (bytes used and left), restarts (by pin and
// supply), loggedInInterrupts (log frames written while an interrupt ran: none should be),
// emulatorMessages, problems (what made the exit code 1), image (flash and RAM bytes).
//
// For the Rust tests: make a pair with `serialport::TTYPort::pair()`, start this program with
// piped stdin and stdout, copy master -> stdin and stdout -> master in two threads, and give
// the host program the name of the slave. Drop stdin to end the run, then read the report.
// The tester answers about 0.1 simulated seconds after the start.

import { spawn } from 'node:child_process';
import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import { setImmediate as breathe, setTimeout as pause } from 'node:timers/promises';

import { AdcChip, CodeFile, parseFault } from './adc-chip.mjs';
import { DisplayChip } from './display-chip.mjs';
import { Elf } from './elf.mjs';
import { LiveCodes } from './live-codes.mjs';
import { Machine } from './machine.mjs';
import { FAULTS as NOR_FAULTS, NorChip } from './nor-chip.mjs';
import { RtcChip } from './rtc-chip.mjs';
import { RttReader } from './rtt.mjs';
import { UsbHost } from './usb-host.mjs';

const SLICE_NANOS = 1e6;
const LINGER_NANOS = 300e6;
/// Bytes that may wait for the device before standard input is left alone.
const BACKLOG = 4096;

const OPTIONS = {
  elf: { type: 'string' },
  frames: { type: 'string' },
  circuit: { type: 'string' },
  'after-frames': { type: 'string', default: 'hold' },
  nor: { type: 'string' },
  seconds: { type: 'string', default: '10' },
  serial: { type: 'string', default: 'none' },
  send: { type: 'string', multiple: true, default: [] },
  pace: { type: 'string', default: '0' },
  button: { type: 'string', multiple: true, default: [] },
  fault: { type: 'string', multiple: true, default: [] },
  stuck: { type: 'string', multiple: true, default: [] },
  rtc: { type: 'string' },
  display: { type: 'boolean', default: false },
  'side-bus-stuck': { type: 'string', default: '0' },
  'nor-fault': { type: 'string' },
  'adc-clock-ppm': { type: 'string', default: '0' },
  flip: { type: 'string' },
  'skip-frames-at': { type: 'string' },
  'crash-at': { type: 'string' },
  'hang-at': { type: 'string' },
  'log-stuck': { type: 'boolean', default: false },
  'panic-at': { type: 'string' },
  'restart-at': { type: 'string', multiple: true, default: [] },
  'max-resets': { type: 'string', default: '5' },
  report: { type: 'string' },
  defmt: { type: 'string', default: 'none' },
  help: { type: 'boolean', default: false },
};

class UsageError extends Error {}

function number(name, text, least) {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value) || value < least) {
    throw new UsageError(`--${name} ${text}: give a number of at least ${least}`);
  }
  return value;
}

/// Nanoseconds of an optional moment in milliseconds; never, if it is not given.
function moment(name, text) {
  return text === undefined ? Infinity : number(name, text, 0) * 1e6;
}

function oneOf(name, text, allowed) {
  if (!allowed.includes(text)) throw new UsageError(`--${name} ${text}: give one of ${allowed.join(', ')}`);
  return text;
}

function press(text) {
  const match = /^(\d+):(\d+)$/.exec(text);
  if (match === null || Number(match[2]) <= Number(match[1])) {
    throw new UsageError(`--button ${text}: give FROM:TO in milliseconds, FROM before TO`);
  }
  return { from: Number(match[1]) * 1e6, to: Number(match[2]) * 1e6 };
}

function restart(text) {
  const match = /^(\d+):(pin|dip|power)$/.exec(text);
  if (match === null) throw new UsageError(`--restart-at ${text}: give MS:HOW, HOW one of pin, dip, power`);
  return { at: Number(match[1]) * 1e6, how: match[2] };
}

function stuckChannel(text) {
  const match = /^([0-3]):(-?\d+)$/.exec(text);
  if (match === null) throw new UsageError(`--stuck ${text}: give CHANNEL:CODE, channel 0 to 3`);
  return [Number(match[1]), Number(match[2])];
}

function flashAddress(text) {
  if (text === undefined) return undefined;
  const address = Number.parseInt(text, 16);
  if (!/^[0-9a-f]{8}$/i.test(text) || address < 0x10000000 || address >= 0x10200000) {
    throw new UsageError(`--flip ${text}: give an address in flash, 10000000 to 101fffff`);
  }
  return address;
}

function sending(text) {
  const match = /^(\d+):((?:[0-9a-f]{2})+)$/i.exec(text);
  if (match === null) throw new UsageError(`--send ${text}: give MILLISECOND:BYTES, the bytes hexadecimal`);
  return { at: Number(match[1]) * 1e6, bytes: Uint8Array.from(Buffer.from(match[2], 'hex')) };
}

function norFault(text) {
  if (text === undefined) return undefined;
  const match = /^([a-z]+)@(\d+)$/.exec(text);
  if (match === null || !NOR_FAULTS.includes(match[1])) {
    throw new UsageError(`--nor-fault ${text}: give FAULT@MILLISECOND, the fault one of ${NOR_FAULTS.join(', ')}`);
  }
  return { kind: match[1], at: Number(match[2]) * 1e6 };
}

/// The two pipes of `--circuit`.
function pipes(text, frames) {
  if (text === undefined) return undefined;
  const names = text.split(',');
  if (names.length !== 2 || names.includes('')) throw new UsageError(`--circuit ${text}: give IN,OUT, two named pipes`);
  if (frames !== undefined) throw new UsageError('--circuit and --frames: give one of them');
  return names;
}

/// Checked arguments.
export function readArguments(argv) {
  let values;
  try {
    ({ values } = parseArgs({ args: argv, options: OPTIONS }));
  } catch (error) {
    throw new UsageError(error.message);
  }
  if (values.help) return { help: true };
  if (values.elf === undefined) throw new UsageError('--elf FILE is missing: the image that firmware/rp2040/build.sh writes');
  let faults;
  try {
    faults = values.fault.map(parseFault);
  } catch (error) {
    throw new UsageError(`--fault: ${error.message}`);
  }
  return {
    help: false,
    elf: values.elf,
    frames: values.frames,
    circuit: pipes(values.circuit, values.frames),
    afterFrames: oneOf('after-frames', values['after-frames'], ['hold', 'zero', 'repeat']),
    nor: values.nor,
    nanos: number('seconds', values.seconds, 0.001) * 1e9,
    serial: oneOf('serial', values.serial, ['none', 'stdio']),
    pace: number('pace', values.pace, 0),
    presses: values.button.map(press),
    faults,
    stuck: values.stuck.map(stuckChannel),
    rtc: values.rtc === undefined || values.rtc === 'unset' ? values.rtc : number('rtc', values.rtc, 0),
    display: values.display,
    stuckClocks: values['side-bus-stuck'] === 'forever' ? Infinity : number('side-bus-stuck', values['side-bus-stuck'], 0),
    sends: values.send.map(sending),
    norFault: norFault(values['nor-fault']),
    clockPpm: number('adc-clock-ppm', values['adc-clock-ppm'], -500_000),
    flip: flashAddress(values.flip),
    skipFramesAt: moment('skip-frames-at', values['skip-frames-at']),
    crashAt: moment('crash-at', values['crash-at']),
    hangAt: moment('hang-at', values['hang-at']),
    logStuck: values['log-stuck'],
    panicAt: moment('panic-at', values['panic-at']),
    restarts: values['restart-at'].map(restart),
    maxResets: number('max-resets', values['max-resets'], 1),
    report: values.report,
    defmt: values.defmt,
  };
}

const log = (text) => process.stderr.write(`emulator: ${text}\n`);

/// Builds the board that the arguments describe.
function buildMachine(options) {
  const elf = new Elf(readFileSync(options.elf));
  const frames = options.frames === undefined ? new Uint8Array(0) : readFileSync(options.frames);
  const codes = options.circuit === undefined ? new CodeFile(frames, options.afterFrames) : new LiveCodes(...options.circuit);
  const adc = new AdcChip(codes, options.faults);
  adc.stuck = new Map(options.stuck);
  adc.clockFactor = 1 + options.clockPpm / 1e6;
  let machine = null;
  const nor = new NorChip(options.nor, () => machine?.nanos ?? 0);
  const host = new UsbHost();
  const rtc = options.rtc === undefined ? undefined : new RtcChip(options.rtc === 'unset' ? null : options.rtc);
  const display = options.display ? new DisplayChip() : undefined;
  const { flip, skipFramesAt, stuckClocks } = options;
  machine = new Machine({ elf, adc, nor, host, log, flip, skipFramesAt, rtc, display, stuckClocks });
  return machine;
}

/// Standard input and output as the port of `host`. Returns what the loop must ask.
function bridgeStdio(machine) {
  const { host } = machine;
  const state = { inputEnded: false, outputShut: false, lastByteAt: 0, resume: () => {} };
  host.setOpen(true);
  host.onBytes = (bytes) => {
    state.lastByteAt = machine.nanos;
    if (state.outputShut) return;
    if (!process.stdout.write(bytes)) host.hold(true);
  };
  process.stdout.on('drain', () => host.hold(false));
  process.stdout.on('error', () => {
    state.outputShut = true;
  });
  process.stdin.on('data', (bytes) => {
    state.lastByteAt = machine.nanos;
    host.send(bytes);
    if (host.outBytes > BACKLOG) process.stdin.pause();
  });
  const ended = () => {
    state.inputEnded = true;
  };
  process.stdin.on('end', ended);
  process.stdin.on('close', ended);
  process.stdin.on('error', ended);
  state.resume = () => {
    if (process.stdin.isPaused() && host.outBytes <= BACKLOG) process.stdin.resume();
  };
  state.isOver = () =>
    state.outputShut ||
    (state.inputEnded && host.isOpen && host.outBytes === 0 && !host.held && machine.nanos - state.lastByteAt > LINGER_NANOS);
  return state;
}

/// Where the firmware's log goes.
function openDefmt(options) {
  if (options.defmt === 'none') return { write: () => {}, close: async () => {} };
  if (options.defmt !== 'print') {
    writeFileSync(options.defmt, '');
    return { write: (bytes) => appendFileSync(options.defmt, bytes), close: async () => {} };
  }
  const decode = ['run', '--quiet', '--package', 'slotwise-tests', '--example', 'firmware-log', '--', 'decode'];
  const printer = spawn('cargo', [...decode, resolve(options.elf)], {
    stdio: ['pipe', 2, 2],
    cwd: fileURLToPath(new URL('../..', import.meta.url)),
  });
  const gone = new Promise((done) => {
    printer.on('close', done);
    printer.on('error', () => {
      log('--defmt print needs cargo, which builds the program that puts the log into words');
      done();
    });
  });
  printer.stdin.on('error', () => {});
  return {
    write: (bytes) => printer.stdin.write(bytes),
    close: async () => {
      printer.stdin.end();
      await gone;
    },
  };
}

async function run(options) {
  const machine = buildMachine(options);
  const { host } = machine;
  const problems = [];
  host.onError = (text) => {
    problems.push(text);
    log(text);
  };
  const bridge = options.serial === 'stdio' ? bridgeStdio(machine) : null;
  const rtt = new RttReader(machine.elf);
  const defmt = openDefmt(options);
  const drain = () => {
    if (options.logStuck) {
      rtt.jam(machine.chip);
      return;
    }
    const logged = rtt.drain(machine.chip);
    if (logged.length > 0) defmt.write(logged);
  };
  machine.beforeReset = drain;
  const mishaps = [
    { at: options.crashAt, act: () => machine.crash() },
    { at: options.hangAt, act: () => machine.hang() },
    { at: options.panicAt, act: () => machine.panic() },
    ...options.restarts.map(({ at, how }) => ({ at, act: () => machine.restart(how) })),
    {
      at: options.norFault?.at ?? Infinity,
      act: () => {
        machine.nor.fault = options.norFault.kind;
      },
    },
    ...options.sends.map(({ at, bytes }) => ({ at, act: () => host.send(bytes) })),
  ].sort((a, b) => a.at - b.at);
  let stopped = false;
  const stop = () => {
    stopped = true;
  };
  process.on('SIGTERM', stop);
  process.on('SIGINT', stop);

  const began = performance.now();
  // From the first moment on: before the first slice.
  const act = (now) => {
    while (mishaps.length > 0 && now >= mishaps[0].at) mishaps.shift().act();
  };
  act(0);
  while (!stopped && machine.nanos < options.nanos && !(bridge?.isOver() ?? false)) {
    machine.run(Math.min(machine.nanos + SLICE_NANOS, options.nanos));
    const now = machine.nanos;
    machine.setButton(options.presses.some(({ from, to }) => now >= from && now < to));
    act(now);
    drain();
    if (machine.resets.length >= options.maxResets) {
      problems.push(`${machine.resets.length} watchdog resets: the firmware does not get going`);
      log(problems.at(-1));
      break;
    }
    bridge?.resume();
    const ahead = options.pace === 0 ? 0 : now / 1e6 / options.pace - (performance.now() - began);
    if (ahead > 2) await pause(ahead);
    else await breathe();
  }
  const wallSeconds = (performance.now() - began) / 1000;
  machine.nor.save();
  await defmt.close();
  if (options.report !== undefined) {
    const report = { ...machine.report(), wallSeconds, problems, image: { ...machine.elf.footprint() } };
    writeFileSync(options.report, `${JSON.stringify(report, null, 2)}\n`);
  }
  return problems.length === 0 ? 0 : 1;
}

/// The text of the comment at the top.
function usage() {
  const lines = readFileSync(new URL(import.meta.url), 'utf8').split('\n').slice(1);
  return lines.slice(0, lines.findIndex((line) => !line.startsWith('//'))).map((line) => line.slice(3)).join('\n');
}

async function main() {
  let options;
  try {
    options = readArguments(process.argv.slice(2));
  } catch (error) {
    if (!(error instanceof UsageError)) throw error;
    log(`${error.message}; see --help`);
    return 2;
  }
  if (options.help) {
    process.stderr.write(`${usage()}\n`);
    return 0;
  }
  try {
    return await run(options);
  } catch (error) {
    log(error.code === undefined ? error.stack : error.message);
    return 1;
  }
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  const code = await main();
  // What was written must be out before the end; a pipe that nobody reads is not waited for.
  await Promise.race([new Promise((resolve) => process.stdout.write('', resolve)), pause(1000)]);
  process.exit(code);
}
