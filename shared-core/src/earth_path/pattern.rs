//! When the probe is closed: blocks of two line cycles, on or off by a fixed pseudo-random
//! sequence.
//!
//! Blocks come in pairs, one on and one off; a bit of a maximum-length sequence says which is
//! first. So
//! - after every pair as many blocks have been on as off (balance), and never more than two
//!   neighbours are alike: every second difference of neighbouring blocks holds the current,
//!   `+-1` or `+-1/2` times;
//! - no modulation of the background runs in step with the probe for long. What an interference
//!   of one frequency from 0 to 15 Hz can leave in the result of 4, 8 or 16 s is at most 3.2
//!   times what white noise of the same power leaves (a test asserts it). An alternating
//!   pattern has the least noise and no such bound: 15 Hz would count as ground in full.
//!
//! The sequence has the polynomial `x^8 + x^5 + x^3 + x^2 + 1` and a period of 255; its start
//! was chosen among all starts of all primitive polynomials of degree 8 to 11 for the lowest
//! such peak over the three lengths. It costs 13 % of noise against the alternating pattern.

use crate::units::Millis;

/// Frames of a block: two cycles of 60 Hz at 4000 frames a second are 133.3.
pub const BLOCK_FRAMES: u32 = 133;

/// Frames at the start of a block that are not used: 4.25 ms. Relays of this kind are through
/// in 2 ms, the converter's response takes three frames, the filter less than one.
pub const SETTLING_FRAMES: u32 = 17;

/// Blocks of the whole pattern: 15.96 s.
pub const BLOCKS: usize = 480;

/// Frames of the whole pattern.
pub const FRAMES: u32 = BLOCKS as u32 * BLOCK_FRAMES;

const WORDS: usize = BLOCKS / 2 / 32 + 1;

/// State of the shift register at the start of the pattern.
const START: u8 = 107;

/// One bit for each pair of blocks: whether its first block is on.
static FIRST_IS_ON: [u32; WORDS] = {
    let mut words = [0; WORDS];
    let mut state = START;
    let mut pair = 0;
    while pair < BLOCKS / 2 {
        words[pair / 32] |= ((state & 1) as u32) << (pair % 32);
        let fed = (state ^ (state >> 2) ^ (state >> 3) ^ (state >> 5)) & 1;
        state = (state >> 1) | (fed << 7);
        pair += 1;
    }
    words
};

/// Block of a frame of the pattern. The division is a product, since the core that asks at
/// every frame has none: `2^23 / 133 = 63072.24`, so 63073 is high by `101/133`, which adds
/// less than one part in `133` up to frame `2^23 / 101 = 83055`; and `63840 * 63073 < 2^32`.
pub(crate) const fn block_of(frame: u32) -> u32 {
    (frame * 63_073) >> 23
}

/// Whether the probe is closed during `frame`, counted since the pattern began. Open from
/// [`FRAMES`] on.
#[must_use]
pub const fn is_closed(frame: u32) -> bool {
    if frame >= FRAMES {
        return false;
    }
    let block = block_of(frame);
    let pair = block / 2;
    let first_is_on = FIRST_IS_ON[(pair / 32) as usize % WORDS] >> (pair % 32) & 1 == 1;
    let is_first = block.is_multiple_of(2);
    first_is_on == is_first
}

/// How long `blocks` take.
pub(super) const fn duration(blocks: usize) -> Millis {
    // 133 frames of a quarter of a millisecond.
    Millis::new(blocks as u64 * BLOCK_FRAMES as u64 / 4)
}

#[cfg(test)]
mod tests {
    use core::f64::consts::TAU;

    use super::*;

    fn states() -> Vec<bool> {
        (0..BLOCKS as u32)
            .map(|block| is_closed(block * BLOCK_FRAMES))
            .collect()
    }

    #[test]
    fn the_product_divides() {
        for frame in 0..FRAMES {
            assert_eq!(block_of(frame), frame / BLOCK_FRAMES, "{frame}");
        }
    }

    #[test]
    fn a_block_is_of_one_piece_and_the_pattern_ends_open() {
        let states = states();
        for frame in 0..FRAMES {
            assert_eq!(is_closed(frame), states[(frame / BLOCK_FRAMES) as usize]);
        }
        for frame in [FRAMES, FRAMES + 1, 83_056, 1 << 31, u32::MAX] {
            assert!(!is_closed(frame), "{frame}");
        }
    }

    #[test]
    fn every_pair_has_one_block_on_and_no_three_neighbours_are_alike() {
        let states = states();
        assert!(states.chunks(2).all(|pair| pair[0] != pair[1]));
        assert!(
            states
                .windows(3)
                .all(|three| three[0] != three[1] || three[1] != three[2])
        );
        // A maximum-length sequence has one more 1 than 0 in 255 bits.
        let on_first = states.iter().step_by(2).filter(|&&on| on).count();
        assert!((110..=130).contains(&on_first), "{on_first} of 240");
    }

    /// What the weights of the estimate do to a background of one frequency, against white
    /// noise: largest, over all frequencies up to half a block's.
    fn worst_line(states: &[bool]) -> f64 {
        let s: Vec<f64> = states.iter().map(|&on| f64::from(u8::from(on))).collect();
        let c: Vec<f64> = s.windows(3).map(|w| w[1] - (w[0] + w[2]) / 2.0).collect();
        // Weight of every block in the sum over differences.
        let mut weights = vec![0.0; s.len()];
        for (k, c) in c.iter().enumerate() {
            weights[k] -= c / 2.0;
            weights[k + 1] += c;
            weights[k + 2] -= c / 2.0;
        }
        let white = weights.iter().map(|w| w * w).sum::<f64>().sqrt();
        let size = |turns: f64| {
            let (re, im) = weights
                .iter()
                .enumerate()
                .fold((0.0, 0.0), |(re, im), (k, w)| {
                    let angle = TAU * turns * k as f64;
                    (re + w * angle.cos(), im + w * angle.sin())
                });
            f64::hypot(re, im)
        };
        (0..=4096)
            .map(|n| size(f64::from(n) / 8192.0) / white)
            .fold(0.0, f64::max)
    }

    #[test]
    fn no_single_frequency_runs_in_step_with_the_pattern() {
        let states = states();
        for blocks in [120, 240, 480] {
            let worst = worst_line(&states[..blocks]);
            assert!(worst < 3.2, "{blocks} blocks: {worst}");
        }
        // The negative check: alternating blocks.
        let alternating: Vec<bool> = (0..120).map(|k| k % 2 == 0).collect();
        assert!(worst_line(&alternating) > 10.0);
    }
}
