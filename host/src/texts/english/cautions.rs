//! What every report says of the tester's limits.

use crate::texts::Cautions;

/// All of it.
pub(super) const CAUTIONS: Cautions = Cautions {
    first: FIRST,
    list: &LIST,
    cannot_see: &CANNOT_SEE,
    invented: INVENTED,
};

const FIRST: &str = "This tester is not certified or listed by anyone. It helps you look; it does not make a \
     receptacle safe, and it never says that something is safe to touch.";

const LIST: [&str; 5] = [
    "No voltage between the slots does not mean safe: a slot may still be live against earth. \
     Prove a circuit dead with an approved detector before anybody touches a conductor.",
    "Local codes come first. Work in boxes, panels and services belongs to a licensed electrician.",
    "A lamp that is dark says nothing. A receptacle that was not tested is not a good one.",
    "A result holds for the moment of the test: a loose joint may change with the next load.",
    "Until it is put right, unplug the appliance from a faulty receptacle and mark it.",
];

const CANNOT_SEE: [&str; 4] = [
    "Neutral and ground exchanged at this box: both end on the same bar, so nothing measured here \
     tells them apart. Only opening the box does.",
    "Polarity, by the three slots alone: if hot and neutral are exchanged upstream and the ground is \
     joined to the wide slot, all three voltages are those of a sound receptacle. Only an earth that \
     does not come through this receptacle shows it; the appliance's own frame does not.",
    "A joint between neutral and ground further upstream, in many cases even with load steps.",
    "Anything behind another receptacle of the same circuit, and faults that come and go.",
];

const INVENTED: &str = "Everything in this report is invented: a computed house, a computed tester running the real \
     firmware. Nothing was measured on hardware.";
