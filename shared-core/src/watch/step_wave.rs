//! One step of a watch as it is kept: what it changed and how it went.

use serde::{Deserialize, Serialize};

use crate::evidence::Phasor;
use crate::load_step::{Found, POINTS, Point};
use crate::units::{Millis, Volts};

/// Most bytes of a [`StepWave`] as postcard: two whole numbers of 16 and 64 bits (3 + 10), sag
/// (4), two phasors (16), an optional one (9), the number of points (1) and eight of them, each
/// nine levels of at most 3 bytes (216).
pub const STEP_WAVE_MAX_BYTES: usize = 3 + 10 + 4 + 16 + 9 + 1 + POINTS * 9 * 3;

/// A load step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StepWave {
    /// Which step of the watch: 1, 2, 3 ...
    pub number: u16,
    /// When it happened, from the start of the watch: the end of the window of 200 ms in which it
    /// did, or of the one before.
    pub at: Millis,
    /// Change of `|v_nw|`, negative when a load came on.
    pub sag: Volts,
    /// Change of `v_nw` and `v_gw`, angles against `v_nw` before the step.
    pub narrow_wide: Phasor,
    /// See [`Self::narrow_wide`].
    pub ground_wide: Phasor,
    /// Change of `v_cw`, if the clip is on something.
    pub clip_wide: Option<Phasor>,
    /// The windows around it; the one that ended at [`Self::at`] is number
    /// [`crate::load_step::POINTS_BEFORE`].
    pub course: heapless::Vec<Point, POINTS>,
}

impl StepWave {
    pub(super) fn of(found: Found, number: u16, at: Millis, has_clip: bool) -> Self {
        let change = &found.change;
        Self {
            number,
            at,
            sag: change.sag(),
            narrow_wide: change.narrow_wide(),
            ground_wide: change.ground_wide(),
            clip_wide: has_clip.then(|| change.clip_wide()),
            course: found.course,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load_step::Level;
    use crate::units::Radians;
    use crate::window::BLOCKS;

    #[test]
    fn the_largest_step_has_the_stated_bytes_and_comes_back() {
        let top = Level::from_number(u16::MAX);
        let phasor = Phasor {
            rms: Volts::new(3.0e38),
            angle: Radians::new(-3.0),
        };
        let point = Point {
            narrow_wide: [top; BLOCKS],
            ground_wide: top,
            clip_wide: top,
        };
        let step = StepWave {
            number: u16::MAX,
            at: Millis::new(u64::MAX),
            sag: Volts::new(-1.0),
            narrow_wide: phasor,
            ground_wide: phasor,
            clip_wide: Some(phasor),
            course: core::iter::repeat_n(point, POINTS).collect(),
        };
        let mut buffer = [0; STEP_WAVE_MAX_BYTES];
        let bytes = postcard::to_slice(&step, &mut buffer).unwrap();
        assert_eq!(bytes.len(), STEP_WAVE_MAX_BYTES);
        assert_eq!(postcard::from_bytes::<StepWave>(bytes), Ok(step));
        // What a record has room for beside what every record carries.
        const { assert!(STEP_WAVE_MAX_BYTES < 1300) };
    }
}
