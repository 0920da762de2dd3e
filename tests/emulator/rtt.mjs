// Drains the firmware's log: channel 0 of the RTT control block in its RAM.
//
// Control block (RTT, first up channel at +24): name, buffer, size, write, read, flags. The
// firmware stores `write`, the reader stores `read`. The bytes are defmt frames, which
// `defmt-print -e slotwise.elf` turns into text.

const CHANNEL = 24;

export class RttReader {
  constructor(elf) {
    this.block = elf.address('_SEGGER_RTT');
  }

  /// Takes what is new from `chip`'s RAM.
  drain(chip) {
    if (this.block === undefined) return new Uint8Array(0);
    const ram = chip.sramView;
    const base = this.block - 0x20000000 + CHANNEL;
    const buffer = ram.getUint32(base + 4, true) - 0x20000000;
    const size = ram.getUint32(base + 8, true);
    const write = ram.getUint32(base + 12, true);
    const read = ram.getUint32(base + 16, true);
    // Before the program has set its RAM up there is no channel.
    if (size === 0 || size > 0x10000 || buffer < 0 || buffer + size > chip.sram.length) return new Uint8Array(0);
    if (write >= size || read >= size || write === read) return new Uint8Array(0);
    const taken =
      read < write
        ? chip.sram.slice(buffer + read, buffer + write)
        : Uint8Array.from([...chip.sram.slice(buffer + read, buffer + size), ...chip.sram.slice(buffer, buffer + write)]);
    ram.setUint32(base + 16, write, true);
    return taken;
  }
}
