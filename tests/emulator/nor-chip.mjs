// A 25-series serial NOR flash of 8 MiB at the level of SPI bytes and CS.
//
// Commands: 9F identity, 4B unique number, 05 status, 06/04 write enable and disable, 03 read,
// 02 page program, 20 sector erase of 4 KiB. Programming only clears bits and wraps at the end
// of its 256-byte page; program and erase need write enable, begin when CS rises and take
// 0.4 ms and 45 ms, during which the part answers status only. What a driver should never do
// is counted in `oddities`.
//
// When the power fails meanwhile, a program has done its first bytes and a part of the bits of the
// next, and an erase leaves every byte somewhere between what it was and blank.

import { existsSync, readFileSync, writeFileSync } from 'node:fs';

const PAGE = 256;
const SECTOR = 4096;
export const SIZE = 8 << 20;
const JEDEC_ID = [0xef, 0x40, 0x17];
/// Invented number of this one part.
export const UNIQUE_NUMBER = [0x51, 0x07, 0x3e, 0x00, 0x00, 0x00, 0x00, 0x01];
const PROGRAM_NANOS = 400e3;
const ERASE_NANOS = 45e6;
const BUSY = 1;
const WRITE_ENABLED = 2;
/// What may be wrong with a part: `dead` answers nothing (MISO high), `busy` is never ready, `deaf`
/// takes programs and erases and does neither.
export const FAULTS = ['dead', 'busy', 'deaf'];
/// Bytes after which a command's data begin.
const HEAD = { 0x9f: 1, 0x4b: 5, 0x05: 1, 0x06: 1, 0x04: 1, 0x03: 4, 0x02: 4, 0x20: 4 };

export class NorChip {
  /// `path`: file with the contents, made when it is missing; without one the contents live
  /// for this run. `now()`: nanoseconds since power-on.
  constructor(path, now) {
    this.path = path;
    this.now = now;
    this.selectModes = [0, 3];
    this.maxClockHz = 50e6;
    this.contents = new Uint8Array(SIZE).fill(0xff);
    if (path !== undefined && existsSync(path)) {
      const stored = readFileSync(path);
      if (stored.length !== SIZE) {
        throw new Error(`NOR: ${path} holds ${stored.length} bytes, not ${SIZE}; delete it for a blank chip`);
      }
      this.contents.set(stored);
    }
    this.changed = false;
    /// One of FAULTS.
    this.fault = null;
    /// Called when a program or an erase begins, with its duration.
    this.onBegin = () => {};
    /// What is under way: { from, before, after, began, nanos }.
    this.running = null;
    this.draws = 0x51073e01;
    this.busyUntil = 0;
    this.writeEnabled = false;
    this.selected = false;
    this.received = 0;
    this.oddities = new Map();
    this.statistics = { reads: 0, bytesRead: 0, programs: 0, bytesProgrammed: 0, erases: 0, statusReads: 0 };
  }

  /// Writes the contents to the file, if they changed.
  save() {
    if (this.path === undefined || (!this.changed && existsSync(this.path))) return;
    writeFileSync(this.path, this.contents);
    this.changed = false;
  }

  odd(what) {
    this.oddities.set(what, (this.oddities.get(what) ?? 0) + 1);
  }

  get busy() {
    return this.fault === 'busy' || this.now() < this.busyUntil;
  }

  /// Eight bits that look drawn, the same in every run (xorshift32).
  draw() {
    this.draws ^= this.draws << 13;
    this.draws ^= this.draws >>> 17;
    this.draws ^= this.draws << 5;
    return this.draws & 0xff;
  }

  /// The supply fails and comes back.
  powerCut() {
    if (this.running !== null && this.now() < this.busyUntil) {
      const { from, before, after, began, nanos } = this.running;
      const share = (this.now() - began) / nanos;
      const isErase = nanos === ERASE_NANOS;
      const whole = isErase ? 0 : Math.floor(share * before.length);
      before.forEach((byte, index) => {
        if (index < whole) return;
        const torn = isErase ? (this.draw() < share * 256 ? this.draw() | this.draw() : this.draw() & this.draw()) : index === whole ? this.draw() : 0;
        this.contents[from + index] = (byte & ~torn) | (after[index] & torn);
      });
    }
    this.running = null;
    this.busyUntil = 0;
    this.writeEnabled = false;
    this.selected = false;
    this.received = 0;
  }

