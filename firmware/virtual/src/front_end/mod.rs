//! From volts at the converter's pins to 24-bit codes, 4000 times a second.
//!
//! A [`Source`] gives the pins' voltages as the converter's filter would average them; the
//! [`FrontEnd`] adds what the converter of one specimen adds: gain error, offset, white
//! noise, rounding and clipping. Frame `n` stands for the instant `n / 4000` s: the group
//! delay of the filter (the same for all channels) is left out, so a phase in the codes is
//! the phase at that instant.
//!
//! Everything is a function of the frame's number and the seed: asking again, or in another
//! order, gives the same codes.

mod hand;
mod plan;
mod record;
mod scene;
mod switched;
mod waveform;

pub use hand::{Hand, HandSource};
pub use plan::{PhasorSource, Stretch};
pub use record::{SlotColumns, SlotWaveform, WaveformError};
pub use waveform::{Repeat, WaveformSource};

use crate::outputs::Outputs;
use crate::tester::{CODES_PER_VOLT, FULL_SCALE_VOLTS, Specimen};
use core::f64::consts::PI;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use slotwise_core::sample::{AdcCode, FRAMES_PER_SECOND, Frame};
use slotwise_core::slots::{LEADS, Lead};

/// Frames a second, as a number to calculate with.
pub const RATE: f64 = FRAMES_PER_SECOND as f64;

/// 32-bit words of the noise generator set aside for each frame: four normal numbers take 8
/// as a rule, more when the ziggurat rejects.
const NOISE_WORDS: u128 = 64;

/// What the converter's sinc3 filter leaves of a sine of `hertz` at 4 kSPS.
///
/// `|sin(pi f / fs) / (pi f / fs)|^3`; the 1024 taps of the real filter differ from the
/// continuous form by 1e-6 of the droop.
#[must_use]
pub fn droop(hertz: f64) -> f64 {
    let x = PI * hertz / RATE;
    if x == 0.0 {
        1.0
    } else {
        (x.sin() / x).abs().powi(3)
    }
}

/// Where the voltages at the pins come from.
pub trait Source: Send {
    /// Volts at the pins in channel order at frame `number`, averaged by the converter's
    /// filter, without its errors.
    fn pins(&mut self, number: u64) -> [f64; LEADS];

    /// Says what the tester's own outputs do. A source that has no circuit in it, such as a
    /// recorded waveform, does not care.
    fn connect(&mut self, outputs: &Outputs) {
        let _ = outputs;
    }
}

/// What the converter's input switch puts on a channel instead of its pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TestInput {
    /// Both inputs shorted together.
    Shorted,
    /// Plus 2/15 of full scale.
    PositiveTest,
    /// Minus 2/15 of full scale.
    NegativeTest,
}

impl TestInput {
    /// The voltage it puts on the channel at gain 1: 0, +160 mV or -160 mV.
    #[must_use]
    pub const fn volts(self) -> f64 {
        match self {
            Self::Shorted => 0.0,
            Self::PositiveTest => FULL_SCALE_VOLTS * 2.0 / 15.0,
            Self::NegativeTest => FULL_SCALE_VOLTS * -2.0 / 15.0,
        }
    }
}

/// Whatever can deliver numbered frames: a [`FrontEnd`], or a player of stored ones.
pub trait FrameSource: Send {
    /// The codes of frame `number`.
    fn frame(&mut self, number: u64) -> Frame;

    /// As [`Source::connect`].
    fn connect(&mut self, outputs: &Outputs) {
        let _ = outputs;
    }

    /// The code of `lead` at frame `number` with its input switched to `input`. A source
    /// that has no converter of its own answers as an ideal one.
    fn test_code(&mut self, lead: Lead, input: TestInput, number: u64) -> AdcCode {
        let _ = (lead, number);
        code(input.volts())
    }
}

impl<F: FnMut(u64) -> Frame + Send> FrameSource for F {
    fn frame(&mut self, number: u64) -> Frame {
        self(number)
    }
}

/// The converter's analog side of one specimen.
pub struct FrontEnd {
    specimen: Specimen,
    source: Box<dyn Source>,
    noise: ChaCha8Rng,
}

impl FrontEnd {
    /// The front end of `specimen`, fed by `source`. The source must have been made for the
    /// same specimen, since its strings are part of the voltages.
    #[must_use]
    pub fn new(specimen: Specimen, source: Box<dyn Source>) -> Self {
        let mut noise = ChaCha8Rng::seed_from_u64(specimen.seed);
        // Stream 0 drew the parts.
        noise.set_stream(1);
        Self {
            specimen,
            source,
            noise,
        }
    }

    /// The tester whose front end this is.
    #[must_use]
    pub const fn specimen(&self) -> &Specimen {
        &self.specimen
    }

    /// Volts of `lead` against the star for each code, as [`Specimen::true_gain`].
    #[must_use]
    pub fn true_gain(&self, lead: Lead) -> f64 {
        self.specimen.true_gain(lead)
    }

    fn noise(&mut self, number: u64) -> [f64; LEADS] {
        if self.specimen.noise_volts == 0.0 {
            return [0.0; LEADS];
        }
        self.noise.set_word_pos(u128::from(number) * NOISE_WORDS);
        core::array::from_fn(|_| {
            let normal: f64 = self.noise.sample(StandardNormal);
            normal * self.specimen.noise_volts
        })
    }

    fn convert(&self, channel: usize, volts: f64, noise: f64) -> AdcCode {
        let converter = &self.specimen.converter[channel];
        code(volts * converter.gain + converter.offset_volts + noise)
    }
}

