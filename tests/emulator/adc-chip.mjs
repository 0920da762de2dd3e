// The 4-channel converter (ADS131M04 protocol) at the level of SPI bytes, CS, DRDY and SYNC.
//
// Section and table numbers are those of data sheet SBAS890D. Modelled: 24-bit words in frames
// of six, answer in the next frame, output CRC always and input CRC when switched on, RREG and
// WREG of one register, RESET, the two-deep FIFO of 8.5.1.9.1, test inputs, gain, oversampling
// rate, unsettled conversions after a change, SYNC as reset. Not modelled: 16- and 32-bit
// words, power-down, LOCK, register-map CRC, noise. What the model does not know it counts in
// `oddities`, and a test may demand that there are none.
//
// The chip has no clock of its own: whoever runs it calls `convert()` every `periodNanos`.

export const CHANNELS = 4;
const WORD_BYTES = 3;
export const FRAME_BYTES = (CHANNELS + 2) * WORD_BYTES;
const CLOCK_HZ = 8_192_000;
/// Oversampling ratios of CLOCK bits 4:2 (Table 8-17; code 7 is contradictory there, not used).
const RATIOS = [128, 256, 512, 1024, 2048, 4096, 8192];
const CODE_MAX = 0x7fffff;
const CODE_MIN = -0x800000;
/// The test inputs are 2/15 of full scale (8.3.9).
const TEST_CODE = Math.round((2 / 15) * 0x800000);
/// Conversions after a change that show a value on its way: the two of the fast filter
/// (8.3.7.1) and one in which the third-order filter settles.
const UNSETTLED = 3;
/// SYNC low for this long is a reset (6.6: 2048 clocks).
const SYNC_RESET_NANOS = (2048 / CLOCK_HZ) * 1e9;

const ID = 0x00;
const STATUS = 0x01;
const MODE = 0x02;
const CLOCK = 0x03;
const GAIN1 = 0x04;
const CHANNEL_CONFIG = [0x09, 0x0e, 0x13, 0x18];
const DEFAULTS = new Map([[ID, 0x2403], [MODE, 0x0510], [CLOCK, 0x0f0e], [GAIN1, 0], [0x06, 0x0600]]);
const REGISTERS = 0x3f;
const RX_CRC_EN = 1 << 12;
const RESET_FLAG = 1 << 10;
const CRC_ERR = 1 << 12;
const F_RESYNC = 1 << 14;

/// CRC-16/IBM-3740 (polynomial 1021, start FFFF).
export function crc16(bytes) {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) {
      crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : (crc << 1) & 0xffff;
    }
  }
  return crc;
}

/// What the inputs see: one row of four codes a conversion, little-endian i32 in a file.
export class CodeFile {
  /// `atEnd`: what follows the last row: 'hold' it, 'zero', or 'repeat' from the first.
  constructor(bytes, atEnd = 'hold') {
    if (bytes.length % (4 * CHANNELS) !== 0) {
      throw new Error(`frames: ${bytes.length} bytes are no whole number of 16-byte rows (four little-endian i32)`);
    }
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    this.rows = bytes.length / (4 * CHANNELS);
    this.atEnd = atEnd;
  }

  row(index) {
    let row = index;
    if (row >= this.rows) {
      if (this.rows === 0 || this.atEnd === 'zero') return [0, 0, 0, 0];
      row = this.atEnd === 'repeat' ? index % this.rows : this.rows - 1;
    }
    return Array.from({ length: CHANNELS }, (_, channel) => this.view.getInt32((row * CHANNELS + channel) * 4, true));
  }
}

export class AdcChip {
  /// `codes`: what the inputs see: `row(index, outputs)` (CodeFile, LiveCodes). `faults`: see `parseFault`.
  constructor(codes, faults = []) {
    this.codes = codes;
    this.faults = faults;
    /// Channel to the code that it is stuck at.
    this.stuck = new Map();
    /// How much faster than it should be its clock is.
    this.clockFactor = 1;
    this.selectMode = 1;
    this.maxClockHz = 25e6;
    /// Called with the level of DRDY when it may have changed.
    this.onDataReady = () => {};
    /// Whether a frame that is read now is a sample, not part of the set-up.
    this.isSampling = () => true;
    /// What the tester drives during the conversion that ends now, as the bits of outputs.mjs.
    this.driven = () => 0;
    this.oddities = new Map();
    this.statistics = {
      conversions: 0, frames: 0, delivered: 0, missed: 0, missedWhileStreaming: 0, firstRow: null, lastRow: null, resets: 0,
    };
    this.row = null;
    this.selected = false;
    this.syncLowSince = null;
    this.received = [];
    this.dead = false;
    this.powerOn();
  }

