//! The rungs, in order, and how their findings make an outcome.

use crate::evidence::{Evidence, Measured, Missing, SlotVoltages};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::Limits;
use crate::slots::{ClipTarget, Lead};
use crate::topology::{Topology, TopologySet};
use crate::units::Volts;
use crate::verdict::{Outcome, Unproven, Verdict};

use super::appliance::neutral_to_frame;
use super::climb::climb;
use super::pattern;
use super::rungs::{supply, without_rivals};

/// Judges `evidence` under `limits`.
#[must_use]
pub fn judge(evidence: &Evidence, limits: &Limits) -> Verdict {
    if let Some(code) = tester_fault(evidence, limits) {
        return ended(
            Outcome::TesterFault,
            &[without_rivals(code, NextCheck::ServiceTheTester)],
        );
    }
    let slots = match &evidence.slots {
        Ok(slots) => slots,
        Err(_) => {
            let unsteady = without_rivals(FindingCode::Unsteady, NextCheck::Repeat);
            return ended(Outcome::CannotTell, &[unsteady]);
        }
    };
    let wiring = told_by_clip(pattern::read(slots, limits), evidence, slots, limits);
    let doubt = doubt(evidence, &wiring, limits);
    if is_danger(&wiring) {
        return with_doubt(Outcome::Danger, wiring, doubt);
    }
    if doubt.is_some() {
        return with_doubt(Outcome::CannotTell, wiring, doubt);
    }
    if wiring.code != FindingCode::ReadsSound {
        let mut verdict = ended(Outcome::Fault, &[]);
        let frame = neutral_to_frame(evidence, limits).filter(|_| wiring.code == FindingCode::Dead);
        let (first, last) = match frame {
            Some(found) if found.code == FindingCode::NeutralToFrameHigh => (frame, None),
            _ => (None, frame),
        };
        add(&mut verdict, first);
        add(&mut verdict, Some(wiring));
        add(&mut verdict, last);
        if matches!(
            wiring.code,
            FindingCode::OpenGround | FindingCode::NeutralToGroundHigh
        ) {
            add(&mut verdict, supply(slots, limits));
        }
        return verdict;
    }
    climb(evidence, slots, wiring, limits)
}

/// The verdict of a tester that failed a test of itself, whatever it measured.
#[must_use]
pub fn failed_self_test() -> Verdict {
    ended(
        Outcome::TesterFault,
        &[without_rivals(
            FindingCode::SelfTestFailed,
            NextCheck::ServiceTheTester,
        )],
    )
}

/// Rung 1.
fn tester_fault(evidence: &Evidence, limits: &Limits) -> Option<FindingCode> {
    let health = &evidence.health;
    if !health.calibrated {
        return Some(FindingCode::NotCalibrated);
    }
    let frames = f32::from(health.windows) * crate::window::WINDOW as f32;
    if health.bad_frames as f32 > frames * limits.bad_frame_share.get() {
        return Some(FindingCode::FramesDamaged);
    }
    if health.clipped_frames > 0 {
        return Some(FindingCode::BeyondFullScale);
    }
    if let Ok(slots) = &evidence.slots {
        let largest = slots.leads.iter().fold(0.0_f32, |a, b| a.max(b.get()));
        let in_phase = limits.sum_floor.get() + largest * limits.sum_share.get();
        let quadrature = limits.sum_floor.get() + largest * limits.sum_quadrature_share.get();
        // Written so that a NaN fails.
        let holds = evidence.zero_sum.in_phase.abs().get() <= in_phase
            && evidence.zero_sum.quadrature.abs().get() <= quadrature
            && loop_closes(slots, limits);
        if !holds {
            return Some(FindingCode::StringSumBroken);
        }
    }
    let unseen = [evidence.earth_path, evidence.neutral_and_ground]
        .iter()
        .filter_map(Measured::value)
        .any(|path| path < limits.earth_path_lowest);
    let no_current = Measured::Missing(Missing::NoCurrent);
    if unseen || evidence.neutral_to_clip == no_current {
        return Some(FindingCode::ReferenceResistorUnseen);
    }
    None
}

