//! What happens to the real image in mid-probe, in the emulator: a crash, a hang, damaged frames,
//! a converter that falls silent. Whatever it is, the pins of the tester's own currents go low in
//! their time, as the virtual receptacle sees them.

use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Ohms;
use slotwise_tests::circuit_server::Asked;
use slotwise_tests::emulator::{image_or_word, run_in_circuit};
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::front_end::Stretch;
use slotwise_virtual::house::{Appliance, Conductor, Joint, Receptacle, find};
use slotwise_virtual::outputs::Output;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// When something happens to an image in mid-probe: at 2 s, conversion 8000.
const MISHAP_MS: &str = "2000";
const MISHAP: u64 = 8_000;

/// Runs the image in a sound receptacle with these arguments; gives what it drove, the place of
/// conversion [`MISHAP`] in it, and the report.
fn in_mid_probe(more: &[&str], seconds: u64) -> Option<(Vec<Asked>, usize, serde_json::Value)> {
    let (asked, report) = run(&stretches(&[("sound", 60_000)]), more, seconds)?;
    let at = place(&report, asked.len(), MISHAP);
    assert_runs_before(&asked, at, Output::ProbeHold);
    Some((asked, at, report))
}

/// Place of a conversion in what was asked: conversions count from power-on, rows from the
/// converter's reset.
fn place(report: &serde_json::Value, asked: usize, conversion: u64) -> usize {
    let conversions = report["converter"]["conversions"].as_u64();
    let before = conversions.expect("counted") - asked as u64;
    usize::try_from(conversion - before).expect("after the start")
}

fn assert_runs_before(asked: &[Asked], at: usize, output: Output) {
    let on = asked[at - 400..at].iter();
    let on = on.filter(|asked| is_high(asked, output));
    assert!(on.count() > 100, "{output:?} runs before it");
}

fn stretches(plan: &[(&str, u64)]) -> Vec<Stretch> {
    plan.iter()
        .map(|(name, millis)| {
            let named = find(name).expect("in the bank");
            Stretch::plugged(named.receptacle.clone(), *millis)
        })
        .collect()
}

/// Runs the image along a plan; gives what it drove, and the report.
fn run(plan: &[Stretch], more: &[&str], seconds: u64) -> Option<(Vec<Asked>, serde_json::Value)> {
    let elf = image_or_word()?;
    let specimen = Specimen::draw(25, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let conversions = 4_000 * seconds;
    Some(run_in_circuit(
        &elf,
        specimen,
        &contents,
        plan,
        more,
        conversions,
    ))
}

fn is_high(asked: &Asked, output: Output) -> bool {
    asked.levels[output as usize]
}

fn assert_all_low(asked: &[Asked]) {
    for asked in asked {
        assert_eq!(
            asked.levels,
            [false; Output::ALL.len()],
            "row {}",
            asked.row
        );
    }
}

#[test]
fn a_crash_in_mid_probe_opens_everything_before_the_reset() {
    let Some((asked, at, report)) = in_mid_probe(&["--crash-at", MISHAP_MS], 4) else {
        return;
    };
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 1);
    // Low within two conversions, and through the start and two windows at rest: 0.4 s.
    assert_all_low(&asked[at + 2..at + 1_600]);
    let again = asked[at + 1_600..].iter();
    let again = again.filter(|asked| is_high(asked, Output::ProbeHold));
    assert!(again.count() > 100, "the test begins anew");
}

#[test]
fn a_hang_in_mid_probe_is_ended_by_the_watchdog() {
    let Some((asked, at, report)) = in_mid_probe(&["--hang-at", MISHAP_MS], 5) else {
        return;
    };
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 1);
    // The interrupt keeps the pattern and its watch until the watchdog bites at 2 s; then
    // everything is low through start and two windows.
    let last = at
        + asked[at..at + 8_400]
            .iter()
            .rposition(|asked| asked.levels != [false; Output::ALL.len()])
            .expect("the interrupt goes on");
    assert!((4_000..8_100).contains(&(last - at)), "{}", last - at);
    assert_all_low(&asked[last + 1..last + 1_600]);
}

#[test]
fn two_damaged_frames_in_mid_probe_open_everything() {
    let Some((asked, at, report)) = in_mid_probe(&["--fault", "crc@8000:8002"], 3) else {
        return;
    };
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 0);
    // Read at the end of conversion 8001, so low during 8002, until the sequence has tried
    // again.
    assert_all_low(&asked[at + 2..at + 200]);
}

