// An SSD1306 display of 128 by 64 points at the level of its commands (data sheet rev. 1.1, command
// table, from memory).
//
// A transfer begins with a control byte: 00 commands follow, 40 data for its memory. Its memory
// outlives every reset of the board, as the part's does. What a driver should never send is
// counted in `oddities`.

export const ADDRESS = 0x3c;
export const WIDTH = 128;
export const HEIGHT = 64;
const PAGES = HEIGHT / 8;
/// Arguments of the commands that have any.
const ARGUMENTS = { 0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8d: 1, 0xa8: 1, 0xd3: 1, 0xd5: 1, 0xd9: 1, 0xda: 1, 0xdb: 1 };
/// Commands that change nothing of the picture: contrast, clock, pins, precharge, level, no
/// scrolling, nothing, start line 0.
const QUIET = [0x81, 0xd5, 0xd9, 0xda, 0xdb, 0x2e, 0xe3, 0x40];

export class DisplayChip {
  constructor() {
    this.address = ADDRESS;
    /// Full of anything at power-on.
    this.memory = Uint8Array.from({ length: WIDTH * PAGES }, (_, index) => (index * 37) % 251);
    Object.assign(this, { on: false, pump: false, inverted: false, allLit: false, columnsTurned: false, rowsTurned: false });
    this.horizontal = false;
    this.columns = [0, WIDTH - 1];
    this.pages = [0, PAGES - 1];
    this.column = 0;
    this.page = 0;
    this.command = [];
    this.oddities = new Map();
    this.statistics = { commands: 0, dataBytes: 0, litAt: null, puts: 0 };
  }

  odd(what) {
    this.oddities.set(what, (this.oddities.get(what) ?? 0) + 1);
  }

  start(now) {
    this.now = now;
    this.follows = null;
  }

  write(byte) {
    if (this.follows === null) {
      this.follows = byte;
      if (byte !== 0x00 && byte !== 0x40) this.odd(`control byte ${byte.toString(16)}`);
    } else if (this.follows === 0x40) {
      this.data(byte);
    } else {
      this.command.push(byte);
      if (this.command.length > (ARGUMENTS[this.command[0]] ?? 0)) this.obey(...this.command.splice(0));
    }
    return true;
  }

  read() {
    return this.on ? 0x00 : 0x40;
  }

  stop() {
    if (this.command.length > 0) this.odd(`command ${this.command.splice(0)[0].toString(16)} cut short`);
  }

  data(byte) {
    this.statistics.dataBytes++;
    this.memory[this.page * WIDTH + this.column] = byte;
    if (!this.horizontal) {
      this.column = (this.column + 1) % WIDTH;
    } else if (this.column !== this.columns[1]) {
      this.column++;
    } else {
      this.column = this.columns[0];
      this.page = this.page === this.pages[1] ? this.pages[0] : this.page + 1;
    }
  }

  obey(command, first, last) {
    this.statistics.commands++;
    if (command === 0x20) this.horizontal = this.must(first === 0 || first === 2, command) && first === 0;
    else if (command === 0x21 && this.must(first <= last && last < WIDTH, command)) [this.columns, this.column] = [[first, last], first];
    else if (command === 0x22 && this.must(first <= last && last < PAGES, command)) [this.pages, this.page] = [[first, last], first];
    else if (command === 0x8d) this.pump = (first & 4) !== 0;
    else if (command === 0xa8) this.must(first === HEIGHT - 1, command);
    else if (command === 0xd3) this.must(first === 0, command);
    else if (command <= 0x0f) this.column = (this.column & 0x70) | command;
    else if (command <= 0x17) this.column = (this.column & 0x0f) | ((command & 7) << 4);
    else if (command >= 0xb0 && command <= 0xb7) this.page = command & 7;
    else if (command === 0xa0 || command === 0xa1) this.columnsTurned = command === 0xa1;
    else if (command === 0xc0 || command === 0xc8) this.rowsTurned = command === 0xc8;
    else if (command === 0xa4 || command === 0xa5) this.allLit = command === 0xa5;
    else if (command === 0xa6 || command === 0xa7) this.inverted = command === 0xa7;
    else if (command === 0xae || command === 0xaf) this.power(command === 0xaf);
    else this.must(QUIET.includes(command) || command === 0x21 || command === 0x22, command);
  }

  power(on) {
    this.on = on;
    if (on) this.statistics.litAt ??= this.now / 1e6;
    else this.statistics.puts++;
  }

  must(holds, command) {
    if (!holds) this.odd(`command ${command.toString(16)}`);
    return holds;
  }

  /// What a person sees, a string of 0 and 1 a row; all dark while it is off.
  picture() {
    const lit = (row, column) => {
      const x = this.columnsTurned ? column : WIDTH - 1 - column;
      const y = this.rowsTurned ? row : HEIGHT - 1 - row;
      const bit = ((this.memory[(y >> 3) * WIDTH + x] >> (y & 7)) & 1) === 1;
      return this.on && this.pump && (this.allLit || bit !== this.inverted);
    };
    return Array.from({ length: HEIGHT }, (_, row) => Array.from({ length: WIDTH }, (_, column) => (lit(row, column) ? '1' : '0')).join(''));
  }

  report() {
    return { ...this.statistics, on: this.on && this.pump, oddities: Object.fromEntries(this.oddities), picture: this.picture() };
  }
}
