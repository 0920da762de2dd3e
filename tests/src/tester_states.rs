//! Every state that a person can see a tester in: the whole firmware on the virtual board, in
//! receptacles of the invented terrace, with a clock chip and a display.

use slotwise_core::link::Request;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Amperes;
use slotwise_virtual::board::{NOR_BYTES, workshop_flash};
use slotwise_virtual::chips::side_bus::{SideParts, VirtualDisplay, VirtualRtc};
use slotwise_virtual::house::{Appliance, Receptacle};
use slotwise_virtual::tester::{Specimen, Tolerance};

use crate::bench::Bench;
use crate::tester_picture::{Front, History, STRETCH_MS, STRETCHES};

/// 2026-11-25T18:52:07Z.
const NOW: u64 = 1_795_632_727;

/// A tester with a clock chip that runs and a display.
///
/// # Panics
/// If it cannot be made.
#[must_use]
pub fn with_display(contents: Option<Vec<u8>>, rtc: Option<VirtualRtc>) -> Bench {
    let specimen = Specimen::draw(57, &Tolerance::USUAL);
    let contents =
        contents.unwrap_or_else(|| workshop_flash(&specimen).expect("the workshop calibrates it"));
    let parts = SideParts {
        rtc,
        display: Some(VirtualDisplay::new()),
    };
    Bench::with_parts(specimen, contents, parts, |_, _| {})
}

/// What stands on its front now.
#[must_use]
pub fn front(bench: &Bench, caption: &str) -> Front {
    let now = bench.board.clock.nanos();
    let stretch = STRETCH_MS * 1_000_000;
    let lamps = bench.board.lamps.each_ref().map(|lamp| -> History {
        core::array::from_fn(|place| {
            let back = (STRETCHES - place) as u64 * stretch;
            let from = now.saturating_sub(back);
            lamp.high_nanos(from, from + stretch) * 2 > stretch
        })
    });
    let shown = bench.board.side.display();
    Front {
        caption: caption.to_owned(),
        lamps,
        display: shown.map(|shown| Box::new(shown.picture())),
    }
}

fn furnace() -> Appliance {
    Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::cycling(6.0, 5, 5)
    }
}

/// Plugged into a receptacle of the bank for so long.
fn plugged(name: &str, millis: u64, caption: &str) -> Front {
    let mut bench = with_display(None, Some(VirtualRtc::running(NOW)));
    bench.plug(name);
    bench.board.run_for(millis);
    front(&bench, caption)
}

/// Every state.
///
/// # Panics
/// If one cannot be made.
#[must_use]
pub fn states() -> Vec<Front> {
    let mut all = Vec::new();
    let mut in_hand = with_display(None, Some(VirtualRtc::running(NOW)));
    in_hand.board.run_for(5_000);
    all.push(front(&in_hand, "In the hand"));
    for (rtc, caption) in [
        (VirtualRtc::running(NOW), "Pulled out again"),
        (VirtualRtc::never_set(), "Pulled out again, clock never set"),
    ] {
        let mut bench = with_display(None, Some(rtc));
        bench.plug("open-ground");
        bench.board.run_for(6_000);
        bench.unplug();
        bench.board.run_for(3_000);
        all.push(front(&bench, caption));
    }
    for (name, millis, caption) in [
        ("sound", 320, "Just plugged in"),
        ("sound", 2_500, "Sound: the earth path is being measured"),
        ("sound", 15_000, "Sound: after its test"),
        ("weak-ground", 15_000, "A ground wire that is loose"),
        ("open-ground", 6_000, "Ground open"),
        ("open-neutral", 6_000, "Neutral open"),
        ("breaker-off", 6_000, "Breaker off"),
        ("supply-low", 15_000, "Supply low"),
        ("reversed-polarity", 6_000, "Hot and neutral exchanged"),
        ("open-hot", 6_000, "Hot open"),
    ] {
        all.push(plugged(name, millis, caption));
    }
    all.push(watching());
    all.push(proven());
    all.push(not_calibrated());
    all.push(failed());
    all
}

/// A load-cycle watch.
fn watching() -> Front {
    let mut bench = with_display(None, Some(VirtualRtc::running(NOW)));
    let receptacle = Receptacle::sound()
        .with_appliance(furnace())
        .with_clip(ClipTarget::ApplianceFrame);
    bench.hand.plug(&receptacle).expect("it is solved");
    bench.board.run_for(17_000);
    bench.board.button.press();
    bench.board.run_for(2_000);
    bench.board.button.release();
    bench.board.run_for(75_000);
    front(&bench, "Load-cycle watch while a furnace cycles")
}

/// Everything proven, with the clip on another earth.
fn proven() -> Front {
    let mut bench = with_display(None, Some(VirtualRtc::running(NOW)));
    let receptacle = Receptacle::sound()
        .with_appliance(furnace())
        .with_clip(ClipTarget::IndependentEarth);
    bench.hand.plug(&receptacle).expect("it is solved");
    bench.board.run_for(200);
    let clip = ClipTarget::IndependentEarth;
    let _ = bench.ask(Request::StartTest { clip });
    bench.board.run_for(60_000);
    front(&bench, "Clip on another earth, loads have stepped")
}

fn not_calibrated() -> Front {
    let mut bench = with_display(Some(vec![0xFF; NOR_BYTES]), Some(VirtualRtc::running(NOW)));
    bench.plug("sound");
    bench.board.run_for(6_000);
    front(&bench, "A tester without a calibration")
}

/// A tester that fails a test of itself while it stands on an answer.
fn failed() -> Front {
    let mut bench = with_display(None, Some(VirtualRtc::running(NOW)));
    bench.plug("sound");
    bench.board.run_for(6_000);
    bench.board.computer.grow_stack(0);
    bench.board.run_for(6_000);
    front(&bench, "A tester that has failed a test of itself")
}
