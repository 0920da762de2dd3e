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

  /// How far the firmware has written into the channel's buffer.
  written(chip) {
    return this.block === undefined ? 0 : chip.sramView.getUint32(this.block - 0x20000000 + CHANNEL + 12, true);
  }

  /// Makes the buffer full, and asks the firmware to wait until it is read (flags 2).
  jam(chip) {
    const channel = this.channel(chip);
    if (channel === null) return;
    chip.sramView.setUint32(channel.base + 16, (channel.write + 1) % channel.size, true);
    chip.sramView.setUint32(channel.base + 20, 2, true);
  }

  /// Takes what is new from `chip`'s RAM.
  drain(chip) {
    const channel = this.channel(chip);
    if (channel === null || channel.write === channel.read) return new Uint8Array(0);
    const { base, buffer, size, write, read } = channel;
    const taken =
      read < write
        ? chip.sram.slice(buffer + read, buffer + write)
        : Uint8Array.from([...chip.sram.slice(buffer + read, buffer + size), ...chip.sram.slice(buffer, buffer + write)]);
    chip.sramView.setUint32(base + 16, write, true);
    return taken;
  }

  /// The channel as it stands in RAM; null before the program has set its RAM up.
  channel(chip) {
    if (this.block === undefined) return null;
    const ram = chip.sramView;
    const base = this.block - 0x20000000 + CHANNEL;
    const [buffer, size, write, read] = [4, 8, 12, 16].map((at) => ram.getUint32(base + at, true));
    const from = buffer - 0x20000000;
    if (size === 0 || size > 0x10000 || from < 0 || from + size > chip.sram.length) return null;
    return write < size && read < size ? { base, buffer: from, size, write, read } : null;
  }
}
