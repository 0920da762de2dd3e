// A DS3231 clock chip at the level of its registers (data sheet 19-5170, register map, from memory).
//
// 00 to 06 seconds to years in packed decimals, 0E control, 0F status. A read takes the time that
// stood at its start. The oscillator-stop flag (status bit 7) can only be written down. The chip
// has its own supply: it goes on over every reset of the board.

export const ADDRESS = 0x68;
const REGISTERS = 0x13;
const CONTROL = 0x0e;
const STATUS = 0x0f;
const STOPPED = 0x80;
const SECOND = 1e9;
/// 2000-01-01T00:00:00Z, where it begins without power.
const FIRST = Date.UTC(2000, 0, 1) / 1000;

const packed = (number) => (Math.floor(number / 10) % 10) * 16 + (number % 10);
const unpacked = (byte) => (byte >> 4) * 10 + (byte & 15);

export class RtcChip {
  /// `seconds`: the time at power-on, seconds since 1970; null: never set.
  constructor(seconds) {
    this.address = ADDRESS;
    this.seconds = seconds ?? FIRST;
    this.since = 0;
    this.registers = new Uint8Array(REGISTERS);
    this.registers[CONTROL] = 0x1c;
    this.registers[STATUS] = seconds === null ? 0x88 : 0x08;
    this.pointer = 0;
    this.latched = this.registers.slice();
    this.written = [];
    this.statistics = { reads: 0, settings: 0 };
  }

  /// Its time at `now` nanoseconds since power-on.
  time(now) {
    return this.seconds + Math.floor((now - this.since) / SECOND);
  }

  latch(now) {
    const date = new Date(this.time(now) * 1000);
    this.latched = this.registers.slice();
    this.latched.set([
      packed(date.getUTCSeconds()), packed(date.getUTCMinutes()), packed(date.getUTCHours()), date.getUTCDay() + 1,
      packed(date.getUTCDate()), packed(date.getUTCMonth() + 1), packed(date.getUTCFullYear() % 100),
    ]);
  }

  start(now, isRead) {
    this.hasPointer = isRead;
    this.latch(now);
  }

  write(byte) {
    if (!this.hasPointer) {
      this.pointer = byte % REGISTERS;
      this.hasPointer = true;
    } else {
      this.written.push([this.pointer, byte]);
      this.pointer = (this.pointer + 1) % REGISTERS;
    }
    return true;
  }

  read() {
    this.statistics.reads++;
    const byte = this.latched[this.pointer];
    this.pointer = (this.pointer + 1) % REGISTERS;
    return byte;
  }

  stop(now) {
    const { written } = this;
    this.written = [];
    if (written.length === 0) return;
    this.latch(now);
    for (const [register, byte] of written) {
      if (register <= 6) this.latched[register] = byte;
      else if (register === STATUS) this.registers[STATUS] = (byte & ~STOPPED) | (this.registers[STATUS] & byte & STOPPED);
      else this.registers[register] = byte;
    }
    if (!written.some(([register]) => register <= 6)) return;
    const [second, minute, hour, , day, month, year] = this.latched;
    this.seconds = Date.UTC(2000 + unpacked(year), unpacked(month & 0x1f) - 1, unpacked(day), unpacked(hour & 0x3f), unpacked(minute), unpacked(second)) / 1000;
    this.since = now;
    this.statistics.settings++;
  }

  report(now) {
    return { ...this.statistics, time: this.time(now), stopped: (this.registers[STATUS] & STOPPED) !== 0 };
  }
}