  powerOn() {
    this.registers = new Uint16Array(REGISTERS);
    for (const [address, value] of DEFAULTS) this.registers[address] = value;
    this.flags = 0;
    this.fifo = [];
    this.answer = null;
    this.unsettled = UNSETTLED;
    this.ready = false;
    this.streaming = false;
    this.unread = false;
  }

  get periodNanos() {
    const ratio = RATIOS[(this.registers[CLOCK] >> 2) & 7] ?? RATIOS[3];
    return ((2 * ratio) / (CLOCK_HZ * this.clockFactor)) * 1e9;
  }

  odd(what) {
    this.oddities.set(what, (this.oddities.get(what) ?? 0) + 1);
  }

  /// One conversion is done: into the FIFO, DRDY falls.
  convert() {
    const index = this.statistics.conversions++;
    for (const fault of this.faults) {
      if (fault.kind === 'restart' && fault.from === index) this.reset();
      if (fault.kind === 'bit' && fault.from === index) this.registers[fault.register] ^= 1 << fault.bit;
    }
    const row = this.row === null ? null : this.row++;
    // The inputs see what they see, whatever becomes of the conversion.
    const outputs = this.driven();
    const seen = row === null ? [0, 0, 0, 0] : this.codes.row(row, outputs);
    this.dead = this.faults.some((fault) => fault.kind === 'dead' && index >= fault.from && index < fault.to);
    if (this.dead) {
      this.powerOn();
      return;
    }
    if (this.faults.some((fault) => fault.kind === 'silent' && index >= fault.from && index < fault.to)) return;
    const codes = seen.map((code, channel) => this.converted(code, channel));
    if (this.unsettled > 0) this.unsettled--;
    if (this.unread) {
      this.statistics.missed++;
      if (this.streaming) this.statistics.missedWhileStreaming++;
    }
    this.unread = true;
    if (this.fifo.length === 2) this.fifo.shift();
    this.fifo.push({ codes, row, damaged: this.faults.some((fault) => fault.kind === 'crc' && index >= fault.from && index < fault.to) });
    // Unread data: DRDY goes high for a moment before it falls again.
    if (this.ready) this.setReady(false);
    this.setReady(true);
  }

  converted(code, channel) {
    if (this.stuck.has(channel)) return this.stuck.get(channel);
    const input = this.registers[CHANNEL_CONFIG[channel]] & 3;
    const gain = 1 << ((this.registers[GAIN1] >> (4 * channel)) & 7);
    if (!((this.registers[CLOCK] >> (8 + channel)) & 1)) return 0;
    let value = [code * gain, 0, TEST_CODE, -TEST_CODE][input];
    if (this.unsettled > 0) value = Math.trunc(value / 2);
    return Math.max(CODE_MIN, Math.min(CODE_MAX, value));
  }

  setReady(ready) {
    this.ready = ready;
    this.onDataReady(!ready);
  }

  /// CS changed: low = selected.
  select(selected, mode, clockHz) {
    if (selected === this.selected) return;
    this.selected = selected;
    if (selected) {
      if (mode !== this.selectMode) this.odd(`SPI mode ${mode} instead of ${this.selectMode}`);
      if (clockHz > this.maxClockHz) this.odd(`SCLK of ${clockHz} Hz`);
      this.received = [];
    } else {
      if (this.dead) return;
      if (this.received.length === FRAME_BYTES) this.execute();
      else if (this.received.length > 0) this.odd(`frame of ${this.received.length} bytes`);
    }
  }

  /// One byte each way.
  exchange(byte) {
    if (!this.selected) {
      this.odd('byte without CS');
      return 0xff;
    }
    if (this.dead) return 0xff;
    if (this.received.length === 0) {
      this.sending = this.compose();
      this.take();
      if (this.ready) this.setReady(this.fifo.length > 0);
    }
    const reply = this.sending[this.received.length] ?? 0;
    this.received.push(byte);
    return reply;
  }

  /// SYNC/RESET changed at `nanos`.
  sync(high, nanos) {
    if (!high) {
      this.syncLowSince ??= nanos;
    } else if (this.syncLowSince !== null) {
      if (nanos - this.syncLowSince >= SYNC_RESET_NANOS) this.reset();
      else this.flags |= F_RESYNC;
      this.syncLowSince = null;
    }
  }

  status() {
    const flags = this.flags | (this.registers[MODE] & RESET_FLAG);
    return flags | (this.registers[MODE] & 0x0b00) | (this.fifo.length > 0 ? 0x0f : 0);
  }

