//! When a lamp on the screen is lit: as on the tester, by the tester's own clock, so that both
//! beat together. The periods are those of the firmware's lamp driver (`host/tests/live.rs`
//! holds one against the other).

use slotwise_core::lamps::Rhythm;
use slotwise_core::units::Millis;

/// Whether a lamp of this rhythm is lit at `now`, by the tester's clock.
#[must_use]
pub const fn is_lit(rhythm: Rhythm, now: Millis) -> bool {
    let (period, lit_for) = match rhythm {
        Rhythm::Off => return false,
        Rhythm::Steady => return true,
        // 1 Hz and 4 Hz, half of the time.
        Rhythm::SlowBlink => (1000, 500),
        Rhythm::FastBlink => (250, 125),
        // 8 Hz, a quarter of the time.
        Rhythm::FastPulse => (125, 31),
    };
    now.get() % period < lit_for
}
