//! A short Monte Carlo run: the claims hold, and the counts do not depend on the threads.

use slotwise::bench::trials::{Settings, run};

#[test]
fn claims_hold_in_a_short_run() {
    let settings = Settings {
        trials: 150,
        seed: 1,
    };
    let confusion = run(settings, &[], |_| {}).expect("every house is solved");
    for class in &confusion.classes {
        println!(
            "{:24} {:6} energised {:6} {:?}",
            class.name, class.draws, class.energised, class.outcomes
        );
    }
    for claim in confusion.claims() {
        println!(
            "{}: {} of {} (below {:.2e})",
            claim.text,
            claim.failures,
            claim.draws,
            claim.limit()
        );
        assert!(claim.holds(), "{claim:?}");
        assert!(claim.draws > 100, "{claim:?}");
    }
}
