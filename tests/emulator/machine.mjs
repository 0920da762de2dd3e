// The board: one emulated RP2040 with converter, flash, button, lamps and USB host around it.
//
// Runs the image as it stands in the ELF file: no boot ROM, no second-stage loader; the
// segments are put where they are stored in flash and the core starts at the vector table.
// Time is counted in nanoseconds of the image's own clock. A reset makes a new chip; converter,
// flash and host go on. RAM keeps its contents over a watchdog's reset, the reset pin and a dip of
// the supply, as the chip's does; after power-on it holds noise.

import { RP2040 } from 'rp2040js';

import { I2cBus } from './i2c-bus.mjs';
import { Meter } from './meter.mjs';
import { RttReader } from './rtt.mjs';
import { Outputs } from './outputs.mjs';
import {
  QuietLogger, RESET_BY, connectSpi, correctChipReset, correctExceptions, correctSniffer, correctTimer, correctWatchdog, hardFault, inputPin, mayWake, restoreWatchdog, shortenMemoryPath, spiMode, startClocks,
} from './corrections.mjs';

const FLASH = 0x10000000;
const RAM = 0x20000000;
const RAM_BYTES = 0x40000;
const VECTORS = FLASH + 0x100;
/// Ring oscillator, from which the chip starts.
const START_HZ = 6.5e6;
/// Unused RAM is filled with this, to see how far the stack came.
const PAINT = 0xa5;

/// Pins of the board, as in firmware/rp2040/src/board.rs.
export const PINS = {
  lamps: [2, 3, 4, 5, 6, 7],
  button: 15,
  adcSelect: 17,
  dataReady: 20,
  sync: 21,
  norSelect: 13,
  heartbeat: 25,
};
const LAMP_NAMES = ['live-metal', 'wired-right', 'earth-path', 'supply', 'steady', 'proven'];
/// Exceptions from here on are the timer tick and interrupts.
const FIRST_INTERRUPT = 15;
/// Where a program that is made to panic says that it does.
const PANIC_AT = { file: 'tests/emulator/machine.mjs', line: 4711 };
/// Number of the pins' interrupt.
const DATA_READY_IRQ = 13;
/// Lamp changes kept; later ones are only counted.
const HISTORY = 20000;

/// What the emulator calls a pin that is driven low or high.
const LOW = 0;
const HIGH = 1;

export class Machine {
  /// `elf`: Elf. `adc`: AdcChip. `nor`: NorChip. `host`: UsbHost. `log(text)`. `flip`: address of
  /// a byte of flash with a wrong bit. `skipFramesAt`: nanoseconds from which on frames are not taken.
  /// `rtc`: RtcChip and `display`: DisplayChip, where the board has them. `stuckClocks`: clocks for
  /// which the side bus is held low.
  constructor({ elf, adc, nor, host, log, flip, skipFramesAt = Infinity, rtc, display, stuckClocks = 0 }) {
    Object.assign(this, { elf, adc, nor, host, log, flip, skipFramesAt, rtc, display });
    this.elapsedBefore = 0;
    this.sleepNanos = 0;
    this.resets = [];
    /// Restarts by pin or supply.
    this.restarts = [];
    /// Where log frames were written while an interrupt ran.
    this.loggedInInterrupts = 0;
    this.rtt = new RttReader(elf);
    this.powerCuts = [];
    this.faults = [];
    this.lampHistory = [];
    this.lampChanges = 0;
    this.lampLevels = {};
    this.heartbeats = 0;
    this.outputs = new Outputs(() => this.nanos);
    this.sideBus = new I2cBus([rtc, display].filter((part) => part !== undefined), () => this.nanos, stuckClocks);
    this.warnings = new Map();
    this.meter = new Meter(elf);
    /// Called before a chip is replaced, while its RAM still stands.
    this.beforeReset = () => {};
    this.stackFloor = null;
    this.nextConversion = adc.periodNanos;
    this.boot({ chipReset: RESET_BY.power });
  }

  /// Nanoseconds since power-on, over all resets.
  get nanos() {
    return this.elapsedBefore + this.chip.clock.nanos;
  }

