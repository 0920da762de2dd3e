// Corrections of rp2040js 1.4.1, applied to one chip object from outside; the package stays
// untouched. Each function names the behaviour of the emulator that it replaces.

/// Cycles from an interrupt to the first instruction of its handler (Arm, Cortex-M0+ TRM: 15).
const ENTRY_CYCLES = 15;
const HARD_FAULT = 3;
const RAM = 0x20000000;
const TIMER = 0x40054;
const WATCHDOG = 0x40058;
const VREG_AND_CHIP_RESET = 0x40064;
const ALARM_FIRST = 0x10;
const ALARM_LAST = 0x1c;

/// Messages of the emulator that on the chip are a fault, not a message.
const FAULTS = ['invalid memory address', 'undefined address', 'not 32 bit aligned', 'is not implemented yet'];

/// Clocks: until the image sets them up the chip runs from its ring oscillator; the emulator
/// takes 125 MHz.
export function startClocks(chip, hz) {
  chip.clkSys = hz;
  chip.clkPeri = hz;
  chip.ppb.systickTimer.frequency = hz;
}

/// A logger that counts instead of printing.
///
/// The emulator only logs SEV, and only warns where the chip would fault.
export class QuietLogger {
  constructor() {
    this.counts = new Map();
    this.onEvent = () => {};
    this.onFault = () => {};
  }

  note(level, component, message) {
    const key = `${level} ${component}: ${message}`;
    this.counts.set(key, (this.counts.get(key) ?? 0) + 1);
    if (FAULTS.some((part) => message.includes(part))) this.onFault(message);
  }

  debug() {}

  info(component, message) {
    if (message === 'SEV') this.onEvent();
  }

  warn(component, message) {
    this.note('warn', component, message);
  }

  error(component, message) {
    this.note('error', component, message);
  }
}

/// Exceptions: entry takes time, sleep ends by the rules of the core, BKPT and UDF fault.
///
/// The emulator enters a handler out of WFI although PRIMASK is set, does not wake for SysTick,
/// counts no cycles for an entry, and goes on at an odd address. `watch.enter(number)` and `watch.leave()` are told of
/// every exception.
export function correctExceptions(chip, logger, watch) {
  const { core } = chip;
  const enter = core.exceptionEntry.bind(core);
  core.exceptionEntry = (number) => {
    watch.enter(number);
    enter(number);
    // The vector's lowest bit says Thumb; it is no part of the address. Left there, every sum with
    // the program counter in the handler is one too large, such as that of a table of jumps.
    core.PC &= ~1;
    core.cycles += ENTRY_CYCLES;
  };
  const leave = core.exceptionReturn.bind(core);
  core.exceptionReturn = (code) => {
    leave(code);
    watch.leave();
  };
  core.setInterrupt = (irq, value) => {
    const bit = 1 << irq;
    if (value && !(core.pendingInterrupts & bit)) {
      core.pendingInterrupts |= bit;
      core.interruptsUpdated = true;
    } else if (!value) {
      core.pendingInterrupts &= ~bit;
    }
  };
  logger.onEvent = () => {
    core.eventRegistered = true;
  };
  chip.onBreak = () => {
    core.PC -= core.breakRewind;
    watch.fault('breakpoint or undefined instruction');
  };
  logger.onFault = (message) => watch.fault(message);
}

/// Whether something is pending that ends WFE or WFI.
export function mayWake(core) {
  return (
    (core.pendingInterrupts & core.enabledInterrupts) !== 0 ||
    core.pendingSystick ||
    core.pendingPendSV ||
    core.pendingNMI
  );
}

/// Enters HardFault, as the core does at the end of the instruction that went wrong.
export function hardFault(core) {
  core.exceptionEntry(HARD_FAULT);
}

/// SPI: a byte takes its bits over the clock rate. The emulator takes no time.
export function connectSpi(chip, spi, exchange) {
  let reply = 0;
  const done = chip.clock.createAlarm(() => spi.completeTransmit(reply));
  spi.onTransmit = (word) => {
    reply = exchange(word);
    done.schedule((spi.dataBits / spi.clockFrequency) * 1e9);
  };
}

/// SPI mode 0 to 3 as set in SSPCR0 (SPO bit 6, SPH bit 7).
export function spiMode(spi) {
  return ((spi.control0 >> 6) & 1) * 2 + ((spi.control0 >> 7) & 1);
}

/// Watchdog: its alarm re-arms with no delay and would freeze the run, so it is switched off
/// before `onReset` is told.
export function correctWatchdog(chip, onReset) {
  const watchdog = chip.peripherals[WATCHDOG];
  watchdog.onWatchdogTrigger = () => {
    watchdog.alarm.enable = false;
    watchdog.timer.enable = false;
    onReset({ reason: watchdog.reason, scratch: Uint32Array.from(watchdog.scratchData) });
  };
}

