// The six pins of the tester's own currents, as the circuit around the board sees them.
//
// Pins as in firmware/rp2040/src/board.rs. A probe is held only while its pump's pin moves: the
// charge pump behind it stands for a millisecond after an edge, so a pin that stands still, high
// or low, opens the probe. What the relays themselves need, and what the receptacle does with
// it, is the business of whoever gives the converter's codes: `bits` tells him.

/// Order of the bits: 1 for the first, 2, 4, 8, 16, 32.
export const OUTPUT_PINS = { probePump: 8, probeHold: 9, driveGround: 14, driveClip: 22, tone: 26, driveRaise: 27 };
const NAMES = Object.keys(OUTPUT_PINS);
/// The charge pump holds for this long after an edge.
const PUMP_NANOS = 1e6;
/// What the emulator calls a pin that is driven high.
const HIGH = 1;

export class Outputs {
  /// `now()`: nanoseconds since power-on.
  constructor(now) {
    this.now = now;
    this.levels = Object.fromEntries(NAMES.map((name) => [name, false]));
    this.edges = Object.fromEntries(NAMES.map((name) => [name, 0]));
    this.pumpedAt = -Infinity;
    this.conversions = { probe: 0, driveToGround: 0, driveToClip: 0 };
  }

  /// Takes the pins of a chip that has just been made: undriven, so low.
  attach(chip) {
    for (const name of NAMES) {
      this.set(name, false);
      chip.gpio[OUTPUT_PINS[name]].addListener((state) => this.set(name, state === HIGH));
    }
  }

  set(name, high) {
    if (this.levels[name] === high) return;
    this.levels[name] = high;
    this.edges[name]++;
    if (name === 'probePump') this.pumpedAt = this.now();
  }

  /// The levels as bits, in the order of OUTPUT_PINS.
  get bits() {
    return NAMES.reduce((bits, name, index) => bits | (this.levels[name] ? 1 << index : 0), 0);
  }

  /// Whether the charge pump holds relay A.
  get isPumped() {
    return this.now() - this.pumpedAt < PUMP_NANOS;
  }

  /// Counts a conversion that ends now and returns the levels during it, as bits.
  sample() {
    const { probeHold, driveGround, driveClip } = this.levels;
    if (probeHold && this.isPumped) this.conversions.probe++;
    if (driveGround) this.conversions.driveToGround++;
    if (driveClip) this.conversions.driveToClip++;
    return this.bits;
  }

  report() {
    return { levels: { ...this.levels }, edges: { ...this.edges }, conversions: { ...this.conversions } };
  }
}
