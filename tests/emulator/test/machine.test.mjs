// The corrections of the emulator, each with a program that the uncorrected one gets wrong.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { RP2040 } from 'rp2040js';

import { crc16 } from '../adc-chip.mjs';
import { QuietLogger, connectSpi, correctTimer, inputPin, spiMode } from '../corrections.mjs';
import { boardWith, load } from '../fixtures/program.mjs';

const WFI = 0xbf30;
const WFE = 0xbf20;
const SEV = 0xbf40;
const NOP = 0xbf00;
const STAY = 0xe7fe;
const BX_LR = 0x4770;
const LSLS_R0_28 = 0x0700;
const movs = (register, value) => 0x2000 | (register << 8) | value;
const adds = (register, value) => 0x3000 | (register << 8) | value;
const str = (from, base, offset) => 0x6000 | ((offset / 4) << 6) | (base << 3) | from;
const ldr = (to, base, offset) => 0x6800 | ((offset / 4) << 6) | (base << 3) | to;

/// A program that starts SysTick with a period of 1000 cycles, then goes on with `rest`.
/// The handler counts in r5, after `first`.
function withTick(rest, first = []) {
  const length = 9 + rest.length + first.length + 2;
  const code = [
    0xb672, // cpsid i
    load(0, 0, 1, length), load(1, 1, 2, length), str(1, 0, 4), // reload
    movs(1, 0), str(1, 0, 8), movs(1, 7), str(1, 0, 0), // clear, start
    NOP,
    ...rest,
    ...first, adds(5, 1), BX_LR,
  ];
  return { code, constants: [0xe000e010, 999], handlers: { 15: length - first.length - 2 } };
}

const registers = (machine) => machine.chip.core.registers;

test('WFI with interrupts masked wakes and does not enter the handler', () => {
  const machine = boardWith(withTick([WFI, movs(4, 1), 0xb662, STAY]));
  while (registers(machine)[4] !== 1 && machine.nanos < 1e6) machine.run(machine.nanos + 1);
  assert.equal(registers(machine)[4], 1, 'woken by SysTick');
  assert.equal(registers(machine)[5], 0, 'handler not entered');
  machine.run(machine.nanos + 1e4);
  assert.equal(registers(machine)[5], 1, 'entered once interrupts are on');
});

test('a handler runs at even addresses, so sums with the program counter are right', () => {
  const movR6Pc = 0x467e;
  const machine = boardWith(withTick([0xb662, WFI, 0xe7fd], [movR6Pc]));
  machine.run(1e5);
  assert.ok(registers(machine)[5] > 0, 'entered');
  assert.equal(registers(machine)[6] & 1, 0);
});

test('an exception takes 15 cycles to enter', () => {
  const machine = boardWith(withTick([0xb662, WFI, 0xe7fd]));
  machine.run(2e6);
  const { SysTick } = machine.report().interrupts;
  assert.ok(SysTick.calls > 5);
  // 15 to enter, adds 1, bx 2.
  assert.equal(SysTick.median, 15 + 1 + 2);
  assert.ok(machine.report().sleepRatio > 0.8);
});

test('SEV makes the next WFE fall through, the one after it sleeps', () => {
  const machine = boardWith({ code: [SEV, WFE, movs(4, 1), WFE, movs(4, 2), STAY] });
  machine.run(1e5);
  assert.equal(registers(machine)[4], 1);
  assert.ok(machine.sleepNanos > 9e4);
});

test('UDF and a read of nowhere end in HardFault and are told with their place', () => {
  const udf = boardWith({ code: [0xde00, movs(4, 3), STAY], handlers: { 3: 1 } });
  udf.run(1e5);
  assert.equal(registers(udf)[4], 3);
  assert.equal(udf.faults.length, 1);
  assert.equal(udf.faults[0].pc, '10000200');
  const wild = boardWith({ code: [movs(0, 6), LSLS_R0_28, ldr(1, 0, 0), STAY, movs(4, 3), STAY], handlers: { 3: 4 } });
  wild.run(1e5);
  assert.equal(registers(wild)[4], 3);
  assert.match(wild.faults[0].what, /invalid memory address: 60000000/);
  const odd = boardWith({ code: [movs(0, 2), LSLS_R0_28, adds(0, 2), str(1, 0, 0), STAY, movs(4, 3), STAY], handlers: { 3: 5 } });
  odd.run(1e5);
  assert.match(odd.faults[0].what, /not 32 bit aligned/);
});

