//! The lamps as a person sees them on an emulated board: rhythms out of the edges of its pins.

use serde_json::Value;
use slotwise_core::lamps::{LAMPS, Lamp, Rhythm};

/// Names of the pins in the emulator's report, in the order of [`Lamp::ALL`].
const NAMES: [&str; LAMPS] = [
    "live-metal",
    "wired-right",
    "earth-path",
    "supply",
    "steady",
    "proven",
];

/// Edges of the lamps' pins.
#[derive(Debug)]
pub struct LampPins {
    /// Milliseconds, and whether the lamp was lit then; by lamp.
    edges: [Vec<(f64, bool)>; LAMPS],
}

impl LampPins {
    /// The edges in the emulator's report.
    ///
    /// # Panics
    /// If it holds none, or not all.
    #[must_use]
    pub fn of(report: &Value) -> Self {
        let lamps = &report["lamps"];
        let history = lamps["history"].as_array().expect("a history");
        assert_eq!(
            lamps["changes"].as_u64(),
            Some(history.len() as u64),
            "more changes than are kept"
        );
        let edges = NAMES.map(|name| {
            history
                .iter()
                .filter(|edge| edge["lamp"] == name)
                .map(|edge| {
                    let at = edge["ms"].as_f64().expect("milliseconds");
                    (at, edge["lit"].as_bool().expect("a level"))
                })
                .collect()
        });
        Self { edges }
    }

    /// The rhythm of a lamp from one millisecond to another, at least two seconds; `None` if it is
    /// none of the legend's in all of that time.
    ///
    /// The legend of hardware and README: 1 Hz, 4 Hz, half of the time lit; 8 Hz, a quarter of it.
    #[must_use]
    pub fn rhythm(&self, lamp: Lamp, from: f64, to: f64) -> Option<Rhythm> {
        let edges = &self.edges[lamp as usize];
        let mut lit = edges
            .iter()
            .take_while(|(at, _)| *at < from)
            .last()
            .is_some_and(|(_, lit)| *lit);
        let (mut since, mut lit_for, mut rises) = (from, 0.0, 0);
        let inside = edges.iter().filter(|(at, _)| (from..to).contains(at));
        for &(at, now) in inside {
            if lit {
                lit_for += at - since;
            }
            rises += u32::from(now);
            (since, lit) = (at, now);
        }
        if lit {
            lit_for += to - since;
        }
        let (a_second, share) = (
            f64::from(rises) * 1000.0 / (to - from),
            lit_for / (to - from),
        );
        let is = |rate: f64, part: f64| {
            // A beat begun at either end.
            (a_second - rate).abs() <= 1000.0 / (to - from) && (share - part).abs() < 0.15
        };
        if rises == 0 && share == 0.0 {
            Some(Rhythm::Off)
        } else if rises == 0 && share == 1.0 {
            Some(Rhythm::Steady)
        } else if is(1.0, 0.5) {
            Some(Rhythm::SlowBlink)
        } else if is(4.0, 0.5) {
            Some(Rhythm::FastBlink)
        } else if is(8.0, 0.25) {
            Some(Rhythm::FastPulse)
        } else {
            None
        }
    }

    /// Whether any lamp was lit from one millisecond to another.
    #[must_use]
    pub fn any_lit(&self, from: f64, to: f64) -> bool {
        Lamp::ALL
            .into_iter()
            .any(|lamp| self.rhythm(lamp, from, to) != Some(Rhythm::Off))
    }
}
