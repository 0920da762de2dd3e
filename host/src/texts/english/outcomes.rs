//! What an outcome is called and what it means, and what is not yet proven.

use slotwise_core::verdict::{Outcome, Unproven};

/// One or two words for a table.
#[must_use]
pub(super) const fn word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => "PROVEN",
        Outcome::NoFaultFound => "NO FAULT FOUND",
        Outcome::Fault => "FAULT",
        Outcome::Danger => "DANGER",
        Outcome::CannotTell => "CANNOT TELL",
        Outcome::TesterFault => "TESTER FAULT",
    }
}

/// What the outcome means for the person in front of the receptacle.
#[must_use]
pub(super) const fn meaning(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => {
            "Every step held: slots, supply, earth path, load steps, and an earth that does not \
             come through this receptacle."
        }
        Outcome::NoFaultFound => {
            "Nothing measured here speaks against this receptacle. That is not yet a proof: what \
             was not checked is listed, with the one step that comes next."
        }
        Outcome::Fault => "Something is wrong with this receptacle or its circuit.",
        Outcome::Danger => {
            "Metal may be live. Hands off the appliance and every metal part near it."
        }
        Outcome::CannotTell => {
            "The measurement does not say what is behind this receptacle. Treat it as faulty \
             until it is told."
        }
        Outcome::TesterFault => {
            "The tester is not fit to answer. Nothing is said about this receptacle: treat it as \
             untested."
        }
    }
}

/// What is not yet proven, one phrase each.
#[must_use]
pub(super) fn unproven(unproven: Unproven) -> Vec<&'static str> {
    let mut list = Vec::new();
    if unproven.polarity {
        list.push("polarity: that the narrow slot is hot and the wide slot is neutral");
    }
    if unproven.earth_path {
        list.push("earth path: that the ground is a low resistance back to the panel");
    }
    if unproven.separate_ground {
        list.push("separate ground: that ground and neutral are not joined near this receptacle");
    }
    list
}

/// The same in a few words, for a table.
#[must_use]
pub(super) fn unproven_short(unproven: Unproven) -> Option<String> {
    let mut list = Vec::new();
    if unproven.polarity {
        list.push("polarity");
    }
    if unproven.earth_path {
        list.push("earth path");
    }
    if unproven.separate_ground {
        list.push("separate ground");
    }
    (!list.is_empty()).then(|| format!("not yet proven: {}", list.join(", ")))
}