#[test]
fn a_converter_that_falls_silent_in_mid_probe_opens_everything() {
    let Some((asked, at, _)) = in_mid_probe(&["--fault", "silent@8000:8400"], 3) else {
        return;
    };
    // The pump stands still at once: its relay is open after a millisecond. The main loop
    // drives all pins low when 5 ms are over and its own millisecond.
    let pump: Vec<bool> = asked[at + 1..at + 400]
        .iter()
        .map(|asked| is_high(asked, Output::ProbePump))
        .collect();
    let edges = pump.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(edges <= 1, "{edges}");
    assert_all_low(&asked[at + 26..at + 400]);
}

/// The ground opens, or comes to stand on the other leg, under the probe: row 8000 is 2 s from
/// the converter's reset. The voltage passes 7.07 V a quarter of a line cycle later at most (17
/// frames), the converter shows it three frames after that.
#[test]
fn a_receptacle_that_changes_in_mid_probe_is_let_go_and_not_touched_again() {
    const CHANGE: usize = 8_000;
    for other in ["open-ground", "ground-on-other-leg", "reversed-polarity"] {
        let plan = stretches(&[("sound", 2_000), (other, 60_000)]);
        let Some((asked, _)) = run(&plan, &[], 4) else {
            return;
        };
        assert_runs_before(&asked, CHANGE, Output::ProbeHold);
        assert_eq!(asked[CHANGE].row, CHANGE as u64, "every row was asked for");
        assert_all_low(&asked[CHANGE + 20..]);
    }
}

/// The drive to ground, 6.5 s after the start: two damaged frames, silence, a ground that opens.
#[test]
fn whatever_happens_in_mid_drive_opens_everything() {
    const MIDDLE: usize = 26_000;
    for fault in ["crc@26000:26002", "silent@26000:26400"] {
        let plan = stretches(&[("sound", 60_000)]);
        let Some((asked, report)) = run(&plan, &["--fault", fault], 8) else {
            return;
        };
        let at = place(&report, asked.len(), MIDDLE as u64);
        assert_runs_before(&asked, at, Output::DriveGround);
        // Silent: the loop opens after 5 ms; until then nothing moves.
        let opens = if fault.starts_with("crc") { 2 } else { 26 };
        assert_all_low(&asked[at + opens..at + 200]);
    }
    let plan = stretches(&[("sound", 6_500), ("open-ground", 60_000)]);
    let Some((asked, _)) = run(&plan, &[], 8) else {
        return;
    };
    assert_eq!(asked[MIDDLE].row, MIDDLE as u64, "every row was asked for");
    assert_runs_before(&asked, MIDDLE, Output::DriveGround);
    assert_all_low(&asked[MIDDLE + 20..]);
}

/// The test of the limiter to ground, the drive's level raised in one half of its tone, 10.5 s after
/// the start: two damaged frames, silence, a crash, a ground that opens.
#[test]
fn whatever_happens_while_the_level_is_raised_opens_everything() {
    const MIDDLE: usize = 42_000;
    let was_raised = |asked: &[Asked]| {
        let raised = asked
            .iter()
            .filter(|asked| is_high(asked, Output::DriveRaise));
        raised.count() > 200
    };
    for (fault, opens) in [
        (["--fault", "crc@42000:42002"], 2),
        // Silent: the loop opens after 5 ms; until then nothing moves.
        (["--fault", "silent@42000:42400"], 26),
        (["--crash-at", "10500"], 2),
    ] {
        let plan = stretches(&[("sound", 60_000)]);
        let Some((asked, report)) = run(&plan, &fault, 12) else {
            return;
        };
        let at = place(&report, asked.len(), MIDDLE as u64);
        assert_runs_before(&asked, at, Output::DriveGround);
        assert!(was_raised(&asked[at - 4_000..at]), "{fault:?}");
        assert_all_low(&asked[at + opens..at + 200]);
    }
    let plan = stretches(&[("sound", 10_500), ("open-ground", 60_000)]);
    let Some((asked, _)) = run(&plan, &[], 12) else {
        return;
    };
    assert_eq!(asked[MIDDLE].row, MIDDLE as u64, "every row was asked for");
    assert_runs_before(&asked, MIDDLE, Output::DriveGround);
    assert!(was_raised(&asked[MIDDLE - 4_000..MIDDLE]));
    assert_all_low(&asked[MIDDLE + 20..]);
}

