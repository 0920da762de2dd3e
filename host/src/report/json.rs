//! The JSON document of `--json`. Its shape is ours and stable: fields are added, never renamed
//! or taken away without a new `version`. Names of findings, wirings and the like are those of
//! `texts`, with the words beside them. A value that was not measured is
//! `{"missing": "reason"}`, never 0 or null.

use serde::Serialize;
use slotwise_core::evidence::{Evidence, Measured, Missing, Reading};
use slotwise_core::finding::Finding;
use slotwise_core::lamps::{Lamp, Panel};
use slotwise_core::record::Body;
use slotwise_core::start::Start;
use slotwise_core::units::Ohms;
use slotwise_core::verdict::Verdict;

use super::start::StartEntry;
use super::watch::Seen;
use super::{Item, Origin, Report};
use crate::chain::Unreadable;
use crate::texts::{Language, Severity, codes};

/// Version of the shape.
const VERSION: u32 = 1;

/// The document, indented.
///
/// # Errors
/// None in practice: every field has a JSON form.
pub fn document(report: &Report) -> serde_json::Result<String> {
    let mut text = serde_json::to_string_pretty(&Document::of(report))?;
    text.push('\n');
    Ok(text)
}

#[derive(Serialize)]
struct Document<'r> {
    format: &'static str,
    version: u32,
    source: &'r str,
    origin: &'static str,
    language: &'static str,
    caution: &'static str,
    tester: Option<Tester>,
    judged_under: Option<&'static str>,
    damages: Vec<DamageEntry>,
    records: Vec<Entry<'r>>,
}

#[derive(Serialize)]
struct Tester {
    id: String,
    firmware: String,
    boot: u32,
}

#[derive(Serialize)]
struct DamageEntry {
    at_byte: u64,
    what: String,
}

#[derive(Serialize)]
struct Entry<'r> {
    number: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    receptacle: Option<&'r str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wired_as: Option<&'r str>,
    chain: &'static str,
    chain_text: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    unreadable: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    made: Option<Made>,
    #[serde(skip_serializing_if = "Option::is_none")]
    boot: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    start: Option<StartEntry>,
    #[serde(skip_serializing_if = "Option::is_none")]
    watch: Option<Seen>,
    #[serde(skip_serializing_if = "Option::is_none")]
    test: Option<TestEntry>,
}

#[derive(Serialize)]
struct Made {
    tester: String,
    firmware: String,
    boot: u32,
    millis_since_boot: u64,
    unix_seconds: Option<u64>,
}

#[derive(Serialize)]
struct TestEntry {
    verdict: VerdictEntry,
    #[serde(skip_serializing_if = "Option::is_none")]
    tester_said: Option<&'static str>,
    lamps: Vec<LampEntry>,
    evidence: EvidenceEntry,
}

#[derive(Serialize)]
struct VerdictEntry {
    outcome: &'static str,
    meaning: &'static str,
    findings: Vec<FindingEntry>,
    not_proven: Vec<&'static str>,
}

#[derive(Serialize)]
pub(crate) struct FindingEntry {
    code: &'static str,
    number: u8,
    title: &'static str,
    meaning: &'static str,
    severity: &'static str,
    severity_text: &'static str,
    danger: Option<&'static str>,
    appliance: &'static str,
    cannot_be_told_from: Vec<&'static str>,
    next: &'static str,
    next_text: &'static str,
    next_where: Option<&'static str>,
    electrician: &'static str,
}

#[derive(Serialize)]
pub(crate) struct LampEntry {
    lamp: &'static str,
    question: &'static str,
    rhythm: &'static str,
    pub(crate) answer: &'static str,
}

#[derive(Serialize)]
#[serde(untagged)]
pub(crate) enum Value {
    Known {
        value: f32,
        u: f32,
        unit: &'static str,
    },
    Missing {
        missing: &'static str,
    },
}

