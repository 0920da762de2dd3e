//! Which relay of the probe is closed alone, and how the drive's tone stands, frame by frame.
//!
//! 25 blocks of two line cycles, every other one open: an open one stands on either side of each
//! closing. Twelve closings, six for each relay, in an order without a period; in every second
//! pass the relays are exchanged. The tone runs through, its sign turned after 1600 frames: one
//! whole window of the drive's filter before, and one after.

use crate::drive::tone_is_high;
use crate::earth_path::pattern::{BLOCK_FRAMES, block_of};
use crate::stimulus::ProbeRelay;

/// Blocks of a pass.
pub const BLOCKS: usize = 25;

/// Frames of a pass: 831 ms.
pub const FRAMES: u32 = BLOCKS as u32 * BLOCK_FRAMES;

/// Frame from which the tone's sign is turned.
pub(super) const TURN: u32 = 1600;

const _: () = assert!(FRAMES >= 2 * TURN);

/// Whether the closing is that of relay A, lowest bit first: A B B A B A A B A B B A has six of
/// each and no period.
const IS_A: u32 = 0b1001_0110_1001;

/// The relay that is closed alone during `frame` of pass `pass`; `None`: both are open.
#[must_use]
pub const fn closed_alone(frame: u32, pass: u8) -> Option<ProbeRelay> {
    if frame >= FRAMES {
        return None;
    }
    relay_of_block(block_of(frame), pass)
}

/// The same, for a block.
pub(super) const fn relay_of_block(block: u32, pass: u8) -> Option<ProbeRelay> {
    if block.is_multiple_of(2) || block >= BLOCKS as u32 {
        return None;
    }
    let is_a = (IS_A >> (block / 2)) & 1 == 1;
    let is_exchanged = !pass.is_multiple_of(2);
    Some(if is_a == is_exchanged {
        ProbeRelay::B
    } else {
        ProbeRelay::A
    })
}

/// Whether the drive stands high during `frame` of pass `pass`, its relays open.
///
/// What hums 1.25 or 3.75 Hz beside the tone turns by half a turn from one window to the next,
/// 0.4 s, as a current does with the tone's sign. It may keep step with one pass and another; so
/// the passes begin at phases of 0, 1, 4, 9 and 16 fifths of a turn, less whole ones. A steady
/// hum advances by as much from each pass to the next: to keep step with any three of five
/// it would have to advance by two amounts at once, a fifth of a turn apart at least (arithmetic;
/// a test goes through all).
#[must_use]
pub const fn tone(frame: u32, pass: u8) -> bool {
    tone_is_high(frame + STARTS[pass as usize % STARTS.len()]) != (frame >= TURN)
}

/// Frames by which the tone of a pass is ahead: fifths of 47.06 frames.
const STARTS: [u32; 5] = [0, 9, 38, 38, 9];

#[cfg(test)]
mod tests {
    use super::*;

    fn blocks(pass: u8) -> Vec<Option<ProbeRelay>> {
        (0..BLOCKS as u32)
            .map(|block| relay_of_block(block, pass))
            .collect()
    }

    #[test]
    fn each_relay_is_closed_six_times_between_open_blocks() {
        for pass in 0..4 {
            let blocks = blocks(pass);
            for relay in [ProbeRelay::A, ProbeRelay::B] {
                let count = blocks.iter().filter(|block| **block == Some(relay)).count();
                assert_eq!(count, 6);
            }
            assert!(blocks.iter().step_by(2).all(Option::is_none));
        }
    }

    #[test]
    fn passes_exchange_the_relays() {
        for (one, other) in blocks(0).into_iter().zip(blocks(1)) {
            assert_eq!(one.is_none(), other.is_none());
            assert!(one.is_none() || one != other);
        }
    }

    #[test]
    fn no_steady_hum_keeps_step_with_three_passes() {
        let starts = STARTS.map(|frames| f64::from(frames) * 85.0 / 4000.0);
        let off = |turns: f64| (turns - turns.round()).abs();
        for advance in (0..10_000).map(|n| f64::from(n) / 10_000.0) {
            // Where the hum stands against the tone of each pass.
            let at: Vec<f64> = (0..5)
                .map(|pass| f64::from(pass) * advance - starts[pass as usize])
                .collect();
            // Two that count as currents stand apart by 14.3 degrees at most, twice the
            // arctangent of `RelayLimits::reactance_share`.
            let near = |a: usize, b: usize| off(at[a] - at[b]) < 14.3 / 360.0;
            for (a, b, c) in [
                (0, 1, 2),
                (0, 1, 3),
                (0, 1, 4),
                (0, 2, 3),
                (0, 2, 4),
                (0, 3, 4),
                (1, 2, 3),
                (1, 2, 4),
                (1, 3, 4),
                (2, 3, 4),
            ] {
                assert!(!(near(a, b) && near(b, c) && near(a, c)), "{advance}");
            }
        }
    }

    #[test]
    fn the_closings_keep_no_period() {
        let order: Vec<_> = blocks(0).into_iter().flatten().collect();
        for period in 1..6 {
            let same = order.windows(period + 1).all(|run| run[0] == run[period]);
            assert!(!same, "{period}");
        }
    }

    #[test]
    fn a_frame_is_that_of_its_block_and_nothing_is_closed_after_the_pass() {
        for frame in 0..FRAMES {
            assert_eq!(
                closed_alone(frame, 1),
                relay_of_block(frame / BLOCK_FRAMES, 1)
            );
        }
        for frame in [FRAMES, FRAMES + 1, u32::MAX] {
            assert_eq!(closed_alone(frame, 0), None);
        }
    }
}