  /// Changes the bytes from `from` on, which takes its time.
  begin(from, after, nanos) {
    if (this.fault !== 'deaf') {
      const before = this.contents.slice(from, from + after.length);
      this.running = { from, before, after, began: this.now(), nanos };
      this.contents.set(after, from);
    }
    this.busyUntil = this.now() + nanos;
    this.onBegin(nanos);
  }

  select(selected, mode, clockHz) {
    if (selected === this.selected) return;
    this.selected = selected;
    if (selected) {
      if (!this.selectModes.includes(mode)) this.odd(`SPI mode ${mode}`);
      if (clockHz > this.maxClockHz) this.odd(`SCLK of ${clockHz} Hz`);
      this.received = 0;
      this.command = null;
      this.address = 0;
      this.data = [];
    } else if (this.received > 0) {
      this.finish();
    }
  }

  /// One byte each way.
  exchange(byte) {
    if (!this.selected) {
      this.odd('byte without CS');
      return 0xff;
    }
    if (this.fault === 'dead') return 0xff;
    const at = this.received++;
    if (at === 0) {
      this.command = byte;
      if (!(byte in HEAD)) this.odd(`command ${byte.toString(16)}`);
      this.refused = this.busy && byte !== 0x05;
      if (this.refused && this.fault === null) this.odd(`command ${byte.toString(16)} while busy`);
      return 0xff;
    }
    if (this.refused || !(this.command in HEAD)) return 0xff;
    const data = at - HEAD[this.command];
    if (data < 0) {
      this.address = ((this.address << 8) | byte) & 0xffffff;
      return 0xff;
    }
    switch (this.command) {
      case 0x9f:
        return JEDEC_ID[data] ?? 0xff;
      case 0x4b:
        return UNIQUE_NUMBER[data] ?? 0xff;
      case 0x05:
        return (this.busy ? BUSY : 0) | (this.writeEnabled ? WRITE_ENABLED : 0);
      case 0x03:
        this.statistics.bytesRead++;
        return this.contents[(this.address + data) % SIZE];
      case 0x02:
        this.data.push(byte);
        return 0xff;
      default:
        return 0xff;
    }
  }

  /// CS rises: what takes time begins now.
  finish() {
    if (this.refused || this.received < HEAD[this.command]) {
      if (!this.refused && this.command in HEAD) this.odd(`command ${this.command.toString(16)} cut short`);
      return;
    }
    switch (this.command) {
      case 0x06:
        this.writeEnabled = true;
        break;
      case 0x04:
        this.writeEnabled = false;
        break;
      case 0x03:
        this.statistics.reads++;
        break;
      case 0x05:
        this.statistics.statusReads++;
        break;
      case 0x02:
        if (this.mayChange()) this.program();
        break;
      case 0x20:
        if (this.mayChange()) this.erase();
        break;
    }
  }

  mayChange() {
    if (!this.writeEnabled) {
      this.odd('program or erase without write enable');
      return false;
    }
    if (this.address >= SIZE) {
      this.odd(`address ${this.address.toString(16)} beyond the part`);
      return false;
    }
    this.writeEnabled = false;
    this.changed = true;
    return true;
  }

  program() {
    const page = this.address - (this.address % PAGE);
    const wraps = (this.address % PAGE) + this.data.length > PAGE;
    if (wraps) this.odd('program wrapped in its page');
    const from = wraps ? page : this.address;
    const after = this.contents.slice(from, wraps ? page + PAGE : from + this.data.length);
    this.data.forEach((byte, index) => {
      after[wraps ? (this.address + index) % PAGE : index] &= byte;
    });
    this.statistics.programs++;
    this.statistics.bytesProgrammed += this.data.length;
    this.begin(from, after, PROGRAM_NANOS);
  }

  erase() {
    const sector = this.address - (this.address % SECTOR);
    this.statistics.erases++;
    this.begin(sector, new Uint8Array(SECTOR).fill(0xff), ERASE_NANOS);
  }
}