impl FrameSource for FrontEnd {
    fn frame(&mut self, number: u64) -> Frame {
        let pins = self.source.pins(number);
        let noise = self.noise(number);
        Frame {
            codes: core::array::from_fn(|channel| {
                self.convert(channel, pins[channel], noise[channel])
            }),
        }
    }

    fn connect(&mut self, outputs: &Outputs) {
        self.source.connect(outputs);
    }

    fn test_code(&mut self, lead: Lead, input: TestInput, number: u64) -> AdcCode {
        let channel = lead.channel();
        let noise = self.noise(number)[channel];
        self.convert(channel, input.volts(), noise)
    }
}

/// The code of an ideal converter for `volts` at its pins.
fn code(volts: f64) -> AdcCode {
    // `as` saturates, and the code itself is limited to 24 bits.
    AdcCode::saturating((volts * CODES_PER_VOLT).round() as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Steady([f64; LEADS]);

    impl Source for Steady {
        fn pins(&mut self, _: u64) -> [f64; LEADS] {
            self.0
        }
    }

    fn steady(specimen: Specimen, volts: f64) -> FrontEnd {
        FrontEnd::new(specimen, Box::new(Steady([volts; LEADS])))
    }

    #[test]
    fn the_droop_is_that_of_the_hardware_notes() {
        // Hardware notes section 3: 60 Hz -0.11 %, 180 -1.0, 300 -2.7, 660 -12.7 %,
        // 2 kHz -11.8 dB.
        for (hertz, percent) in [(60.0, 0.11), (180.0, 1.0), (300.0, 2.7), (660.0, 12.7)] {
            let got = 100.0 * (1.0 - droop(hertz));
            assert!((got - percent).abs() < 0.06, "{hertz} {got}");
        }
        assert!((20.0 * droop(2000.0).log10() + 11.8).abs() < 0.05);
        assert_eq!(droop(0.0), 1.0);
    }

    #[test]
    fn noise_has_the_rms_of_the_datasheet_and_no_mean() {
        let mut front = steady(Specimen::nominal(3), 0.1);
        let (mut sum, mut square, mut cross) = (0.0, 0.0, 0.0);
        let frames = 20_000;
        for number in 0..frames {
            let frame = front.frame(number);
            let volts = frame
                .codes
                .map(|code| f64::from(code.get()) / CODES_PER_VOLT - 0.1);
            sum += volts[0];
            square += volts[0] * volts[0];
            cross += volts[0] * volts[1];
        }
        let frames = frames as f64;
        let rms = (square / frames).sqrt();
        // The standard error of an RMS over 20 000 is 0.5 %.
        assert!((rms / 5.35e-6 - 1.0).abs() < 0.02, "{rms}");
        assert!((sum / frames).abs() < 4.0 * 5.35e-6 / frames.sqrt());
        // Channels are independent.
        assert!((cross / frames).abs() < 4.0 * 5.35e-6f64.powi(2) / frames.sqrt());
    }

    #[test]
    fn codes_do_not_depend_on_the_order_of_asking() {
        let mut one = steady(Specimen::nominal(11), 0.2);
        let mut other = steady(Specimen::nominal(11), 0.2);
        let forward: Vec<_> = (0..50).map(|number| one.frame(number)).collect();
        let mut backward: Vec<_> = (0..50).rev().map(|number| other.frame(number)).collect();
        backward.reverse();
        assert_eq!(forward, backward);
        assert_ne!(forward[0], forward[1]);
    }

    #[test]
    fn the_noise_of_a_seed_never_changes() {
        // Recorded dumps and expected figures of other rooms rest on these codes.
        let mut front = steady(Specimen::nominal(2024), 0.0);
        let codes = [0, 1, 1_000_000].map(|number| front.frame(number).codes.map(AdcCode::get));
        assert_eq!(
            codes,
            [[49, -36, 21, 29], [70, 2, -23, 20], [46, -16, 32, 10]]
        );
    }

    #[test]
    fn voltages_beyond_full_scale_clip() {
        let mut front = steady(Specimen::nominal(1).without_noise(), 1.3);
        assert_eq!(front.frame(0).codes, [AdcCode::MAX; LEADS]);
        let mut front = steady(Specimen::nominal(1).without_noise(), -1.3);
        assert_eq!(front.frame(0).codes, [AdcCode::MIN; LEADS]);
    }

    #[test]
    fn codes_are_rounded_to_the_nearest() {
        for (codes, expected) in [(10.4, 10), (10.6, 11), (-10.6, -11)] {
            let volts = codes / CODES_PER_VOLT;
            let mut front = steady(Specimen::nominal(1).without_noise(), volts);
            assert_eq!(front.frame(5).code(Lead::Ground).get(), expected);
        }
    }

    #[test]
    fn test_inputs_show_gain_and_offset_of_the_channel() {
        let mut specimen = Specimen::nominal(1).without_noise();
        specimen.converter[1].gain = 1.001;
        specimen.converter[1].offset_volts = 100e-6;
        let mut front = steady(specimen, 0.7);
        let mut read = |input| f64::from(front.test_code(Lead::Wide, input, 9).get());
        assert!((read(TestInput::Shorted) - 699.05).abs() <= 0.5);
        // 2/15 of 2^23 codes x 1.001 + offset.
        let positive = 8_388_608.0 * 2.0 / 15.0 * 1.001;
        assert!((read(TestInput::PositiveTest) - positive - 699.05).abs() <= 0.5);
        assert!((read(TestInput::NegativeTest) + positive - 699.05).abs() <= 0.5);
    }
}