  /// Cycles of the core's clock since this chip started, those asleep included.
  get clockCycles() {
    return this.chip.clock.nanosCounter / this.nanosPerCycle;
  }

  boot(kept) {
    this.chipReset = kept.chipReset;
    const chip = new RP2040();
    this.chip = chip;
    this.pendingReset = null;
    this.pendingFault = null;
    this.loggedBefore = null;
    this.leaving = false;
    /// Something to see to at the end of the instruction.
    this.attention = false;
    const logger = new QuietLogger();
    logger.counts = this.warnings;
    chip.logger = logger;
    this.meter.attach(chip.core);
    correctExceptions(chip, logger, {
      enter: (number) => {
        this.meter.enter(number, this.clockCycles);
        if (number >= FIRST_INTERRUPT) this.loggedBefore = this.rtt.written(chip);
      },
      leave: () => {
        if (this.loggedBefore !== null && this.rtt.written(chip) !== this.loggedBefore) this.loggedInInterrupts++;
        this.loggedBefore = null;
        this.leaving = true;
        this.attention = true;
      },
      fault: (what) => {
        this.pendingFault ??= what;
        this.attention = true;
      },
    });
    correctTimer(chip);
    correctSniffer(chip);
    shortenMemoryPath(chip);
    correctWatchdog(chip, (reset) => {
      this.pendingReset = reset;
    });
    correctChipReset(chip, kept.chipReset);
    if (kept.reason !== undefined) restoreWatchdog(chip, kept);
    if (kept.ram === undefined) fillWithNoise(chip.sram);
    else chip.sram.set(kept.ram);
    startClocks(chip, START_HZ);
    this.setClock(START_HZ);
    chip.addClockListener((hz) => this.setClock(hz));
    this.load();
    this.wire();
    this.host.attach(chip);
  }

  setClock(hz) {
    this.nanosPerCycle = 1e9 / hz;
  }

  load() {
    const { chip, elf } = this;
    const stackEnd = elf.address('__sheap') ?? RAM;
    chip.sram.fill(PAINT, stackEnd - RAM, RAM_BYTES);
    for (const segment of elf.segments) {
      if (segment.bytes.length === 0) continue;
      const at = segment.loadAddress - FLASH;
      if (at < 0 || at + segment.bytes.length > chip.flash.length) {
        throw new Error(`ELF: a segment is stored at ${segment.loadAddress.toString(16)}, which is not flash`);
      }
      chip.flash.set(segment.bytes, at);
    }
    if (this.flip !== undefined) chip.flash[this.flip - FLASH] ^= 1;
    const { core } = chip;
    core.VTOR = VECTORS;
    core.SP = chip.readUint32(VECTORS);
    core.PC = chip.readUint32(VECTORS + 4) & ~1;
  }

  wire() {
    const { chip, adc, nor } = this;
    const onLow = (pin, act) => chip.gpio[pin].addListener((state) => act(state === LOW, state));
    connectSpi(chip, chip.spi[0], (byte) => adc.exchange(byte));
    connectSpi(chip, chip.spi[1], (byte) => nor.exchange(byte));
    onLow(PINS.adcSelect, (low) => adc.select(low, spiMode(chip.spi[0]), chip.spi[0].clockFrequency));
    onLow(PINS.norSelect, (low) => nor.select(low, spiMode(chip.spi[1]), chip.spi[1].clockFrequency));
    onLow(PINS.sync, (low) => adc.sync(!low, this.nanos));

    const dataReady = inputPin(chip, PINS.dataReady);
    adc.onDataReady = (high) => {
      dataReady(high);
      if (!high && chip.core.enabledInterrupts & (1 << DATA_READY_IRQ)) this.meter.edge(this.clockCycles);
    };
    // The firmware samples by DMA, or in an interrupt after a gap, and sets the converter up outside.
    adc.isSampling = () => chip.core.IPSR !== 0 || chip.dma.channels.some((channel) => channel.active);
    dataReady(!adc.ready);
    this.pressButton = inputPin(chip, PINS.button);
    this.pressButton(true);

    this.sideBus.attach(chip);
    this.outputs.attach(chip);
    adc.driven = () => this.outputs.sample();
    const convert = chip.clock.createAlarm(() => {
      adc.convert();
      this.nextConversion += adc.periodNanos;
      convert.schedule(this.nextConversion - this.nanos);
    });
    convert.schedule(Math.max(0, this.nextConversion - this.nanos));

    PINS.lamps.forEach((pin, index) => onLow(pin, (low, state) => this.onLamp(LAMP_NAMES[index], state)));
    onLow(PINS.heartbeat, (low, state) => {
      if (state === HIGH) this.heartbeats++;
    });
  }

