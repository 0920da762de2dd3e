// A host that pulls, on the emulated board: says hello, asks for batches, keeps what comes. Only
// simulated time passes: what comes of a run does not depend on the machine.

import { AdcChip, CodeFile } from './adc-chip.mjs';
import { mains } from './footprint.mjs';
import { Replies, frame, hello, pull } from './link.mjs';
import { Machine } from './machine.mjs';
import { NorChip } from './nor-chip.mjs';
import { UsbHost } from './usb-host.mjs';

/// Records in one request, as in host/src/client.
export const BATCH = 64;
const SLICE_NANOS = 1e6;
/// A device must be set up and open within this, from power-on.
const OPEN_NANOS = 10e9;
/// An answer to hello, with a slow sector erase before it.
const HELLO_NANOS = 2e9;
/// A pull of the whole flash takes some 15 s.
const PULL_NANOS = 120e9;

/// A board in a receptacle of 120 V; `options` are those of Machine. It has not run yet.
export function board(elf, norFile, options = {}) {
  let machine = null;
  const nor = new NorChip(norFile, () => machine?.nanos ?? 0);
  const log = options.log ?? ((text) => process.stderr.write(`emulator: ${text}\n`));
  const adc = options.adc ?? new AdcChip(new CodeFile(mains(), 'repeat'));
  machine = new Machine({ elf, adc, nor, host: new UsbHost(), log, ...options });
  machine.host.onError = (text) => {
    throw new Error(text);
  };
  return machine;
}

/// Runs until `done()`, at most `nanos` longer.
export function until(machine, nanos, done, what) {
  const last = machine.nanos + nanos;
  while (!done()) {
    if (machine.nanos >= last) throw new Error(`${what}: not within ${nanos / 1e9} simulated seconds`);
    machine.run(machine.nanos + SLICE_NANOS);
  }
}

export class PullClient {
  constructor(machine) {
    this.machine = machine;
    this.host = machine.host;
    this.sequence = 0;
    this.reset();
    this.host.onBytes = (packet) => this.take(packet);
  }

  reset() {
    this.replies = new Replies();
    this.bytes = 0;
    /// Frames that were not whole.
    this.damaged = 0;
    this.lastAt = this.machine.nanos;
    this.onReply = () => {};
  }

  take(packet) {
    this.bytes += packet.length;
    this.lastAt = this.machine.nanos;
    for (const reply of this.replies.push(packet)) this.onReply(reply);
    this.damaged += this.replies.damaged;
    this.replies.damaged = 0;
  }

  /// Opens the port and waits until the device knows.
  open() {
    this.host.setOpen(true);
    until(this.machine, OPEN_NANOS, () => this.host.isOpen, 'the port opens');
    this.reset();
  }

  /// Shuts the port, and gives the device time to see it.
  shut() {
    this.host.setOpen(false);
    this.machine.run(this.machine.nanos + 5e6);
  }

  /// Says hello, after a zero that ends whatever half frame the tester holds.
  greet() {
    let isGreeted = false;
    const sequence = ++this.sequence;
    this.onReply = (reply) => {
      isGreeted ||= reply.sequence === sequence && reply.other !== undefined;
    };
    this.host.send(Uint8Array.of(0));
    this.host.send(hello(sequence));
    until(this.machine, HELLO_NANOS, () => isGreeted, 'hello');
  }

  /// Asks one request (a message behind its sequence number) and returns the reply.
  ask(request, what = 'an answer') {
    let answer = null;
    const sequence = ++this.sequence;
    this.onReply = (reply) => {
      if (reply.sequence === sequence) answer ??= reply;
    };
    this.host.send(frame([sequence & 0x7f | (sequence > 0x7f ? 0x80 : 0), ...(sequence > 0x7f ? [sequence >> 7] : []), ...request]));
    until(this.machine, HELLO_NANOS, () => answer !== null, what);
    return answer;
  }

  /// Sends the request for a batch; what comes is up to `onReply`.
  request(from, limit = BATCH) {
    this.host.send(pull(++this.sequence, from, limit));
    return this.sequence;
  }

  /// Pulls every record. `meanwhile()` is called after each batch.
  pullAll() {
    const records = [];
    let next = 1;
    let got = 0;
    let isOver = false;
    this.bytes = 0;
    const from = this.machine.nanos;
    let asked = 0;
    this.onReply = (reply) => {
      if (reply.sequence !== asked) return;
      if (reply.record !== undefined) {
        records.push(reply.record);
        next = reply.record.number + 1;
        got++;
      } else if (reply.end !== undefined) {
        isOver = got < BATCH;
        got = 0;
        if (!isOver) asked = this.request(next);
      } else {
        throw new Error(`the image answers a pull with reply ${reply.other}`);
      }
    };
    asked = this.request(next);
    until(this.machine, PULL_NANOS, () => isOver, 'the end of a pull');
    return { records, bytes: this.bytes, seconds: (this.lastAt - from) / 1e9 };
  }
}

/// Whether two pulls brought the same.
export function same(one, other) {
  return (
    one.length === other.length &&
    one.every(({ number, bytes }, index) => number === other[index].number && Buffer.compare(Buffer.from(bytes), Buffer.from(other[index].bytes)) === 0)
  );
}

/// Records as a file: for each its number and length as little-endian u32, and its bytes.
export function recordsFile(records) {
  const parts = records.map(({ number, bytes }) => {
    const head = Buffer.alloc(8);
    head.writeUInt32LE(number, 0);
    head.writeUInt32LE(bytes.length, 4);
    return Buffer.concat([head, bytes]);
  });
  return Buffer.concat(parts);
}
