//! What an answer of the checklist says about the tests of the same visit: a set of wirings that
//! the slots cannot tell apart gets smaller when somebody has looked.

use slotwise_core::finding::FindingCode;
use slotwise_core::topology::Topology;
use slotwise_core::verdict::Verdict;

use super::{Checklist, GroundWire, Joined};

/// One of the wirings behind a finding that was seen to be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Explained {
    /// The finding of the test.
    pub finding: FindingCode,
    /// The wiring that was seen.
    pub seen: Topology,
}

/// Which findings of `verdict` the answers explain. Only a wiring that the finding itself names
/// among those it cannot tell apart is an explanation of it.
#[must_use]
pub fn explains(answers: &Checklist, verdict: &Verdict) -> Vec<Explained> {
    let mut seen: Vec<Topology> = Vec::new();
    if answers.ground_wire == Some(GroundWire::RodOnly) {
        seen.push(Topology::GroundOnRodOnly);
    }
    seen.extend_from_slice(match answers.joined {
        Some(Joined::Receptacle) => &[Topology::JoinedAtBox, Topology::ReversedAndJoined],
        Some(Joined::Subpanel) => &[
            Topology::JoinedUpstream,
            Topology::ReversedAndJoinedUpstream,
        ],
        Some(Joined::Appliance) => &[Topology::JoinedInAppliance],
        Some(Joined::Nowhere) => &[Topology::LostPanelBond],
        Some(Joined::PanelOnly | Joined::NotLooked) | None => &[],
    });
    verdict
        .findings
        .iter()
        .flat_map(|finding| {
            seen.iter()
                .filter(|topology| finding.rivals.iter().any(|rival| rival == **topology))
                .map(|topology| Explained {
                    finding: finding.code,
                    seen: *topology,
                })
        })
        .collect()
}
