//! What the passes so far have told of each relay, and what is to follow.

use crate::limits::RelayLimits;
use crate::self_test::{Relay, SelfTestFailure};

use super::{Pass, Said};

/// What is to follow on a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Then {
    /// Another pass.
    Again,
    /// The test is over: which currents may be driven. `false`: a relay of its path was not
    /// tested.
    Done {
        /// Probe P1.
        probe: bool,
        /// Drive P2.
        drive: bool,
    },
    /// A relay does not open.
    Failed(SelfTestFailure),
}

/// The passes of one test, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    passes: u8,
    opens: [u8; Relay::ALL.len()],
    closed: [u8; Relay::ALL.len()],
}

impl Tally {
    /// No pass yet.
    pub const NEW: Self = Self {
        passes: 0,
        opens: [0; Relay::ALL.len()],
        closed: [0; Relay::ALL.len()],
    };

    /// Passes so far: the number of the next one.
    #[must_use]
    pub const fn passes(&self) -> u8 {
        self.passes
    }

    /// Takes a pass. `probe`: whether there is voltage to test the probe's relays with; without,
    /// they count as not tested and are not waited for.
    pub fn take(&mut self, pass: &Pass, probe: bool, limits: &RelayLimits) -> Then {
        self.passes = self.passes.saturating_add(1);
        let rows = Relay::ALL
            .iter()
            .zip(self.opens.iter_mut().zip(&mut self.closed));
        for (relay, (opens, closed)) in rows {
            match pass.of(*relay) {
                Said::Opens => *opens += 1,
                Said::Untold => {}
                Said::Flows {
                    milliohms,
                    most_milliohms,
                } => {
                    *closed += 1;
                    if *closed >= *opens + limits.agreeing {
                        return Then::Failed(SelfTestFailure::RelayClosed {
                            relay: *relay,
                            milliohms,
                            most_milliohms,
                        });
                    }
                }
            }
        }
        let is_tested = |relays: [Relay; 2]| {
            relays.iter().all(|relay| {
                let place = *relay as usize;
                self.opens.get(place) > self.closed.get(place)
            })
        };
        let on_probe = is_tested([Relay::ProbeA, Relay::ProbeB]);
        let on_drive = is_tested([Relay::DriveToGround, Relay::DriveToClip]);
        if (on_drive && (on_probe || !probe)) || self.passes >= limits.passes {
            Then::Done {
                probe: probe && on_probe,
                drive: on_drive,
            }
        } else {
            Then::Again
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: RelayLimits = RelayLimits::DEFAULT;
    const FLOWS: Said = Said::Flows {
        milliohms: 10_200,
        most_milliohms: 5_000,
    };

    fn pass(said: [Said; 4]) -> Pass {
        Pass::new(said)
    }

    #[test]
    fn one_pass_in_which_all_open_is_enough() {
        let mut tally = Tally::NEW;
        let then = tally.take(&pass([Said::Opens; 4]), true, &LIMITS);
        assert_eq!(
            then,
            Then::Done {
                probe: true,
                drive: true
            }
        );
    }

    #[test]
    fn three_passes_must_agree_on_a_current() {
        for relay in Relay::ALL {
            let mut said = [Said::Opens; 4];
            said[relay as usize] = FLOWS;
            let mut tally = Tally::NEW;
            for _ in 1..LIMITS.agreeing {
                assert_eq!(tally.take(&pass(said), true, &LIMITS), Then::Again);
            }
            let then = tally.take(&pass(said), true, &LIMITS);
            let Then::Failed(SelfTestFailure::RelayClosed { relay: named, .. }) = then else {
                panic!("{relay:?}: {then:?}");
            };
            assert_eq!(named, relay);
        }
    }

    #[test]
    fn a_current_that_wanders_to_the_other_relay_is_neither_a_fault_nor_a_pass() {
        let mut tally = Tally::NEW;
        for number in 0..5 {
            let mut said = [Said::Opens; 4];
            said[number % 2] = FLOWS;
            let expected = if number < 4 {
                Then::Again
            } else {
                Then::Done {
                    probe: false,
                    drive: true,
                }
            };
            assert_eq!(tally.take(&pass(said), true, &LIMITS), expected);
        }
    }

    #[test]
    fn what_is_not_told_in_five_passes_is_not_tested() {
        for untold in Relay::ALL {
            let mut said = [Said::Opens; 4];
            said[untold as usize] = Said::Untold;
            let mut tally = Tally::NEW;
            for _ in 1..LIMITS.passes {
                assert_eq!(tally.take(&pass(said), true, &LIMITS), Then::Again);
            }
            let is_of_probe = matches!(untold, Relay::ProbeA | Relay::ProbeB);
            assert_eq!(
                tally.take(&pass(said), true, &LIMITS),
                Then::Done {
                    probe: !is_of_probe,
                    drive: is_of_probe
                }
            );
        }
    }

    #[test]
    fn without_voltage_the_probe_is_not_waited_for_and_not_passed() {
        let mut tally = Tally::NEW;
        let said = [Said::Untold, Said::Untold, Said::Opens, Said::Opens];
        assert_eq!(
            tally.take(&pass(said), false, &LIMITS),
            Then::Done {
                probe: false,
                drive: true
            }
        );
    }
}
