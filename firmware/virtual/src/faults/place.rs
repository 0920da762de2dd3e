//! Where the tester is plugged in, and who touches what.
//!
//! Potentials are those of an ideal supply: a leg is 132 V against neutral, 10 % above 120 V,
//! and the other leg its negative. That is the voltage of UL 943's end point too: 264 mA through
//! 500 ohm (from memory).

/// What a slot is wired to, as a multiple of a leg's voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pole {
    /// One hot leg.
    Leg1,
    /// The other.
    Leg2,
    /// Neutral.
    Neutral,
    /// Equipment ground.
    Ground,
}

/// What the clip lead is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clip {
    /// Nothing.
    Free,
    /// The frame of the appliance, which is on the ground hole.
    Frame,
    /// A hand: a body to earth.
    Hand,
}

/// One situation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its name.
    pub name: &'static str,
    /// Narrow slot.
    pub narrow: Pole,
    /// Wide slot.
    pub wide: Pole,
    /// Ground hole; none is open, and then a person holds the frame that hangs on it.
    pub ground: Option<Pole>,
    /// Volts of a leg.
    pub leg: f64,
    /// The clip.
    pub clip: Clip,
}

/// A leg at its highest, RMS.
const HIGH: f64 = 132.0;
/// A leg after a lost service neutral, as far as the probe is still allowed on it.
const LOST_NEUTRAL: f64 = 150.0;

/// Resistance of a person from a frame to earth in UL 943's model (from memory).
pub(super) const BODY: f64 = 500.0;

/// A conductor of the branch, joints included.
pub(super) const WIRE: f64 = 0.2;

/// Wirings: narrow, wide, ground.
const WIRINGS: [(&str, [Option<Pole>; 3], f64); 12] = {
    use Pole::{Ground, Leg1, Leg2, Neutral};
    [
        ("sound", [Some(Leg1), Some(Neutral), Some(Ground)], HIGH),
        ("reversed", [Some(Neutral), Some(Leg1), Some(Ground)], HIGH),
        (
            "ground on hot",
            [Some(Leg1), Some(Neutral), Some(Leg1)],
            HIGH,
        ),
        (
            "ground on the other leg",
            [Some(Leg1), Some(Neutral), Some(Leg2)],
            HIGH,
        ),
        (
            "240 V, two hots",
            [Some(Leg1), Some(Leg2), Some(Ground)],
            HIGH,
        ),
        (
            "two hots, ground on narrow's",
            [Some(Leg1), Some(Leg2), Some(Leg1)],
            HIGH,
        ),
        (
            "two hots, ground on wide's",
            [Some(Leg1), Some(Leg2), Some(Leg2)],
            HIGH,
        ),
        (
            "lost service neutral",
            [Some(Leg1), Some(Neutral), Some(Ground)],
            LOST_NEUTRAL,
        ),
        ("power off", [Some(Leg1), Some(Neutral), Some(Ground)], 0.0),
        (
            "open ground, person",
            [Some(Leg1), Some(Neutral), None],
            HIGH,
        ),
        (
            "reversed, open ground, person",
            [Some(Neutral), Some(Leg1), None],
            HIGH,
        ),
        (
            "240 V, open ground, person",
            [Some(Leg1), Some(Leg2), None],
            HIGH,
        ),
    ]
};

impl Place {
    /// Every wiring with the clip free, on the frame, and in a hand.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for (name, poles, leg) in WIRINGS {
            let [Some(narrow), Some(wide), ground] = poles else {
                continue;
            };
            for clip in [Clip::Free, Clip::Frame, Clip::Hand] {
                all.push(Self {
                    name,
                    narrow,
                    wide,
                    ground,
                    leg,
                    clip,
                });
            }
        }
        all
    }

    /// Volts of a pole against earth.
    #[must_use]
    pub(super) fn volts(&self, pole: Pole) -> f64 {
        match pole {
            Pole::Leg1 => self.leg,
            Pole::Leg2 => -self.leg,
            Pole::Neutral | Pole::Ground => 0.0,
        }
    }

    /// Volts of the ground hole against earth; a body holds an open one at earth, all but its
    /// own drop.
    #[must_use]
    pub(super) fn ground_volts(&self) -> f64 {
        self.ground.map_or(0.0, |pole| self.volts(pole))
    }
}
