//! What was measured in one test, each value with its uncertainty or the reason why it is
//! missing. This is all that a verdict may rest on, and all that a record keeps of a
//! measurement: an old record can be judged again under other limits.

use serde::{Deserialize, Serialize};

use crate::slots::{ClipTarget, LEADS, Pair};
use crate::units::{Hertz, Ohms, Radians, Ratio, Volts};

/// A value and its standard uncertainty `u` (k = 1), in the same unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading<T> {
    /// The estimate.
    pub value: T,
    /// Its standard uncertainty, never negative.
    pub u: T,
}

/// A reading, or why there is none. A value that could not be measured is never 0 or NaN.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Measured<T> {
    /// Measured.
    Known(Reading<T>),
    /// Not measured, and why.
    Missing(Missing),
}

impl<T: Copy> Measured<T> {
    /// A measured value.
    #[must_use]
    pub const fn known(value: T, u: T) -> Self {
        Self::Known(Reading { value, u })
    }

    /// The estimate, if there is one.
    #[must_use]
    pub fn value(&self) -> Option<T> {
        self.reading().map(|reading| reading.value)
    }

    /// Estimate and uncertainty, if there are any.
    #[must_use]
    pub const fn reading(&self) -> Option<Reading<T>> {
        match self {
            Self::Known(reading) => Some(*reading),
            Self::Missing(_) => None,
        }
    }
}

/// Why a value is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Missing {
    /// This test did not ask for it.
    NotAsked,
    /// No voltage to measure it with.
    NoVoltage,
    /// The clip lead hangs free.
    ClipFree,
    /// An interlock refused: the current for this measurement would not have been safe.
    Refused,
    /// It moved too much to be stated.
    Unsteady,
    /// An input was beyond full scale.
    Clipped,
    /// Beyond what the current can measure: open, or all but open.
    BeyondRange,
    /// The tester's own current did not flow: the reading is less than any path can have.
    NoCurrent,
    /// The tester's relays could not be tested one by one, so its current was not used.
    RelaysUntested,
    /// The current limiter of this leg could not be tested, so its reading does not count.
    LimiterUntested,
}

/// RMS value and angle of the line-frequency component of a voltage.
///
/// The angle is against the reference pair of the test ([`SlotVoltages::reference`]).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Phasor {
    /// RMS of the fundamental, 0 V and up.
    pub rms: Volts,
    /// Angle against the reference, -pi ..= pi. Means nothing where `rms` is near its noise.
    pub angle: Radians,
}

impl Phasor {
    /// Part in phase with the reference.
    #[must_use]
    pub fn in_phase(&self) -> Volts {
        Volts::new(self.rms.get() * libm::cosf(self.angle.get()))
    }

    /// Part that leads the reference by a quarter turn.
    #[must_use]
    pub fn quadrature(&self) -> Volts {
        Volts::new(self.rms.get() * libm::sinf(self.angle.get()))
    }
}

/// One slot-pair voltage as measured over a test.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PairVoltage {
    /// Line-frequency component.
    pub fundamental: Phasor,
    /// True RMS: fundamental, mean value and [`Self::residual`].
    pub true_rms: Volts,
    /// What is left of the true RMS when fundamental and mean value are taken out:
    /// harmonics and noise. The converter's sinc3 response is not taken out of it: the third
    /// harmonic reads 1.0 % low, the fifth 2.7 % (see [`crate::front_end`]).
    pub residual: Volts,
    /// Mean value (DC).
    pub mean: Volts,
}

/// The voltages of the test, from the string currents of the four leads.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SlotVoltages {
    /// Narrow against wide, ground against wide, narrow against ground.
    pub pairs: [PairVoltage; 3],
    /// The pair whose angle is taken as zero: the largest.
    pub reference: usize,
    /// Standard uncertainty of a voltage as a share of its value (calibration).
    pub u_gain: Ratio,
    /// Standard uncertainty of a voltage near zero: noise of the window, and how far the
    /// strings differ in angle.
    pub u_floor: Volts,
    /// RMS fundamental of each lead against the star, channel order. An open slot draws no
    /// string current, so its lead reads near 0 here.
    pub leads: [Volts; LEADS],
}

impl SlotVoltages {
    /// The voltage of a slot pair. Clip pairs are not slot voltages: `None`.
    #[must_use]
    pub fn pair(&self, pair: Pair) -> Option<&PairVoltage> {
        match pair {
            Pair::NarrowWide => self.pairs.first(),
            Pair::GroundWide => self.pairs.get(1),
            Pair::NarrowGround => self.pairs.get(2),
            Pair::ClipWide | Pair::ClipGround => None,
        }
    }

    /// Standard uncertainty of a voltage of this test: gain and floor, independent of each
    /// other.
    #[must_use]
    pub fn uncertainty(&self, value: Volts) -> Volts {
        Volts::new(libm::hypotf(
            self.u_gain.get() * value.get(),
            self.u_floor.get(),
        ))
    }

    /// `v_nw`.
    #[must_use]
    pub const fn narrow_wide(&self) -> &PairVoltage {
        &self.pairs[0]
    }

    /// `v_gw`.
    #[must_use]
    pub const fn ground_wide(&self) -> &PairVoltage {
        &self.pairs[1]
    }

    /// `v_ng`.
    #[must_use]
    pub const fn narrow_ground(&self) -> &PairVoltage {
        &self.pairs[2]
    }
}

