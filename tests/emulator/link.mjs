// The host's end of the link, as far as a pull needs it: requests into frames, frames into replies.
//
// One message travels as COBS(postcard(message) ++ CRC-32/ISO-HDLC, little-endian) ++ 00
// (shared-core/src/link/). Places of the variants are those of `Request` and `Reply` there.

const HELLO = 0;
const PULL = 2;
const RECORD = 2;
const PULL_END = 3;
const PROTOCOL = 1;
const SCHEMA = 1;

const TABLE = Uint32Array.from({ length: 256 }, (_, byte) => {
  let crc = byte;
  for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  return crc;
});

/// CRC-32/ISO-HDLC.
export function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (crc >>> 8) ^ TABLE[(crc ^ byte) & 0xff];
  return ~crc >>> 0;
}

/// A whole number as postcard writes it.
function varint(value) {
  const bytes = [];
  for (; value >= 0x80; value = Math.floor(value / 0x80)) bytes.push((value % 0x80) | 0x80);
  bytes.push(value);
  return bytes;
}

function cobs(bytes) {
  const out = [];
  let block = [];
  const close = () => {
    out.push(block.length + 1, ...block);
    block = [];
  };
  for (const byte of bytes) {
    if (byte === 0) close();
    else {
      block.push(byte);
      if (block.length === 254) close();
    }
  }
  close();
  return out;
}

function uncobs(bytes) {
  const out = [];
  for (let at = 0; at < bytes.length; ) {
    const code = bytes[at];
    if (at + code > bytes.length) return null;
    for (let index = 1; index < code; index++) out.push(bytes[at + index]);
    at += code;
    if (code < 255 && at < bytes.length) out.push(0);
  }
  return Uint8Array.from(out);
}

/// A message as a frame.
export function frame(message) {
  const check = crc32(message);
  return Uint8Array.from([...cobs([...message, check & 0xff, (check >>> 8) & 0xff, (check >>> 16) & 0xff, check >>> 24]), 0]);
}

/// The first request of a program.
export function hello(sequence) {
  return frame([...varint(sequence), HELLO, ...varint(PROTOCOL), ...varint(SCHEMA)]);
}

/// The records from number `from` on, at most `limit`.
export function pull(sequence, from, limit) {
  return frame([...varint(sequence), PULL, ...varint(from), ...varint(limit)]);
}

class Bytes {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0;
  }

  number() {
    let value = 0;
    for (let scale = 1; ; scale *= 0x80) {
      if (this.at >= this.bytes.length) throw new Error('link: a message is cut short');
      const byte = this.bytes[this.at++];
      value += (byte & 0x7f) * scale;
      if (byte < 0x80) return value;
    }
  }
}

/// Collects bytes into replies: { sequence, record: { number, bytes } }, { sequence, end: next } or
/// { sequence, other: variant }. A frame that is not whole is counted in `damaged`.
export class Replies {
  constructor() {
    this.held = [];
    this.damaged = 0;
  }

  push(bytes) {
    const replies = [];
    for (const byte of bytes) {
      if (byte !== 0) {
        this.held.push(byte);
        continue;
      }
      const reply = this.held.length === 0 ? null : this.open(this.held);
      this.held = [];
      if (reply !== null) replies.push(reply);
    }
    return replies;
  }

  open(held) {
    const body = uncobs(held);
    const message = body?.subarray(0, -4);
    const check = body?.subarray(-4).reduceRight((word, byte) => word * 256 + byte, 0);
    if (body === null || body.length < 4 || crc32(message) !== check) {
      this.damaged++;
      return null;
    }
    const read = new Bytes(message);
    const sequence = read.number();
    const variant = read.number();
    if (variant === RECORD) {
      const number = read.number();
      const length = read.number();
      return { sequence, record: { number, bytes: message.slice(read.at, read.at + length) } };
    }
    return variant === PULL_END ? { sequence, end: read.number() } : { sequence, other: variant };
  }
}