test('a watchdog reset starts the image anew with reason and scratch kept', () => {
  const length = 12;
  const code = [
    load(0, 0, 0, length), ldr(1, 0, 8), ldr(3, 0, 0x0c),
    0x2900, 0xd105, // cmp r1, #0; bne to the end
    load(2, 1, 5, length), str(2, 0, 0x0c), movs(2, 200), str(2, 0, 4), // scratch, 100 us
    load(2, 2, 9, length), str(2, 0, 0), STAY,
  ];
  const machine = boardWith({ code, constants: [0x40058000, 0x1234, 0x40000000] });
  const before = machine.chip;
  machine.nor.contents[7] = 0x42;
  machine.run(3e6);
  assert.equal(machine.resets.length, 1, machine.lines.join('\n'));
  assert.equal(machine.resets[0].cause, 'timer');
  assert.ok(machine.resets[0].ms > 0.1 && machine.resets[0].ms < 0.2, `${machine.resets[0].ms} ms`);
  assert.notEqual(machine.chip, before);
  assert.deepEqual([registers(machine)[1], registers(machine)[3]], [1, 0x1234]);
  assert.equal(machine.nor.contents[7], 0x42);
  assert.ok(Math.abs(machine.nanos - 3e6) < 1e3, 'time goes on over the reset');
});

test('the watched function is counted without the interrupts that fall into it', () => {
  // main: bl work; b main.  work: 8 nops, bx lr = 8 + 2 cycles.
  const work = [...new Array(8).fill(NOP), BX_LR];
  const plain = boardWith({ code: [0xf000, 0xf801, 0xe7fc, ...work], symbols: { slotwise_accumulate: 3 } });
  plain.run(1e5);
  const { accumulate } = plain.report();
  assert.ok(accumulate.calls > 20);
  assert.equal(accumulate.median, 10);
  assert.equal(accumulate.most, 10);
  const ticked = withTick([0xb662, 0xf000, 0xf801, 0xe7fc, ...work]);
  const machine = boardWith({ ...ticked, symbols: { slotwise_accumulate: 9 + 4 } });
  machine.run(3e6);
  assert.ok(machine.report().interrupts.SysTick.calls > 10);
  assert.equal(machine.report().accumulate.most, 10);
});

test('the stack that was used is told', () => {
  const machine = boardWith({ code: [0xb410, 0xb410, STAY] }); // push {r4} twice
  registers(machine)[4] = 1;
  machine.run(1e4);
  assert.equal(machine.report().stack.used, 8);
});

test('an SPI byte takes its eight bits at the clock rate', () => {
  const chip = new RP2040();
  const [spi] = chip.spi;
  connectSpi(chip, spi, (byte) => byte ^ 0xff);
  chip.writeUint32(0x4003c010, 16);
  chip.writeUint32(0x4003c000, 0x0080 | 7); // SPH, eight bits
  chip.writeUint32(0x4003c008, 0x5a);
  assert.equal(spiMode(spi), 1);
  chip.clock.tick(1023);
  assert.ok(spi.rxFIFO.empty);
  chip.clock.tick(2);
  assert.equal(chip.readUint32(0x4003c008), 0xa5);
});

test('a timer alarm is never early', () => {
  const chip = new RP2040();
  correctTimer(chip);
  const timer = chip.peripherals[0x40054];
  chip.clock.tick(500700);
  chip.writeUint32(0x40054010, 1000);
  chip.clock.tick(1e6 - 500700 - 1);
  assert.equal(timer.intRaw, 0);
  chip.clock.tick(1);
  assert.equal(timer.intRaw, 1);
});