#[derive(Serialize)]
struct PairEntry {
    true_rms: Value,
    fundamental: Value,
    angle_degrees: f32,
    residual_volts: f32,
    mean_volts: f32,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Slots {
    Known {
        narrow_wide: PairEntry,
        ground_wide: PairEntry,
        narrow_ground: PairEntry,
    },
    Missing {
        missing: &'static str,
    },
}

#[derive(Serialize)]
struct EvidenceEntry {
    slots: Slots,
    frequency: Value,
    earth_path: Value,
    hot_and_ground: Value,
    neutral_and_ground: Value,
    neutral_to_clip: Value,
    load_step_rho: Value,
    watch: Option<WatchEntry>,
    clip: &'static str,
    clip_wide: Value,
    unsteadiness_volts: f32,
    sum_in_phase_volts: f32,
    sum_quadrature_volts: f32,
    calibrated: bool,
    windows: u16,
    bad_frames: u32,
    clipped_frames: u32,
}

#[derive(Serialize)]
struct WatchEntry {
    seconds: u16,
    steps: u16,
    neutral_drop: Value,
    frame_shift: Value,
    idle_volts: f32,
    highest_volts: f32,
}

fn ohms(reading: &Measured<Ohms>) -> Value {
    measured(reading, "ohm", |r| (r.value.get(), r.u.get()))
}

impl<'r> Document<'r> {
    fn of(report: &'r Report) -> Self {
        Self {
            format: "slotwise-report",
            version: VERSION,
            source: &report.source,
            origin: match report.origin {
                Origin::Log => "log",
                Origin::Invented => "invented",
                Origin::Recording => "recording",
            },
            language: report.language.tag(),
            caution: report.language.cautions().first,
            tester: report.hello.map(|hello| Tester {
                id: hello.tester.to_string(),
                firmware: hello.firmware.to_string(),
                boot: hello.boot,
            }),
            judged_under: report.band.map(|band| band.band().source),
            damages: report
                .damages
                .iter()
                .map(|damage| DamageEntry {
                    at_byte: damage.at_byte,
                    what: damage.to_string(),
                })
                .collect(),
            records: report
                .items
                .iter()
                .map(|item| Entry::of(report.language, item))
                .collect(),
        }
    }
}

impl<'r> Entry<'r> {
    fn of(language: &dyn Language, item: &'r Item) -> Self {
        let record = item.record.as_ref().ok();
        let boot = record.and_then(|record| match &record.body {
            Body::Boot(cause) | Body::Start(Start { cause, .. }) => Some(codes::boot(*cause)),
            _ => None,
        });
        let start = record.and_then(|record| match &record.body {
            Body::Start(start) => Some(StartEntry::of(start)),
            _ => None,
        });
        let watch = record.and_then(|record| Seen::of(&record.body));
        Self {
            number: item.number.get(),
            receptacle: item.place.as_ref().map(|place| place.name.as_str()),
            wired_as: item.place.as_ref().map(|place| place.wired.as_str()),
            chain: codes::chain(item.link),
            chain_text: language.chain(item.link),
            unreadable: item.record.as_ref().err().map(Unreadable::to_string),
            made: record.map(|record| Made {
                tester: record.tester.to_string(),
                firmware: record.firmware.to_string(),
                boot: record.boot,
                millis_since_boot: record.at.get(),
                unix_seconds: record.clock.map(|clock| clock.get()),
            }),
            boot,
            start,
            watch,
            test: item.test().map(|test| TestEntry {
                verdict: VerdictEntry::of(language, test.verdict),
                tester_said: item
                    .again
                    .is_some()
                    .then(|| codes::outcome(test.said.outcome)),
                lamps: lamps_of(language, &test.panel),
                evidence: EvidenceEntry::of(test.evidence),
            }),
        }
    }
}

impl VerdictEntry {
    fn of(language: &dyn Language, verdict: &Verdict) -> Self {
        Self {
            outcome: codes::outcome(verdict.outcome),
            meaning: language.outcome_meaning(verdict.outcome),
            findings: verdict
                .findings
                .iter()
                .map(|finding| FindingEntry::of(language, finding))
                .collect(),
            not_proven: language.unproven(verdict.unproven),
        }
    }
}

impl FindingEntry {
    pub(crate) fn of(language: &dyn Language, finding: &Finding) -> Self {
        let words = language.finding(finding.code);
        let check = language.check(finding.next, finding.code);
        let severity = Severity::of(finding);
        Self {
            code: codes::finding(finding.code),
            number: finding.code.number(),
            title: words.title,
            meaning: words.meaning,
            severity: codes::severity(severity),
            severity_text: language.severity(severity),
            danger: words.danger,
            appliance: words.appliance,
            cannot_be_told_from: finding.rivals.iter().map(codes::wiring).collect(),
            next: codes::check(finding.next),
            next_text: check.what,
            next_where: check.end.map(codes::end),
            electrician: words.electrician,
        }
    }
}

pub(crate) fn lamps_of(language: &dyn Language, panel: &Panel) -> Vec<LampEntry> {
    Lamp::ALL
        .into_iter()
        .map(|lamp| {
            let rhythm = panel.rhythm(lamp);
            LampEntry {
                lamp: codes::lamp(lamp),
                question: language.question(lamp),
                rhythm: codes::rhythm(rhythm),
                answer: language.answer(lamp, panel),
            }
        })
        .collect()
}

pub(crate) const fn missing(reason: Missing) -> Value {
    Value::Missing {
        missing: codes::missing(reason),
    }
}

pub(crate) fn measured<T: Copy>(
    measured: &Measured<T>,
    unit: &'static str,
    get: impl Fn(Reading<T>) -> (f32, f32),
) -> Value {
    match measured {
        Measured::Known(reading) => {
            let (value, u) = get(*reading);
            Value::Known { value, u, unit }
        }
        Measured::Missing(reason) => missing(*reason),
    }
}

impl EvidenceEntry {
    fn of(evidence: &Evidence) -> Self {
        let slots = match &evidence.slots {
            Ok(slots) => {
                let [narrow_wide, ground_wide, narrow_ground] =
                    slots.pairs.each_ref().map(|pair| {
                        let volts = |value: slotwise_core::units::Volts| Value::Known {
                            value: value.get(),
                            u: slots.uncertainty(value).get(),
                            unit: "V",
                        };
                        PairEntry {
                            true_rms: volts(pair.true_rms),
                            fundamental: volts(pair.fundamental.rms),
                            angle_degrees: pair.fundamental.angle.get().to_degrees(),
                            residual_volts: pair.residual.get(),
                            mean_volts: pair.mean.get(),
                        }
                    });
                Slots::Known {
                    narrow_wide,
                    ground_wide,
                    narrow_ground,
                }
            }
            Err(reason) => Slots::Missing {
                missing: codes::missing(*reason),
            },
        };
        Self {
            slots,
            frequency: measured(&evidence.frequency, "Hz", |r| (r.value.get(), r.u.get())),
            earth_path: ohms(&evidence.earth_path),
            hot_and_ground: ohms(&evidence.hot_and_ground),
            neutral_and_ground: ohms(&evidence.neutral_and_ground),
            neutral_to_clip: ohms(&evidence.neutral_to_clip),
            load_step_rho: match &evidence.load_step {
                Ok(step) => Value::Known {
                    value: step.rho.value.get(),
                    u: step.rho.u.get(),
                    unit: "",
                },
                Err(reason) => missing(*reason),
            },
            watch: evidence.watch.as_ref().ok().map(|watch| WatchEntry {
                seconds: watch.seconds,
                steps: watch.steps,
                neutral_drop: measured(&watch.neutral_drop, "V", |r| (r.value.get(), r.u.get())),
                frame_shift: measured(&watch.frame_shift, "V", |r| (r.value.get(), r.u.get())),
                idle_volts: watch.idle.get(),
                highest_volts: watch.highest.get(),
            }),
            clip: codes::clip(evidence.clip_target),
            clip_wide: match (&evidence.clip_wide, &evidence.slots) {
                (Ok(clip), Ok(slots)) => Value::Known {
                    value: clip.rms.get(),
                    u: slots.uncertainty(clip.rms).get(),
                    unit: "V",
                },
                (Ok(_), Err(reason)) | (Err(reason), _) => missing(*reason),
            },
            unsteadiness_volts: evidence.unsteadiness.get(),
            sum_in_phase_volts: evidence.zero_sum.in_phase.get(),
            sum_quadrature_volts: evidence.zero_sum.quadrature.get(),
            calibrated: evidence.health.calibrated,
            windows: evidence.health.windows,
            bad_frames: evidence.health.bad_frames,
            clipped_frames: evidence.health.clipped_frames,
        }
    }
}
