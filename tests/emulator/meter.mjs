// Counts cycles: per exception, and in the function `slotwise_accumulate`, which takes a block of
// frames into the tester.
//
// The function is watched by address: at its first instruction the return address is noted and
// watched next, so the image carries no mark for the purpose. Cycles of interrupts that fall
// into a call are taken out. Flash wait states are not modelled by the emulator: counts of
// code in flash are a floor, of code in RAM they agree with Arm's table.
//
// The latency of data ready is that from the falling edge of the pin to the first instruction of its
// handler, in cycles of the core's clock: while the interrupt is enabled, whatever else is going on.
// Edges seldom meet the worst moment, so the stretches with interrupts off are counted, too.

const WATCHED = 'slotwise_accumulate';
const NAMES = { 3: 'HardFault', 15: 'SysTick', 21: 'USBCTRL', 27: 'DMA_0', 29: 'IO_BANK0' };
/// The exception of data ready, and what entering one takes (Arm, Cortex-M0+ TRM: 15).
const DATA_READY = 29;
const ENTRY_CYCLES = 15;
/// An address that no program counter holds.
const NOWHERE = -1;

/// A count of whole numbers, for a median.
class Tally {
  constructor() {
    this.values = new Map();
    this.count = 0;
    this.sum = 0;
    this.most = 0;
  }

  add(value) {
    this.values.set(value, (this.values.get(value) ?? 0) + 1);
    this.count++;
    this.sum += value;
    this.most = Math.max(this.most, value);
  }

  report() {
    if (this.count === 0) return { calls: 0 };
    let left = this.count / 2;
    let median = 0;
    for (const value of [...this.values.keys()].sort((a, b) => a - b)) {
      left -= this.values.get(value);
      median = value;
      if (left <= 0) break;
    }
    return { calls: this.count, cycles: this.sum, median, mean: this.sum / this.count, most: this.most };
  }
}

export class Meter {
  constructor(elf) {
    this.entry = elf.address(WATCHED) ?? NOWHERE;
    this.accumulate = new Tally();
    this.exceptions = new Map();
    this.latency = new Tally();
    this.masked = new Tally();
    this.detach();
  }

  attach(core) {
    this.core = core;
    this.watched = this.entry;
  }

  detach() {
    this.core = null;
    this.watched = this.entry;
    this.call = null;
    this.edgeAt = null;
    this.isMasked = false;
    this.maskedFrom = null;
    this.open = [];
    /// Cycles spent in exceptions since the start of this chip.
    this.inExceptions = 0;
  }

  /// The program counter reached the watched address.
  reached() {
    const { core } = this;
    if (this.call === null) {
      this.call = { from: core.cycles, before: this.inExceptions, stack: core.SP };
      this.watched = (core.LR & ~1) >>> 0;
    } else if (core.SP === this.call.stack) {
      this.accumulate.add(core.cycles - this.call.from - (this.inExceptions - this.call.before));
      this.call = null;
      this.watched = this.entry;
    }
  }

  /// The pin fell at `cycles` of the clock.
  edge(cycles) {
    this.edgeAt ??= cycles;
  }

  /// The program has switched interrupts off or on; `counts`: while data ready is enabled.
  mask(isMasked, counts) {
    this.isMasked = isMasked;
    if (isMasked) {
      this.maskedFrom = counts ? this.core.cycles : null;
    } else if (this.maskedFrom !== null) {
      this.masked.add(this.core.cycles - this.maskedFrom);
      this.maskedFrom = null;
    }
  }

  enter(number, cycles) {
    if (number === DATA_READY && this.edgeAt !== null) {
      this.latency.add(Math.round(cycles - this.edgeAt) + ENTRY_CYCLES);
      this.edgeAt = null;
    }
    this.open.push({ number, from: this.core.cycles });
  }

  leave() {
    const closed = this.open.pop();
    if (closed === undefined) return;
    const cycles = this.core.cycles - closed.from;
    if (this.open.length === 0) this.inExceptions += cycles;
    let tally = this.exceptions.get(closed.number);
    if (tally === undefined) {
      tally = new Tally();
      this.exceptions.set(closed.number, tally);
    }
    tally.add(cycles);
  }

  report() {
    const interrupts = {};
    for (const [number, tally] of this.exceptions) interrupts[NAMES[number] ?? `exception ${number}`] = tally.report();
    return { accumulate: this.accumulate.report(), interrupts, latency: this.latency.report(), masked: this.masked.report() };
  }
}
