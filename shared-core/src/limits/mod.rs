//! Every threshold of the judgement, with unit and source. No other folder holds one; the supply
//! bands are in `bands`.
//!
//! Sources are named by title and clause; "from memory" marks a value whose source text was
//! not open when it was written down, and "arithmetic" one that follows from the circuit in
//! the crate's README.

mod bands;
mod calibration;
mod drive;
mod limiters;
mod probe;
mod relays;
mod self_test;
mod watch;

use crate::units::{Hertz, Ohms, Ratio, Volts};
pub use bands::{BandSet, SupplyBand};
pub use calibration::CalibrationLimits;
pub use drive::DriveLimits;
pub use limiters::LimiterLimits;
pub use probe::ProbeLimits;
pub use relays::RelayLimits;
pub use self_test::SelfTestLimits;
pub use watch::WatchLimits;

/// The limits of one judgement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Supply band in force.
    pub supply: &'static SupplyBand,

    /// A pair at or above this is driven by a hot conductor. A 120 V circuit that has sagged
    /// to an interruption of supply (0.9 pu = 108 V is a sag; below half it is none) still
    /// reads above; a phantom half of an open slot (60 V, at most 78 V with 1 nF of cable)
    /// reads below. Arithmetic on the string circuit.
    pub live_low: Volts,
    /// A pair up to this may be one hot leg against neutral or earth. A lost service neutral
    /// puts up to 168 V there (worked example of the house model); beyond it two hots.
    pub live_high: Volts,
    /// A pair from this up is two hots. 208 V (two legs of a wye) less 10 %: arithmetic.
    pub two_hots_low: Volts,
    /// Highest plausible voltage between two slots: 240 V + 10 %, arithmetic.
    pub two_hots_high: Volts,
    /// A pair below this counts as "no voltage" in a pattern. 5 V is the interlock of the
    /// earth-path probe, and the most that stage-power practice accepts between neutral and
    /// ground (T. Betress, "Receptacle Testing": 0-5 V).
    pub near_zero: Volts,
    /// All pairs below this: no voltage at all. Twice the window noise of a star left floating
    /// beside live wiring would be under 0.1 V; 1 V is a hundred times the u of a window.
    pub dead: Volts,
    /// Least voltage of the reference pair of which a frequency is stated. At 3 V the noise of
    /// a 200-frame block (0.2 mV) turns its phase by 1e-4; arithmetic.
    pub frequency_least: Volts,
    /// Most that an open hot leaves between narrow and wide with nothing plugged in besides
    /// (house model: 10 V or less).
    pub open_hot_high: Volts,
    /// An open slot's lead reads at most this share of the largest lead against the star
    /// (0 with no cable; 1 nF of cable capacitance moves the halves to 52/78 V, a lead of
    /// 13 V out of 65 V = 0.2; arithmetic).
    pub open_lead_share: Ratio,

    /// Lowest frequency of utility supply. Under-frequency load shedding starts at 59.5 Hz
    /// (59.3 Hz in Texas): NERC PRC-006, from memory.
    pub utility_low: Hertz,
    /// Highest frequency of utility supply; the mirror of the lowest. From memory.
    pub utility_high: Hertz,

    /// In-phase zero-sum residue allowed whatever the voltages (0.3 V, arithmetic on string
    /// mismatch and noise).
    pub sum_floor: Volts,
    /// ... and as a share of the largest lead (0.3 %).
    pub sum_share: Ratio,
    /// Quadrature zero-sum residue allowed, as a share of the largest lead: 15 V of 40 V is an
    /// earthed computer's 1 nF on the cable.
    pub sum_quadrature_share: Ratio,

    /// Windows of a test may differ by this much.
    pub steady: Volts,
    /// Share of bad frames above which the tester gives no answer.
    pub bad_frame_share: Ratio,

    /// Voltage of ground or frame above which it is live. 30 V RMS is the limit of a touchable
    /// voltage in normal condition, IEC 61010-1:2010 6.3.1 (from memory).
    pub touchable: Volts,

    /// Lowest earth path that a working probe can read. The reference resistor is in every
    /// reading and is taken out again; its 0.1 % of 10 ohm is 0.01 ohm and the estimator's p95
    /// error 0.17 ohm in 1 s, so a result below -0.5 ohm was not measured through it.
    pub earth_path_lowest: Ohms,
    /// Earth path accepted as sound, with three standard uncertainties added. 1 ohm equipment
    /// grounding conductor at the outlet: ANSI/ESD S6.1 6.2.1.
    pub earth_path_sound: Ohms,
    /// Standard uncertainty above which the earth path cannot be told.
    pub earth_path_u: Ohms,

    /// Resistance of the neutral, P2 less P1, from which a joint in it is sure, three standard
    /// uncertainties taken off. The neutral is a conductor of the same cable and gauge as the
    /// equipment ground (NEC Table 250.122 at 15 and 20 A), so what counts as sound for the one
    /// (ANSI/ESD S6.1 6.2.1) does for the other.
    pub neutral_sound: Ohms,
    /// Resistance of hot conductor and source, the loop less the earth path, from which a joint
    /// in it is sure, three standard uncertainties taken off. The same cable again; such a joint
    /// takes 15 V off at 15 A, and it lowers rho, so it also voids "joined".
    pub hot_sound: Ohms,
    /// Most resistance of the neutral, P2 less P1, with neutral and ground joined near the
    /// receptacle: the join leaves 0.06 of the loop in the neutral (see `rho_joined`), and a
    /// loop of 1.6 ohm already drops 20 % of 120 V at 15 A. Arithmetic.
    pub joined_neutral_most: Ohms,

    /// Load step: separate if rho - 4u is above this.
    pub rho_separate: Ratio,
    /// Load step: joined near the receptacle if rho + 4u is below this.
    pub rho_joined: Ratio,
    /// Load step: weak neutral if rho - 4u is above this.
    pub rho_weak_neutral: Ratio,
    /// Load step: cannot tell if the imaginary part is above this.
    pub rho_imaginary: Ratio,
    /// Load step: fewest steps.
    pub rho_steps: u16,
    /// Load step: least sag, RMS (about 2 A on a usual branch).
    pub rho_sag: Volts,

    /// Neutral against an independent earth that still counts as "at earth": the neutral drop
    /// of a loaded branch, 5 % of 120 V (NEC 215.2 Informational Note, feeder and branch).
    pub neutral_to_earth: Volts,

    /// Probe P1.
    pub probe: ProbeLimits,

    /// Drive P2.
    pub drive: DriveLimits,
    /// The test of its current limiters.
    pub limiters: LimiterLimits,
    /// The test of the relays of both.
    pub relays: RelayLimits,
    /// Load steps that are looked for, and the load-cycle watch.
    pub watch: WatchLimits,
}

