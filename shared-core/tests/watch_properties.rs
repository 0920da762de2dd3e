//! A watch under any story: what holds always.

mod branch;

use branch::C;
use branch::run::run;
use branch::scene::phasor;
use proptest::prelude::*;
use slotwise_core::load_step::Beat;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Millis, Volts};

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever the beats say and whenever they come: no panic, nothing that is no number, pages
    /// of whole minutes.
    #[test]
    fn no_story_is_too_strange(
        story in prop::collection::vec(
            (0_usize..100, prop::array::uniform3(-400.0_f64..400.0), -3.0_f64..3.0),
            1..300,
        )
    ) {
        let mut at = 1000_u64;
        let mut beats = Vec::new();
        let mut held = [C::from(120.0), C::default(), C::default()];
        for (kind, volts, angle) in story {
            // Mostly one window after the other, sometimes a gap, a pause or time that jumps.
            at = match kind {
                0 => at + 1700,
                1 => at.saturating_sub(60_000),
                _ => at + 200,
            };
            if kind < 8 {
                held = volts.map(|v| C::from_polar(v, angle));
            }
            let [nw, gw, cw] = held.map(phasor);
            beats.push(Beat::new(Millis::new(at), nw, gw, cw));
        }
        let (watch, pages, steps) = run(&beats, ClipTarget::ApplianceFrame);
        for page in &pages {
            prop_assert!(page.first % 60 == 0 && !page.seconds.is_empty());
        }
        prop_assert!(steps.len() <= usize::from(watch.steps()));
        if let Ok(step) = watch.load_step() {
            prop_assert!(step.rho.value.get().is_finite() && step.rho.u.get() >= 0.0);
        }
        if let Ok(seen) = watch.summary() {
            prop_assert!(seen.idle <= seen.highest);
            for value in [seen.neutral_drop, seen.frame_shift] {
                let known = value.reading();
                prop_assert!(known.is_none_or(|it| it.value.get().is_finite() && it.u > Volts::ZERO));
            }
        }
    }
}
