// Codes from a circuit that runs in another process and knows what the tester drives.
//
// Two named pipes. For every conversion one request of 8 bytes: the row as a little-endian u32,
// the levels of the tester's outputs during it as a u32 of bits (outputs.mjs). The answer is a
// row of a file of frames: four little-endian i32 codes. Rows rise; a row that nobody needs is
// left out. The run waits for the answer: what comes of it does not depend on who is faster.

import { closeSync, openSync, readSync, writeSync } from 'node:fs';

import { CHANNELS } from './adc-chip.mjs';

export class LiveCodes {
  /// Opens the pipe for the requests, then the one for the answers; waits until the circuit has
  /// opened the other ends, in the same order.
  constructor(requests, answers) {
    this.requests = openSync(requests, 'w');
    this.answers = openSync(answers, 'r');
    this.request = Buffer.alloc(8);
    this.answer = Buffer.alloc(4 * CHANNELS);
  }

  row(index, outputs) {
    this.request.writeUInt32LE(index, 0);
    this.request.writeUInt32LE(outputs, 4);
    writeSync(this.requests, this.request);
    let filled = 0;
    while (filled < this.answer.length) {
      const count = readSync(this.answers, this.answer, filled, this.answer.length - filled, null);
      if (count === 0) throw new Error(`the circuit ended before it answered row ${index}`);
      filled += count;
    }
    return Array.from({ length: CHANNELS }, (_, channel) => this.answer.readInt32LE(4 * channel));
  }

  close() {
    closeSync(this.requests);
    closeSync(this.answers);
  }
}