/// The power-off check, begun by a hold of the button that is told after a second: drive to ground,
/// then to the clip on the appliance's frame.
const HOLD: [&str; 2] = ["--button", "4500:6000"];

/// In the middle of the drive to the clip, seconds and conversion or row.
const ON_CLIP_MS: &str = "14400";
const ON_CLIP: usize = 57_600;

fn power_off() -> Receptacle {
    Receptacle {
        breaker_on: false,
        frame_joint: Joint::Weak(Ohms::new(0.2)),
        ..Receptacle::sound()
    }
    .with_appliance(Appliance::steady(0.0))
    .with_clip(ClipTarget::ApplianceFrame)
}

/// Runs the image with the drive on the clip until something happens to it at 14.4 s; gives what it
/// drove, the place of that in it, and the report.
fn in_mid_clip_drive(
    more: &[&str],
    seconds: u64,
) -> Option<(Vec<Asked>, usize, serde_json::Value)> {
    let plan = [Stretch::plugged(power_off(), 60_000)];
    let more: Vec<&str> = HOLD.iter().chain(more).copied().collect();
    let (asked, report) = run(&plan, &more, seconds)?;
    let at = place(&report, asked.len(), ON_CLIP as u64);
    assert_runs_before(&asked, at, Output::DriveClip);
    let ground = asked[..at].iter();
    let ground = ground.filter(|asked| is_high(asked, Output::DriveGround));
    assert!(ground.count() > 8_000, "the drive to ground came before");
    Some((asked, at, report))
}

fn resets(report: &serde_json::Value) -> usize {
    report["watchdogResets"].as_array().map_or(0, Vec::len)
}

#[test]
fn a_crash_in_mid_drive_to_the_clip_opens_everything_before_the_reset() {
    let Some((asked, at, report)) = in_mid_clip_drive(&["--crash-at", ON_CLIP_MS], 17) else {
        return;
    };
    assert_eq!(resets(&report), 1);
    // Low within two conversions, and for good: a start does not go on with a power-off check.
    assert_all_low(&asked[at + 2..at + 1_600]);
    let clip = asked[at + 1_600..].iter();
    assert_eq!(
        clip.filter(|asked| is_high(asked, Output::DriveClip))
            .count(),
        0
    );
}

#[test]
fn a_hang_in_mid_drive_to_the_clip_is_ended_by_the_watchdog() {
    let Some((asked, at, report)) = in_mid_clip_drive(&["--hang-at", ON_CLIP_MS], 19) else {
        return;
    };
    assert_eq!(resets(&report), 1);
    // The interrupt keeps the pattern and its watch until the pattern ends or the watchdog bites at
    // 2 s.
    let last = at
        + asked[at..at + 8_400]
            .iter()
            .rposition(|asked| asked.levels != [false; Output::ALL.len()])
            .expect("the interrupt goes on");
    assert!(last - at < 8_100, "{}", last - at);
    assert_all_low(&asked[last + 1..last + 1_600]);
}

#[test]
fn two_damaged_frames_in_mid_drive_to_the_clip_open_everything() {
    let Some((asked, at, report)) = in_mid_clip_drive(&["--fault", "crc@57600:57602"], 16) else {
        return;
    };
    assert_eq!(resets(&report), 0);
    assert_all_low(&asked[at + 2..at + 200]);
}

/// The power comes back in mid-drive with hot on the wide slot: 120 V against the clip.
#[test]
fn power_that_comes_back_reversed_in_mid_drive_to_the_clip_opens_everything() {
    let off = power_off();
    let on = Receptacle {
        breaker_on: true,
        ..off
            .clone()
            .with_slots(Conductor::Neutral, Conductor::Leg1, Conductor::Ground)
    };
    let plan = [Stretch::plugged(off, 14_400), Stretch::plugged(on, 60_000)];
    let Some((asked, _)) = run(&plan, &HOLD, 16) else {
        return;
    };
    assert_eq!(
        asked[ON_CLIP].row, ON_CLIP as u64,
        "every row was asked for"
    );
    assert_runs_before(&asked, ON_CLIP, Output::DriveClip);
    let ground = asked[..ON_CLIP].iter();
    let ground = ground.filter(|asked| is_high(asked, Output::DriveGround));
    assert!(ground.count() > 8_000, "the drive to ground came before");
    assert_all_low(&asked[ON_CLIP + 20..]);
}