test('setting a pin to the level it has latches no edge', () => {
  const chip = new RP2040();
  const pin = chip.gpio[20];
  pin.padValue = 0x5a;
  const set = inputPin(chip, 20);
  set(true);
  set(false);
  chip.writeUint32(0x400140f0 + 8, 0xffffffff);
  assert.equal(pin.irqStatus & 0b1100, 0);
  set(false);
  assert.equal(pin.irqStatus & 0b1100, 0);
  set(true);
  assert.equal(pin.irqStatus & 0b1100, 0b1000);
});

test('SEV and faults come through the logger, everything else is only counted', () => {
  const logger = new QuietLogger();
  const seen = [];
  logger.onEvent = () => seen.push('event');
  logger.onFault = (message) => seen.push(message);
  logger.info('CortexM0Core', 'SEV');
  logger.warn('RP2040', 'Write to undefined address: 0');
  logger.warn('USB', 'Unimplemented peripheral read from 0x74');
  logger.warn('USB', 'Unimplemented peripheral read from 0x74');
  assert.deepEqual(seen, ['event', 'Write to undefined address: 0']);
  assert.equal(logger.counts.get('warn USB: Unimplemented peripheral read from 0x74'), 2);
});

test('the chip says by what it was reset, and the log is looked at around interrupts', () => {
  // r4 = CHIP_RESET: power bit 8, pin bit 16 (RP2040 datasheet, 2.12.8).
  const code = [load(0, 0, 0, 3), ldr(4, 0, 8), STAY];
  const machine = boardWith({ code, constants: [0x40064000] });
  machine.run(1e5);
  assert.equal(registers(machine)[4], 1 << 8);
  machine.restart('pin');
  machine.run(2e5);
  assert.equal(registers(machine)[4], 1 << 16);
  machine.restart('dip');
  machine.run(3e5);
  assert.equal(registers(machine)[4], 1 << 8);
  const report = machine.report();
  assert.deepEqual(report.restarts.map(({ how }) => how), ['pin', 'dip']);
  assert.equal(report.loggedInInterrupts, 0);
});

test('the sniffer works out the check word of the bytes that its channel moves', () => {
  const bytes = [...Array(15).keys()].map((n) => (n * 37 + 5) & 0xff);
  const check = crc16(bytes);
  const frame = [...bytes, check >> 8, check & 0xff, 0];
  const [DMA, CONTROL, DATA] = [0x50000000, 0x434, 0x438];
  const from = 0x20000100;
  const run = ({ control, channelControl, count = frame.length, flip = -1 }) => {
    const { chip } = boardWith({ code: [STAY] });
    frame.forEach((byte, n) => chip.writeUint8(from + n, n === flip ? byte ^ 4 : byte));
    chip.writeUint32(DMA + CONTROL, control);
    chip.writeUint32(DMA + DATA, 0xffff);
    chip.writeUint32(DMA + 0x00, from);
    chip.writeUint32(DMA + 0x04, 0x20000200);
    chip.writeUint32(DMA + 0x08, count);
    chip.writeUint32(DMA + 0x0c, channelControl);
    for (let n = 0; n < frame.length; n++) chip.clock.tick(100);
    assert.equal(chip.readUint8(0x20000200 + count - 1), frame[count - 1]);
    return chip.readUint32(DMA + DATA);
  };
  const moves = 1 | (3 << 4) | (63 << 15);
  const sniffed = moves | (1 << 23);
  const channelZero = 1 | (2 << 5);
  assert.equal(run({ control: channelZero, channelControl: sniffed, count: bytes.length }), check);
  assert.equal(run({ control: channelZero, channelControl: sniffed }), 0);
  assert.notEqual(run({ control: channelZero, channelControl: sniffed, flip: 3 }), 0);
  // Without either enable, or on another channel, it stands still.
  assert.equal(run({ control: channelZero, channelControl: moves }), 0xffff);
  assert.equal(run({ control: channelZero & ~1, channelControl: sniffed }), 0xffff);
  assert.equal(run({ control: channelZero | (1 << 1), channelControl: sniffed }), 0xffff);
});