/// Sum of the four string currents, stated as the voltage it would be at one slot.
///
/// Charge has nowhere else to go than the capacitance C of the isolation barrier to earth, so
/// the sum is `j omega C R (V_star - V_earth)` with R a string. One lead stands at earth or near
/// it, and its voltage against the star is `V_earth - V_star`: **in a healthy tester the sum is
/// in quadrature with that lead**, however large C is. With the clip on an independent earth it
/// is the clip. Else which lead it is need not be known: it is the one that the sum is nearest to
/// quadrature with. A broken channel leaves a sum in phase with all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ZeroSum {
    /// Part in phase with the lead at earth: the clip, or the lead that the sum is nearest to
    /// quadrature with.
    pub in_phase: Volts,
    /// Part in quadrature with the largest lead.
    pub quadrature: Volts,
}

/// Health of the tester during the test, as far as the frames tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrameHealth {
    /// Whether the tester holds a valid calibration.
    pub calibrated: bool,
    /// Windows that went into the evidence.
    pub windows: u16,
    /// Frames that failed their check word or never arrived, since the test began.
    pub bad_frames: u32,
    /// Frames in which a lead was beyond full scale.
    pub clipped_frames: u32,
}

/// The load-step ratio rho = Z_neutral / (Z_hot + Z_neutral + Z_source) of the steps seen.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadStep {
    /// Real part of the ratio.
    pub rho: Reading<Ratio>,
    /// Size of its imaginary part.
    pub rho_imaginary: Ratio,
    /// Steps found.
    pub steps: u16,
    /// RMS of the sag of `v_nw` over the steps.
    pub sag: Volts,
}

impl LoadStep {
    /// Share of the sag that the neutral has: rho.
    #[must_use]
    pub const fn neutral_share(&self) -> Ratio {
        self.rho.value
    }

    /// Share of the sag that hot conductor and source have together: 1 - rho.
    #[must_use]
    pub fn hot_and_source_share(&self) -> Ratio {
        Ratio::new(1.0 - self.rho.value.get())
    }
}

/// What the load-cycle watch saw: the clip on the appliance's frame or on the common of its
/// 24 V side, while the appliance's own motors cycled.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Watch {
    /// How long it watched, in whole seconds.
    pub seconds: u16,
    /// Load steps found on narrow-wide.
    pub steps: u16,
    /// Statistic a: size of the median change of clip-wide at a step. A sound outlet moves by
    /// the drop on its neutral. [`Missing::NotAsked`] if the appliance has not cycled.
    pub neutral_drop: Measured<Volts>,
    /// Statistic b: size of the median change of clip-wide less that of ground-wide. A sound
    /// frame ground does not move. Missing as statistic a.
    pub frame_shift: Measured<Volts>,
    /// Clip against wide while the appliance idles: the lowest mean over one second.
    pub idle: Volts,
    /// Highest mean over one second of clip against wide.
    pub highest: Volts,
}

/// Everything that one test measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Slot voltages, or why there are none.
    pub slots: Result<SlotVoltages, Missing>,
    /// Line frequency.
    pub frequency: Measured<Hertz>,
    /// Greatest change of a slot voltage from one window of the test to the next.
    pub unsteadiness: Volts,
    /// Zero-sum check of the string currents.
    pub zero_sum: ZeroSum,
    /// Frames and clipping.
    pub health: FrameHealth,
    /// What the clip was said to be on.
    pub clip_target: ClipTarget,
    /// Clip against wide.
    pub clip_wide: Result<Phasor, Missing>,
    /// Resistance of the earth path: P1, what its current moves between ground and wide.
    pub earth_path: Measured<Ohms>,
    /// Resistance of hot conductor, source and earth path together: P1, what its current takes
    /// off between narrow and ground.
    pub hot_and_ground: Measured<Ohms>,
    /// Resistance of neutral and earth path together: P2, wide to ground.
    pub neutral_and_ground: Measured<Ohms>,
    /// Resistance from wide to what the clip is on: P2, wide to clip. To the appliance with the
    /// power off; to an independent earth with the power on, which shows that the clip touches
    /// it.
    pub neutral_to_clip: Measured<Ohms>,
    /// Load-step ratio.
    pub load_step: Result<LoadStep, Missing>,
    /// Load-cycle watch.
    pub watch: Result<Watch, Missing>,
}

impl Evidence {
    /// Evidence of a test in which nothing has been measured yet.
    #[must_use]
    pub const fn empty() -> Self {
        Self {
            slots: Err(Missing::NotAsked),
            frequency: Measured::Missing(Missing::NotAsked),
            unsteadiness: Volts::ZERO,
            zero_sum: ZeroSum {
                in_phase: Volts::ZERO,
                quadrature: Volts::ZERO,
            },
            health: FrameHealth {
                calibrated: false,
                windows: 0,
                bad_frames: 0,
                clipped_frames: 0,
            },
            clip_target: ClipTarget::NotConnected,
            clip_wide: Err(Missing::ClipFree),
            earth_path: Measured::Missing(Missing::NotAsked),
            hot_and_ground: Measured::Missing(Missing::NotAsked),
            neutral_and_ground: Measured::Missing(Missing::NotAsked),
            neutral_to_clip: Measured::Missing(Missing::NotAsked),
            load_step: Err(Missing::NotAsked),
            watch: Err(Missing::NotAsked),
        }
    }
}
