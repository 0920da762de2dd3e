// The side bus: I2C0 of the emulated chip with a clock chip and a display on it, as far as they are
// there.
//
// rp2040js calls out for a start, an address, each byte and a stop, and takes no time for any of
// it; here each takes its bits at the clock rate that the image has set. The bus may be held low
// by a part that was cut off in the middle of a byte: `stuckClocks` clocks of SCL free it.

import { inputPin } from './corrections.mjs';

export const SDA = 0;
export const SCL = 1;
const BITS_A_BYTE = 9;
/// Registers that the emulator has no storage for.
const SDA_HOLD = 0x7c;
const READ = 1;
/// What the emulator calls a pin that is driven low.
const LOW = 0;

export class I2cBus {
  /// `parts`: objects with `address`, `start(now)`, `write(byte)` (false = not taken), `read()`,
  /// `stop(now)`. `stuckClocks`: 0 = free, Infinity = held for good. `now()`: nanoseconds.
  constructor(parts, now, stuckClocks = 0) {
    this.parts = parts;
    this.now = now;
    this.stuckClocks = stuckClocks;
    this.statistics = { transfers: 0, bytes: 0, unanswered: 0, clearClocks: 0 };
  }

  /// Wires the bus to a chip that has just been made.
  attach(chip) {
    const i2c = chip.i2c[0];
    correctStorage(i2c);
    const wait = chip.clock.createAlarm(() => this.then());
    const after = (bits, act) => {
      this.then = act;
      wait.schedule(bits * bitNanos(chip, i2c));
    };
    let part = null;
    const end = () => {
      part?.stop(this.now());
      part = null;
    };
    i2c.onStart = () => after(1, () => i2c.completeStart());
    i2c.onConnect = (address, mode) => {
      end();
      part = this.stuckClocks > 0 ? null : (this.parts.find((one) => one.address === address) ?? null);
      this.statistics.transfers++;
      if (part === null) this.statistics.unanswered++;
      part?.start(this.now(), mode === READ);
      const answers = part !== null;
      after(BITS_A_BYTE, () => i2c.completeConnect(answers));
    };
    i2c.onWriteByte = (byte) => {
      this.statistics.bytes++;
      const taken = part?.write(byte) ?? false;
      after(BITS_A_BYTE, () => i2c.completeWrite(taken));
    };
    i2c.onReadByte = () => {
      this.statistics.bytes++;
      const byte = part?.read() ?? 0xff;
      after(BITS_A_BYTE, () => i2c.completeRead(byte));
    };
    i2c.onStop = () => {
      end();
      after(1, () => i2c.completeStop());
    };
    const sda = inputPin(chip, SDA);
    const scl = inputPin(chip, SCL);
    scl(true);
    sda(this.stuckClocks === 0);
    // A part in the middle of a byte counts clocks that the image makes by hand.
    chip.gpio[SCL].addListener((state) => {
      if (state !== LOW || this.stuckClocks === 0) return;
      this.statistics.clearClocks++;
      this.stuckClocks--;
      if (this.stuckClocks === 0) sda(true);
    });
  }

  report() {
    return { ...this.statistics, stuck: this.stuckClocks > 0 };
  }
}

/// Nanoseconds of a bit, by the counts that the image has set, in cycles of the system clock.
function bitNanos(chip, i2c) {
  return ((i2c.sclLowPeriod + i2c.sclHighPeriod) / chip.clkSys) * 1e9;
}

/// The hold time is kept, not complained of; nothing here depends on it.
function correctStorage(i2c) {
  const write = i2c.writeUint32.bind(i2c);
  i2c.writeUint32 = (offset, value) => {
    if (offset !== SDA_HOLD) write(offset, value);
  };
}
