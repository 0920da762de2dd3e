//! English words of the report of a visit.

use crate::report::On;
use crate::texts::VisitReportTexts;

pub(super) const REPORT: VisitReportTexts = VisitReportTexts {
    title: "Receptacle visit",
    foot: "Made by Slotwise. Not certified, not listed. It never says that something is safe to touch.",
    prepared_by: "Prepared by",
    answer: "The answer",
    tests: "All tests of this visit",
    from_record: "From record {record}. Of several tests the gravest counts, because nobody can tell from the \
                  records whether all were made at one receptacle.",
    found: "What was found, and what to do",
    receptacle: "The receptacle",
    receptacle_caption: "Seen from the front, ground slot below. Where two things are named, this \
                         test cannot tell them apart.",
    slots: ["narrow slot", "wide slot", "ground slot"],
    or: " or ",
    not_proven: "Not proven yet, and how to prove it",
    prove: [
        "Polarity: test again with the clip on an earth that does not come through this \
         receptacle, such as a metal water pipe that runs in the ground.",
        "Earth path: test again and leave the tester plugged in until the earth path is measured, \
         4 to 16 seconds, with heavy loads on the circuit off.",
        "Separate ground: leave the tester plugged in while a load of 2 A or more on this circuit \
         switches at least three times.",
    ],
    prove_on_earth: "Polarity: the clip was on another earth, but that did not prove it. Make the \
                     next check above, with the clip on bare metal.",
    all_proven: "Everything that the tester can prove here was proven. What it cannot see is listed \
                 below.",
    test: "Record {record}",
    limit: "limit",
    against_caption: "The bar is the expanded uncertainty (k = 2).",
    hot_and_source: "hot conductor and supply",
    neutral: "neutral",
    sag_caption: "Where the voltage falls when a load comes on: {steps} load steps, {sag} between \
                  the slots.",
    watch: "Load-cycle watch",
    course: "{name} over {seconds} s of watching: {low} to {high} V, {steps} load steps.",
    seconds: "seconds from the start",
    mean_of_second: "mean of a second (band: least to greatest)",
    load_step: "load step",
    clip_course: "Clip to wide slot",
    notes: "Read by hand and seen",
    note_head: ["What", "Weight", "What it means"],
    limits: "Limits judged under",
    limits_head: ["What", "Limit", "Source"],
    limit_rows: [
        ("Supply, narrow to wide", ""),
        (
            "Earth path, with three standard uncertainties",
            "ANSI/ESD S6.1 6.2.1: equipment grounding conductor at the outlet",
        ),
        (
            "Neutral's share of a load step: joined below, separate above",
            "Arithmetic on conductors of one cable; see the core's README",
        ),
        (
            "Clip to wide slot during a watch",
            "Common practice for idle neutral to 24 V common, no source",
        ),
        (
            "Shift of the frame's ground with the load",
            "Arithmetic: 0.2 mA through 1 kohm is 0.2 V; half of it",
        ),
        ("Neutral to burner, power off", "Common practice, no source"),
        (
            "Neutral to another earth, for polarity",
            "Judgement: eight times what a single rod may have, NEC 250.53, from memory",
        ),
        (
            "Voltage that may be touched",
            "IEC 61010-1:2010 6.3.1, from memory",
        ),
    ],
    trace: "Where every number is from",
    trace_head: [
        "Record",
        "Made (UTC)",
        "What",
        "SHA-256 of its bytes",
        "Chain",
    ],
    trace_caption: "Every value above stands under the number of its record. The records are kept \
                    as the tester wrote them; each carries the digest of the one before, so one \
                    that was changed or left out is noticed.",
    trace_test: "test",
    calibration: "Calibration",
    calibrated: [
        "valid at every test of this visit",
        "NOT valid at a test of this visit: its values are not to be used",
    ],
    no_calibration_record: "no record of the archive tells its day",
    damaged: "A record of this visit is missing, was changed, or cannot be read. Pull the tester \
              again; until then take nothing here as proven.",
};

pub(super) const fn slot_on(on: On) -> &'static str {
    match on {
        On::Hot => "hot",
        On::OtherHot => "hot of the other leg",
        On::Neutral => "neutral",
        On::GroundWire => "ground wire",
        On::RodOrPipe => "a rod or pipe only",
        On::Joined => "a link to the wide slot",
        On::Nothing => "nothing",
    }
}
