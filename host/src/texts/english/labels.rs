//! The labels of a report, and its sentences with numbers in them.

use slotwise_core::evidence::{FrameHealth, Measured, Watch};
use slotwise_core::units::{Millis, Volts};

use crate::texts::{Labels, PairValue};

pub(super) const LABELS: Labels = Labels {
    title_log: "Receptacle report",
    title_invented: "Receptacle report (invented receptacles)",
    title_recording: "Receptacle report (recorded waveform)",
    recording: "Recording",
    log: "Log",
    tester: "Tester",
    firmware: "firmware",
    records: "Records",
    verdicts: "Verdicts",
    judged_again: "judged again by this program",
    as_said: "as the tester said at the time",
    supply_band: "Supply band",
    own_band: "the tester's own; unless another was set:",
    is_default: "the default",
    damaged: "This log is damaged; what is whole is shown.",
    overview: "Overview",

    number: "No.",
    receptacle: "Receptacle",
    answer: "Answer",
    finding: "Finding",
    symbols: ["n-w", "g-w", "n-g"],
    clip: "Clip",
    lamps_short: "Lamps",
    legend: "n narrow slot, w wide slot, g ground slot; volts are true RMS. Clip: free, on the \
             appliance's frame, or on an earth from elsewhere.",
    legend_lamps: "Lamps, top to bottom:",
    legend_letters: "Y yes, ? unsure, N no, ! danger, · dark (not asked; for the first: no danger \
                     found).",
    start: "start",
    restart: "restart",
    self_test: "self-test",
    calibrated: "calibrated",
    not_readable: "NOT READABLE",

    record: "Record",
    wired_as: "Wired as (invented)",
    made: "Made",
    chain: "Chain",
    said_then: "The tester said then",
    judged_under: "Judged again under",

    severity: "How dangerous",
    appliance: "Flame sensing and board",
    rivals: "These wirings cannot be told apart by this test",
    next: "Next",
    electrician: "Leave to a licensed electrician",
    unproven: "Not yet proven",
    cannot_see: "What this tester cannot see",
    cautions: "Cautions",
    lamps: "Lamps on the tester, top to bottom",

    measured: "Measured (± is the expanded uncertainty, k = 2)",
    pairs: ["narrow to wide", "ground to wide", "narrow to ground"],
    slot_voltages: "slot voltages",
    frequency: "frequency",
    earth_path: "earth path",
    hot_and_ground: "hot and earth path",
    neutral_and_ground: "neutral and earth path",
    neutral_to_clip: "neutral to clip",
    load_steps: "load steps",
    watch: "load-cycle watch",
    clip_on: "clip",
    clip_wide: "clip to wide",
    moved: "moved during the test",
    sum: "sum of the four inputs",
    health: "tester",

    waveform: "Waveform between the slots",
    no_waveform: "This record holds no waveform.",
    time: "time in ms",
    styles: ["solid", "dashed", "dotted"],
};

pub(super) fn count(records: usize, tests: usize) -> String {
    format!("{records}, of them {tests} tests")
}

pub(super) fn pair(value: &PairValue) -> String {
    let angle = value
        .angle
        .as_ref()
        .map_or(String::new(), |angle| format!(" at {angle}"));
    format!(
        "{} true RMS; line frequency {}{angle}; harmonics and noise {:.2} V; mean {:.2} V",
        value.true_rms,
        value.fundamental,
        value.residual.get(),
        value.mean.get()
    )
}

pub(super) fn load_step(share: &str, steps: u16, sag: Volts) -> String {
    format!(
        "neutral's share of the drop {share}, from {steps} steps of {:.2} V",
        sag.get()
    )
}

pub(super) fn watch(watch: &Watch) -> String {
    let seen = format!(
        "{} s, {} load steps; clip to wide {:.2} V at idle, {:.2} V at most",
        watch.seconds,
        watch.steps,
        watch.idle.get(),
        watch.highest.get()
    );
    match (watch.neutral_drop, watch.frame_shift) {
        (Measured::Known(drop), Measured::Known(shift)) => format!(
            "{seen}; neutral drop {:.3} V, frame against ground {:.3} ± {:.3} V at a step",
            drop.value.get(),
            shift.value.get(),
            2.0 * shift.u.get()
        ),
        _ => seen,
    }
}

pub(super) fn watch_page(from: u16, to: u16) -> String {
    format!("seconds {from} to {to} of the load-cycle watch")
}

pub(super) fn watch_step(number: u16, at: Millis, sag: Volts) -> String {
    format!(
        "load step {number} of the load-cycle watch, {:.1} s after its start: {:+.2} V",
        at.get() as f64 / 1000.0,
        sag.get()
    )
}

pub(super) fn moved(at_most: Volts) -> String {
    format!("{:.2} V at most", at_most.get())
}

pub(super) fn sum(in_phase: Volts, quadrature: Volts) -> String {
    format!(
        "{:.2} V in phase, {:.2} V in quadrature",
        in_phase.get(),
        quadrature.get()
    )
}

pub(super) fn health(health: &FrameHealth) -> String {
    let calibrated = if health.calibrated {
        "calibrated"
    } else {
        "not calibrated"
    };
    format!(
        "{calibrated}, {} windows of 0.2 s, {} bad frames, {} beyond full scale",
        health.windows, health.bad_frames, health.clipped_frames
    )
}

pub(super) fn made(clock: Option<&str>, boot: u32, since: &str) -> String {
    match clock {
        Some(clock) => format!("{clock} (start {boot}, {since} after it)"),
        None => format!("start {boot}, {since} after it; the clock had no time"),
    }
}

pub(super) fn cycles(millis: f32) -> String {
    format!("Two line cycles, {millis:.1} ms.")
}

pub(super) fn curve(name: &str, low: Volts, high: Volts) -> String {
    format!("{name}: from {:.1} V to {:.1} V.", low.get(), high.get())
}