  onLamp(name, state) {
    const lit = state === HIGH;
    if ((this.lampLevels[name] ?? false) === lit) return;
    this.lampLevels[name] = lit;
    this.lampChanges++;
    if (this.lampHistory.length < HISTORY) {
      this.lampHistory.push({ ms: Math.round(this.nanos / 1e4) / 100, lamp: name, lit });
    }
  }

  /// Presses (true) or lets go (false) the button.
  setButton(pressed) {
    this.pressButton(!pressed);
  }

  /// Makes the program fault at its next instruction, as a wild pointer would.
  crash() {
    this.chip.core.waiting = false;
    this.pendingFault = 'made to crash';
    this.fault();
  }

  /// Makes the program hang in an endless loop; interrupts go on.
  hang() {
    const { chip } = this;
    const branchToSelf = 0xe7fe;
    const at = chip.flash.length - 4;
    chip.flashView.setUint16(at, branchToSelf, true);
    chip.core.waiting = false;
    chip.core.PC = FLASH + at;
  }

  /// Makes the program panic, as a place that must not be reached would: it enters the function in
  /// which all panics end, in an image that may have none.
  panic() {
    const { core, flash } = this.chip;
    const text = Buffer.from(PANIC_AT.file);
    const at = flash.length - 64;
    flash.set(text, at);
    core.waiting = false;
    core.registers[0] = FLASH + at;
    core.registers[1] = text.length;
    core.registers[2] = PANIC_AT.line;
    core.PC = this.elf.require('slotwise_panicked');
  }

  /// Restarts the chip: by its reset `pin`, by a `dip` of the supply that memory outlives, or by
  /// `power` that was off.
  restart(how) {
    this.restarts.push({ ms: this.nanos / 1e6, how });
    this.replaceChip({
      chipReset: how === 'pin' ? RESET_BY.pin : RESET_BY.power,
      ram: how === 'power' ? undefined : this.chip.sram,
    });
  }

  /// The supply fails and comes back, at the end of the instruction: `chip` alone (its brown-out
  /// detector), or `board` with converter and flash.
  cutPower(what) {
    this.pendingReset = { power: what };
  }

  /// Runs until `nanos` since power-on.
  run(nanos) {
    while (this.nanos < nanos) {
      this.runChip(nanos - this.elapsedBefore);
      if (this.pendingReset?.power !== undefined) this.powerUp(this.pendingReset.power);
      else if (this.pendingReset !== null) this.reset();
    }
  }

  runChip(target) {
    const { core, clock } = this.chip;
    const { registers } = core;
    const { meter } = this;
    while (clock.nanosCounter < target && this.pendingReset === null) {
      if (core.waiting) {
        if (mayWake(core)) {
          core.waiting = false;
          continue;
        }
        const next = clock.nextAlarm === null ? target : Math.min(clock.nextAlarm.nanos, target);
        const sleep = Math.max(0, next - clock.nanosCounter);
        this.sleepNanos += sleep;
        clock.tick(sleep);
        continue;
      }
      const before = core.cycles;
      core.executeInstruction();
      clock.nanosCounter += (core.cycles - before) * this.nanosPerCycle;
      if (core.PM !== meter.isMasked) meter.mask(core.PM, (core.enabledInterrupts & (1 << DATA_READY_IRQ)) !== 0);
      if (clock.nextAlarm !== null && clock.nextAlarm.nanos <= clock.nanosCounter) clock.tick(0);
      if (this.attention) this.attend();
      if (registers[15] === meter.watched) {
        if (meter.watched === meter.entry && this.nanos >= this.skipFramesAt) core.PC = core.LR & ~1;
        else meter.reached();
      }
    }
  }