  /// The frame that goes out next: answer, conversions, CRC.
  compose() {
    const word = this.answer ?? this.status();
    if (this.answer === null) this.flags &= ~F_RESYNC;
    const oldest = this.fifo[0];
    const codes = oldest?.codes ?? [0, 0, 0, 0];
    const bytes = [word >> 8, word & 0xff, 0];
    for (const code of codes) bytes.push((code >> 16) & 0xff, (code >> 8) & 0xff, code & 0xff);
    const crc = crc16(bytes);
    bytes.push(crc >> 8, crc & 0xff, 0);
    if (oldest?.damaged) bytes[4] ^= 0x10;
    return bytes;
  }

  /// The host begins to read: the oldest conversion is on its way out.
  take() {
    this.statistics.frames++;
    const oldest = this.fifo.shift();
    this.unread = false;
    if (oldest === undefined) {
      this.streaming = false;
      return;
    }
    if (this.isSampling()) {
      this.statistics.delivered++;
      this.statistics.firstRow ??= oldest.row;
      this.statistics.lastRow = oldest.row;
    }
    // Two answers to NULL in a row: the host is past its set-up.
    this.streaming = this.answer === null;
  }

  /// A whole frame has come in: its command is executed, its answer goes out next.
  execute() {
    const word = (this.received[0] << 8) | this.received[1];
    const isWrite = word >> 13 === 0b011;
    const words = isWrite ? 2 + (word & 0x7f) : 1;
    if (this.registers[MODE] & RX_CRC_EN) {
      const sent = (this.received[words * WORD_BYTES] << 8) | this.received[words * WORD_BYTES + 1];
      const due = crc16(this.received.slice(0, words * WORD_BYTES));
      if (sent === due) this.flags &= ~CRC_ERR;
      else this.flags |= CRC_ERR;
      // A WREG is executed all the same (8.3.13); other damaged commands are not.
      if (sent !== due && !isWrite) {
        this.answer = null;
        return;
      }
    }
    const address = (word >> 7) & 0x3f;
    if (word === 0x0000) {
      this.answer = null;
    } else if (word === 0x0011) {
      this.reset();
      this.answer = 0xff24;
      this.row ??= 0;
    } else if (word >> 13 === 0b101) {
      if (word & 0x7f) this.odd('RREG of more than one register');
      this.answer = address === STATUS ? this.status() : this.registers[address] ?? 0;
    } else if (isWrite) {
      if (word & 0x7f) this.odd('WREG of more than one register');
      this.write(address, (this.received[WORD_BYTES] << 8) | this.received[WORD_BYTES + 1]);
      this.answer = 0x4000 | (address << 7);
    } else {
      this.odd(`command ${word.toString(16)}`);
      this.answer = null;
    }
  }

  write(address, value) {
    if (address === ID || address === STATUS || address >= REGISTERS) {
      this.odd(`write to register ${address.toString(16)}`);
      return;
    }
    if (address === MODE && (value & 0x0300) !== 0x0100) this.odd('word length other than 24 bits');
    this.registers[address] = value;
    if (address !== MODE) this.unsettled = UNSETTLED;
  }

  reset() {
    this.statistics.resets++;
    this.powerOn();
  }
}

/// A fault as the command line gives it: `crc@N[:M]` damages what conversions N up to M send,
/// `restart@N` makes the part lose its settings, `silent@N:M` keeps DRDY still, `dead@N:M` takes
/// its supply away: no answer, MISO high. `bit@N:R.B` turns bit B (0 to 15) of register R
/// (hexadecimal) over.
/// Numbers count conversions since power-on.
export function parseFault(text) {
  const flip = /^bit@(\d+):([0-9a-f]{2})\.(\d|1[0-5])$/.exec(text);
  if (flip !== null && Number.parseInt(flip[2], 16) < REGISTERS) {
    return { kind: 'bit', from: Number(flip[1]), register: Number.parseInt(flip[2], 16), bit: Number(flip[3]) };
  }
  const match = /^(crc|restart|silent|dead)@(\d+)(?::(\d+))?$/.exec(text);
  if (match === null || (['silent', 'dead'].includes(match[1]) && match[3] === undefined)) {
    throw new Error(`fault "${text}" is not one of crc@N, crc@N:M, restart@N, silent@N:M, dead@N:M (conversion numbers), bit@N:R.B (register, bit)`);
  }
  const from = Number(match[2]);
  return { kind: match[1], from, to: match[3] === undefined ? from + 1 : Number(match[3]) };
}