/// Puts into a new chip what the watchdog keeps over a reset.
export function restoreWatchdog(chip, { reason, scratch }) {
  const watchdog = chip.peripherals[WATCHDOG];
  watchdog.reason = reason;
  watchdog.scratchData.set(scratch);
}

/// What the chip says of its last reset but the watchdog's: bits of CHIP_RESET (RP2040 datasheet
/// 2.12.8), which the emulator does not have.
export const RESET_BY = { power: 1 << 8, pin: 1 << 16, probe: 1 << 20 };

/// Gives the chip that register.
export function correctChipReset(chip, bits) {
  const block = chip.peripherals[VREG_AND_CHIP_RESET];
  block.readUint32 = (offset) => (offset === 8 ? bits : 0);
}

/// Timer alarms: the emulator fires up to 1 us early.
export function correctTimer(chip) {
  const timer = chip.peripherals[TIMER];
  const write = timer.writeUint32.bind(timer);
  timer.writeUint32 = (offset, value) => {
    write(offset, value);
    if (offset < ALARM_FIRST || offset > ALARM_LAST) return;
    const alarm = timer.alarms[(offset - ALARM_FIRST) / 4];
    const nanos = chip.clock.nanos;
    const now = Math.floor(nanos / 1000);
    const whole = (value - (now % 2 ** 32)) >>> 0;
    alarm.clockAlarm.schedule((now + whole) * 1000 - nanos);
  };
}

/// DMA: the sniffer, which the emulator does not have, as far as a byte-wide channel and
/// CRC-16-CCITT go (RP2040 data sheet, 2.5.5.2 and SNIFF_CTRL). It works on each byte that the
/// channel reads, and on none without both enables. Anything else it is set to is a fault.
export function correctSniffer(chip) {
  const { dma } = chip;
  const [CONTROL, DATA] = [0x434, 0x438];
  const [ENABLE, CHANNEL_SHIFT, CHANNEL_MASK, CRC_16_CCITT] = [1, 1, 0xf, 2 << 5];
  const SNIFFED = 1 << 23;
  let control = 0;
  let data = 0;
  const read = dma.readUint32.bind(dma);
  const write = dma.writeUint32.bind(dma);
  dma.readUint32 = (offset) => (offset === CONTROL ? control : offset === DATA ? data : read(offset));
  dma.writeUint32 = (offset, value) => {
    if (offset === CONTROL) {
      control = value & 0xfff;
      const odd = control & ENABLE && (control & ~(ENABLE | (CHANNEL_MASK << CHANNEL_SHIFT))) !== CRC_16_CCITT;
      if (odd) chip.logger.error('DMA', `sniffer control ${value.toString(16)} is not implemented yet`);
    } else if (offset === DATA) {
      data = value >>> 0;
    } else {
      write(offset, value);
    }
  };
  for (const channel of dma.channels) {
    channel.transfer8 = () => {
      const byte = chip.readUint8(channel.readAddr);
      chip.writeUint8(channel.writeAddr, byte);
      const listens = control & ENABLE && ((control >> CHANNEL_SHIFT) & CHANNEL_MASK) === channel.index;
      if (!listens || !(channel.ctrl & SNIFFED)) return;
      let crc = (data & 0xffff) ^ ((byte & 0xff) << 8);
      for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : crc << 1;
      data = crc;
    };
    // It keeps the function that it took when it was made.
    channel.transferFn = channel.transfer8;
  }
}

/// Memory: plain words of RAM are looked up first. The emulator looks for a peripheral before
/// every write, which costs a tenth of the time of a run. Same results, and a word written to
/// an odd place is a fault, as its reading is.
export function shortenMemoryPath(chip) {
  const { core, sramView } = chip;
  const limit = sramView.byteLength - 3;
  core.readUint32 = (address) => {
    const at = address - RAM;
    return at >= 0 && at < limit && (at & 3) === 0 ? sramView.getUint32(at, true) : chip.readUint32(address);
  };
  core.writeUint32 = (address, value) => {
    const at = address - RAM;
    if (at >= 0 && at < limit && (at & 3) === 0) {
      sramView.setUint32(at, value, true);
      return;
    }
    if (address & 3) chip.logger.error('RP2040', `write to ${address.toString(16)}, which is not 32 bit aligned`);
    chip.writeUint32(address, value);
  };
}

/// A pad's input: the emulator latches an edge each time a level is set, also the same level.
export function inputPin(chip, index) {
  const pin = chip.gpio[index];
  let level = null;
  return (high) => {
    if (high === level) return;
    level = high;
    pin.setInputValue(high);
  };
}
