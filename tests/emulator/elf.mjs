// Reads a 32-bit little-endian ELF file: what goes where in memory, and where symbols stand.
//
// Knows ELF only (System V ABI, chapters 4 and 5). Used by the emulator, which loads segments,
// and by the UF2 writer, which needs their load addresses in flash.

const HEADER_BYTES = 52;
const PROGRAM_HEADER_BYTES = 32;
const SECTION_HEADER_BYTES = 40;
const SYMBOL_BYTES = 16;
const PT_LOAD = 1;
const SHT_SYMTAB = 2;
const EM_ARM = 40;

/// The program as it stands in the file.
export class Elf {
  /// `bytes`: the whole file. Throws with a plain message if it is not such a file.
  constructor(bytes) {
    const data = new Uint8Array(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const view = new DataView(data.buffer, data.byteOffset, data.byteLength);
    if (data.length < HEADER_BYTES || view.getUint32(0, false) !== 0x7f454c46) {
      throw new Error('ELF: the file does not start with 7F "ELF"; give the .elf, not the .uf2');
    }
    if (data[4] !== 1 || data[5] !== 1 || view.getUint16(18, true) !== EM_ARM) {
      throw new Error('ELF: not a 32-bit little-endian Arm program; was it built for the desktop?');
    }
    this.entry = view.getUint32(24, true);
    this.segments = readSegments(data, view);
    this.symbols = readSymbols(data, view);
    /// The compiler, as it signs in the .comment section: "rustc 1.95.0"; null if it does not.
    this.compiler = readCompiler(data, view);
  }

  /// Address of a symbol, bit 0 (the Thumb mark) cleared; undefined if there is none.
  address(name) {
    const symbol = this.symbols.get(name);
    return symbol === undefined ? undefined : (symbol.value & ~1) >>> 0;
  }

  /// Address of a symbol that must be there.
  require(name) {
    const address = this.address(name);
    if (address === undefined) {
      throw new Error(`ELF: no symbol ${name}; build the image with firmware/rp2040/build.sh`);
    }
    return address;
  }

  /// Bytes in flash (all that is stored) and in RAM (initialised and zeroed data, code in RAM).
  footprint(ramStart = 0x20000000) {
    let flash = 0;
    let ram = 0;
    for (const segment of this.segments) {
      flash += segment.bytes.length;
      if (segment.virtualAddress >= ramStart) ram += segment.memoryBytes;
    }
    return { flash, ram };
  }
}

function readSegments(data, view) {
  const offset = view.getUint32(28, true);
  const size = view.getUint16(42, true);
  const count = view.getUint16(44, true);
  const segments = [];
  for (let index = 0; index < count; index++) {
    const at = offset + index * size;
    if (size < PROGRAM_HEADER_BYTES || at + size > data.length) {
      throw new Error(`ELF: program header ${index} stands beyond the end of the file`);
    }
    if (view.getUint32(at, true) !== PT_LOAD) continue;
    const from = view.getUint32(at + 4, true);
    const fileBytes = view.getUint32(at + 16, true);
    const memoryBytes = view.getUint32(at + 20, true);
    if (from + fileBytes > data.length) {
      throw new Error(`ELF: segment ${index} stands beyond the end of the file: it was cut off`);
    }
    if (memoryBytes === 0) continue;
    segments.push({
      virtualAddress: view.getUint32(at + 8, true),
      loadAddress: view.getUint32(at + 12, true),
      memoryBytes,
      bytes: data.subarray(from, from + fileBytes),
    });
  }
  return segments.sort((a, b) => a.loadAddress - b.loadAddress);
}

/// The section headers, with their names.
function readSections(data, view) {
  const offset = view.getUint32(32, true);
  const size = view.getUint16(46, true);
  const count = view.getUint16(48, true);
  const sections = [];
  for (let index = 0; index < count; index++) {
    const at = offset + index * size;
    if (size < SECTION_HEADER_BYTES || at + size > data.length) {
      throw new Error(`ELF: section header ${index} stands beyond the end of the file`);
    }
    sections.push({
      nameAt: view.getUint32(at, true),
      type: view.getUint32(at + 4, true),
      from: view.getUint32(at + 16, true),
      bytes: view.getUint32(at + 20, true),
      link: view.getUint32(at + 24, true),
    });
  }
  const names = sections[view.getUint16(50, true)];
  for (const section of sections) {
    section.name = names === undefined ? '' : text(data, names.from + section.nameAt);
  }
  return sections;
}

function readSymbols(data, view) {
  const symbols = new Map();
  const sections = readSections(data, view);
  for (const table of sections) {
    if (table.type !== SHT_SYMTAB) continue;
    const names = sections[table.link];
    for (let at = table.from; at < table.from + table.bytes; at += SYMBOL_BYTES) {
      const name = text(data, names.from + view.getUint32(at, true));
      if (name === '' || name.startsWith('$')) continue;
      symbols.set(name, { value: view.getUint32(at + 4, true), size: view.getUint32(at + 8, true) });
    }
  }
  return symbols;
}

function readCompiler(data, view) {
  const comment = readSections(data, view).find(({ name }) => name === '.comment');
  if (comment === undefined) return null;
  const signed = Buffer.from(data.subarray(comment.from, comment.from + comment.bytes)).toString('utf8');
  const match = /rustc version (\d+\.\d+\.\d+)/.exec(signed);
  return match === null ? null : `rustc ${match[1]}`;
}

function text(data, from) {
  const end = data.indexOf(0, from);
  return Buffer.from(data.buffer, data.byteOffset + from, end - from).toString('utf8');
}