/// `v_nw - v_ng - v_gw = 0`: holds by construction where the three come from the same
/// channels; evidence from elsewhere must close as well.
fn loop_closes(slots: &SlotVoltages, limits: &Limits) -> bool {
    let parts = slots
        .pairs
        .each_ref()
        .map(|pair| (pair.fundamental.in_phase(), pair.fundamental.quadrature()));
    let [nw, gw, ng] = parts;
    let residue = |a: Volts, b: Volts, c: Volts| (a - b - c).abs();
    let largest = slots
        .pairs
        .iter()
        .fold(0.0_f32, |a, pair| a.max(pair.fundamental.rms.get()));
    let allowed = limits.sum_floor.get() + largest * limits.sum_share.get();
    residue(nw.0, ng.0, gw.0).get() <= allowed && residue(nw.1, ng.1, gw.1).get() <= allowed
}

/// Rung 2: why the evidence does not tell, if it does not.
fn doubt(evidence: &Evidence, wiring: &Finding, limits: &Limits) -> Option<Finding> {
    let repeat = |code| Some(without_rivals(code, NextCheck::Repeat));
    if evidence.unsteadiness > limits.steady {
        return repeat(FindingCode::Unsteady);
    }
    match evidence.frequency {
        Measured::Known(frequency) => {
            let utility = limits.utility_low..=limits.utility_high;
            if utility.contains(&frequency.value) {
                None
            } else {
                Some(Finding {
                    code: FindingCode::NotUtilityFrequency,
                    rivals: TopologySet::of(&[Topology::FloatingSource]),
                    next: NextCheck::SupplyAtPanel,
                })
            }
        }
        // With hardly any voltage there is no frequency to doubt.
        Measured::Missing(_) => match wiring.code {
            FindingCode::Dead | FindingCode::OpenHot => None,
            _ => repeat(FindingCode::Unsteady),
        },
    }
}

/// Rung 3: a set with an energised ground in it is a danger until it is told apart, unless
/// the pattern is the one that every sound receptacle gives too, or that of a dead one.
fn is_danger(wiring: &Finding) -> bool {
    match wiring.code {
        FindingCode::ReadsSound => false,
        FindingCode::LiveFrame | FindingCode::ReversedAndJoined => true,
        _ => wiring.rivals.endangers(),
    }
}

/// What the clip adds to a pattern.
fn told_by_clip(
    mut wiring: Finding,
    evidence: &Evidence,
    slots: &SlotVoltages,
    limits: &Limits,
) -> Finding {
    let Ok(clip) = evidence.clip_wide else {
        return wiring;
    };
    let wide_to_clip = clip.rms;
    match evidence.clip_target {
        ClipTarget::NotConnected => wiring,
        ClipTarget::ApplianceFrame => {
            let frame_to_ground = clip_to_ground(evidence, slots);
            if wiring.code == FindingCode::ReadsSound && frame_to_ground > limits.touchable {
                wiring.code = FindingCode::LiveFrame;
                wiring.next = NextCheck::IsolateAtPanel;
            }
            wiring
        }
        ClipTarget::IndependentEarth => {
            let at_earth = wide_to_clip < limits.neutral_to_earth;
            let at_hot = wide_to_clip >= limits.live_low && wide_to_clip <= limits.live_high;
            let narrowed = |set: &[Topology]| wiring.rivals.intersection(TopologySet::of(set));
            match wiring.code {
                FindingCode::ReadsSound if at_hot => Finding {
                    code: FindingCode::ReversedAndJoined,
                    rivals: narrowed(&LIVE_THROUGHOUT),
                    next: NextCheck::IsolateAtPanel,
                },
                // ... if a current of the drive went that way too, or was not let: metal that the
                // clip does not touch through its paint may stand near earth as well.
                FindingCode::ReadsSound if at_earth && !clip_is_open(evidence) => {
                    wiring.rivals = wiring.rivals.without(TopologySet::of(&LIVE_THROUGHOUT));
                    wiring.next = NextCheck::EarthPath;
                    wiring
                }
                // Wide at earth: the blades are right and the ground slot is hot.
                FindingCode::ReversedPolarity if at_earth => Finding {
                    code: FindingCode::GroundOnHot,
                    rivals: narrowed(&[
                        Topology::GroundOnHotSameLeg,
                        Topology::OpenNarrowHotOnGround,
                    ]),
                    next: NextCheck::IsolateAtPanel,
                },
                FindingCode::ReversedPolarity if at_hot => Finding {
                    rivals: narrowed(&[Topology::ReversedPolarity, Topology::OpenNarrowHotOnWide]),
                    next: NextCheck::OpenReceptacleBox,
                    ..wiring
                },
                // Whatever it is, the ground slot is held away from earth.
                FindingCode::UnknownPattern
                    if clip_to_ground(evidence, slots) > limits.touchable
                        && !pattern::lead_is_open(slots, Lead::Ground, limits) =>
                {
                    Finding {
                        code: FindingCode::GroundOnHot,
                        rivals: ground_away_from_earth(),
                        next: NextCheck::IsolateAtPanel,
                    }
                }
                // Nothing between the slots, and yet they stand away from earth.
                FindingCode::Dead | FindingCode::OpenHot if wide_to_clip > limits.touchable => {
                    wiring.rivals = wiring.rivals.without(TopologySet::of(&[
                        Topology::SupplyOff,
                        Topology::OpenHot,
                        Topology::NoHot,
                    ]));
                    wiring.next = NextCheck::IsolateAtPanel;
                    wiring
                }
                _ => wiring,
            }
        }
    }
}