impl Limits {
    /// The limits in force unless others are asked for.
    pub const DEFAULT: Self = Self::with_band(BandSet::C84Utilization);

    /// The default limits with another supply band.
    #[must_use]
    pub const fn with_band(set: BandSet) -> Self {
        Self {
            supply: set.band(),
            live_low: Volts::new(85.0),
            live_high: Volts::new(175.0),
            two_hots_low: Volts::new(187.0),
            two_hots_high: Volts::new(264.0),
            near_zero: Volts::new(5.0),
            dead: Volts::new(1.0),
            frequency_least: Volts::new(3.0),
            open_hot_high: Volts::new(15.0),
            open_lead_share: Ratio::new(0.25),
            utility_low: Hertz::new(59.3),
            utility_high: Hertz::new(60.7),
            sum_floor: Volts::new(0.3),
            sum_share: Ratio::new(0.003),
            sum_quadrature_share: Ratio::new(0.5),
            steady: Volts::new(2.0),
            bad_frame_share: Ratio::new(0.01),
            touchable: Volts::new(30.0),
            earth_path_lowest: Ohms::new(-0.5),
            earth_path_sound: Ohms::new(1.0),
            earth_path_u: Ohms::new(0.15),
            neutral_sound: Ohms::new(1.0),
            hot_sound: Ohms::new(1.0),
            joined_neutral_most: Ohms::new(0.1),
            rho_separate: Ratio::new(0.15),
            rho_joined: Ratio::new(0.06),
            rho_weak_neutral: Ratio::new(0.60),
            rho_imaginary: Ratio::new(0.15),
            rho_steps: 3,
            rho_sag: Volts::new(0.5),
            neutral_to_earth: Volts::new(6.0),
            probe: ProbeLimits::DEFAULT,
            drive: DriveLimits::DEFAULT,
            limiters: LimiterLimits::DEFAULT,
            relays: RelayLimits::DEFAULT,
            watch: WatchLimits::DEFAULT,
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self::DEFAULT
    }
}
