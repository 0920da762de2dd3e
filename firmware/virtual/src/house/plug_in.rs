//! What an appliance that is plugged in beside the tester adds to a network that is already
//! wired: its load and, where nothing was plugged in before, its frame.

use super::receptacle::{Joint, Receptacle};
use super::wiring::{CONTACT, FRAME_TO_ROOM, RATED_VOLTS, SOUND_JOINT, Wired};
use crate::circuit::{Bridge, Node, Phasor};
use crate::quantity::Farads;
use core::f64::consts::TAU;
use slotwise_core::units::Amperes;

impl Wired {
    /// `more` amperes at 120 V from narrow to wide, at the frequency of the network. The frame
    /// is a contact, its joint and its capacitance to the room, one after the other.
    pub(crate) fn load(&self, receptacle: &Receptacle, more: Amperes) -> Vec<Bridge> {
        let [narrow, wide, ground, _] = self.slots;
        let ohms = |ohms: f32| Phasor::new(f64::from(ohms), 0.0);
        let capacitor = |farads: Farads| Phasor::new(0.0, -1.0 / (TAU * self.hertz * farads.get()));
        let mut bridges = vec![Bridge {
            from: narrow,
            to: wide,
            impedance: ohms(RATED_VOLTS / more.get()),
        }];
        if receptacle.appliance.is_none() {
            let joint = match receptacle.frame_joint {
                Joint::Sound => ohms((CONTACT + SOUND_JOINT).get()),
                Joint::Weak(joint) => ohms((CONTACT + joint).get()),
                Joint::Open => ohms(CONTACT.get()) + capacitor(receptacle.strays.across_break),
            };
            bridges.push(Bridge {
                from: ground,
                to: Node::REFERENCE,
                impedance: joint + capacitor(FRAME_TO_ROOM),
            });
        }
        bridges
    }
}