/// Whether the clip reaches nothing that the drive can send a current to.
fn clip_is_open(evidence: &Evidence) -> bool {
    evidence.neutral_to_clip == Measured::Missing(Missing::BeyondRange)
}

/// What reads sound and has every frame live.
pub(super) const LIVE_THROUGHOUT: [Topology; 3] = [
    Topology::ReversedAndJoined,
    Topology::Mirror,
    Topology::ReversedAndJoinedUpstream,
];

/// What may hold the ground slot at a voltage against earth: a hot conductor, or what leaks onto
/// a ground that is open.
fn ground_away_from_earth() -> TopologySet {
    let mut set = TopologySet::of(&[
        Topology::OpenGround,
        Topology::ReversedOpenGround,
        Topology::OpenNeutralAndGround,
    ]);
    for topology in Topology::ALL {
        if topology.energises_ground() {
            set = set.with(topology);
        }
    }
    set
}

/// Voltage of the clip against the ground slot: `v_cw - v_gw`.
fn clip_to_ground(evidence: &Evidence, slots: &SlotVoltages) -> Volts {
    let Ok(clip) = evidence.clip_wide else {
        return Volts::ZERO;
    };
    let ground = &slots.ground_wide().fundamental;
    let re = clip.in_phase() - ground.in_phase();
    let im = clip.quadrature() - ground.quadrature();
    Volts::new(libm::hypotf(re.get(), im.get()))
}

/// A verdict that stops short of proving anything.
fn ended(outcome: Outcome, findings: &[Finding]) -> Verdict {
    let mut verdict = Verdict {
        outcome,
        findings: heapless::Vec::new(),
        unproven: Unproven::ALL,
    };
    for finding in findings {
        add(&mut verdict, Some(*finding));
    }
    verdict
}

fn with_doubt(outcome: Outcome, wiring: Finding, doubt: Option<Finding>) -> Verdict {
    let mut verdict = ended(outcome, &[]);
    // In a danger the wiring comes first, in doubt the reason of the doubt.
    let (first, second) = if outcome == Outcome::Danger {
        (Some(wiring), doubt)
    } else {
        (doubt, Some(wiring))
    };
    add(&mut verdict, first);
    add(&mut verdict, second);
    verdict
}

pub(super) fn add(verdict: &mut Verdict, finding: Option<Finding>) {
    if let Some(finding) = finding {
        // As many places as the ladder has rungs; each adds at most one.
        let _ = verdict.findings.push(finding);
    }
}