  attend() {
    this.attention = false;
    if (this.leaving) {
      this.leaving = false;
      this.meter.leave();
    }
    if (this.pendingFault !== null) this.fault();
  }

  fault() {
    const what = this.pendingFault;
    this.pendingFault = null;
    const { core } = this.chip;
    if (this.faults.length < 100) {
      this.faults.push({ ms: this.nanos / 1e6, what, pc: core.PC.toString(16), lr: core.LR.toString(16) });
    }
    this.log(`fault: ${what}, pc ${core.PC.toString(16)}`);
    hardFault(core);
  }

  reset() {
    const kept = this.pendingReset;
    const cause = kept.reason & 2 ? 'forced' : 'timer';
    this.resets.push({ ms: this.nanos / 1e6, cause });
    this.log(`watchdog reset (${cause}) at ${(this.nanos / 1e6).toFixed(1)} ms`);
    this.replaceChip({ ...kept, chipReset: this.chipReset, ram: this.chip.sram });
  }

  replaceChip(kept) {
    this.noteStack();
    this.beforeReset();
    this.elapsedBefore += this.chip.clock.nanos;
    this.meter.detach();
    this.boot(kept);
  }

  /// The supply is back.
  powerUp(what) {
    this.powerCuts.push({ ms: this.nanos / 1e6, what });
    this.noteStack();
    this.beforeReset();
    if (what === 'board') {
      this.nor.powerCut();
      this.adc.powerOn();
      Object.assign(this.adc, { selected: false, received: [] });
    } else {
      // Their pull-ups end what the chip was saying.
      this.nor.select(false);
      this.adc.select(false);
    }
    this.elapsedBefore += this.chip.clock.nanos;
    this.meter.detach();
    // A brown-out of the chip alone is a dip that its memory outlives.
    this.boot({ chipReset: RESET_BY.power, ram: what === 'board' ? undefined : this.chip.sram });
  }

  noteStack() {
    const from = (this.elf.address('__sheap') ?? RAM) - RAM;
    let at = from;
    while (at < RAM_BYTES && this.chip.sram[at] === PAINT) at++;
    this.stackFloor = Math.min(this.stackFloor ?? RAM_BYTES, at);
    this.stackLimit = from;
  }

  /// Everything counted, as plain data.
  report() {
    this.noteStack();
    const { adc, nor, host } = this;
    return {
      simulatedSeconds: this.nanos / 1e9,
      sleepRatio: this.sleepNanos / this.nanos,
      converter: { ...adc.statistics, oddities: Object.fromEntries(adc.oddities) },
      nor: { ...nor.statistics, oddities: Object.fromEntries(nor.oddities) },
      usb: { ...host.statistics, configured: host.configured, open: host.isOpen, identity: host.identity },
      ...this.meter.report(),
      watchdogResets: this.resets,
      restarts: this.restarts,
      loggedInInterrupts: this.loggedInInterrupts,
      powerCuts: this.powerCuts,
      faults: this.faults,
      lamps: { levels: this.lampLevels, changes: this.lampChanges, history: this.lampHistory },
      heartbeats: this.heartbeats,
      outputs: this.outputs.report(),
      sideBus: this.sideBus.report(),
      rtc: this.rtc?.report(this.nanos),
      display: this.display?.report(),
      stack: { used: RAM_BYTES - this.stackFloor, left: this.stackFloor - this.stackLimit },
      emulatorMessages: Object.fromEntries(this.warnings),
    };
  }
}

/// What RAM may hold when power comes on: anything (xorshift, Marsaglia 2003; the same every time).
function fillWithNoise(ram) {
  let state = 0x2545f491;
  for (let at = 0; at < ram.length; at++) {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    ram[at] = state & 0xff;
  }
}
