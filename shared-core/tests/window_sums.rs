//! The integer sums of a window, to the bit.
//!
//! The digest is that of the sums when they had been compared with their definition
//! (`window::accumulator::tests`); however they are formed since, for speed, they must come out the
//! same.
//! Codes are pseudo-random, a sixteenth of them at an end of the range, over two windows with
//! different tunings. FNV-1a, 64 bits (Fowler, Noll and Vo; from memory), over the printed sums.

use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::Lead;
use slotwise_core::units::Hertz;
use slotwise_core::window::{Accumulator, Tuning, WINDOW};

const DIGEST: u64 = 15_385_100_848_202_614_461;

fn fnv(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[test]
fn the_sums_of_a_window_are_these_to_the_bit() {
    let mut state = 1_u64;
    let mut draw = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let code = (state >> 40) as i32 - (1 << 23);
        AdcCode::saturating(match state >> 36 & 0xF {
            0 => code.signum() << 24,
            1..8 => code >> 5,
            _ => code,
        })
    };
    let mut text = String::new();
    for tuning in [
        Tuning::NOMINAL,
        Tuning::new(Hertz::new(58.7), (Lead::Ground, Lead::Clip)),
    ] {
        let mut accumulator = Accumulator::new(tuning);
        for n in 1..=WINDOW {
            let frame = Frame {
                codes: [draw(), draw(), draw(), draw()],
            };
            assert_eq!(accumulator.push(&frame), n == WINDOW);
        }
        text += &format!("{:?}\n", accumulator.sums());
    }
    assert_eq!(fnv(&text), DIGEST, "{text}");
}
