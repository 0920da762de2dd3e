//! Single faults of the tester itself.

use super::draw::Draw;
use crate::circuit::Phasor;
use slotwise_core::slots::{LEADS, Lead};
use slotwise_core::stimulus::DrivePath;

/// One fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TesterFault {
    /// A channel reads nothing.
    DeadChannel(Lead),
    /// A channel's gain is off by this factor, 5 % at least. The zero-sum notices 1.4 % of a
    /// 40 V lead; with an earthed computer on the cable, where the sum has a direction of its
    /// own, up to 3 % can hide in it. Less than that moves a voltage by as little.
    GainShift(Lead, f64),
    /// Two channels are exchanged.
    SwappedChannels(Lead, Lead),
    /// The probe never closes: no current flows when the firmware believes it does.
    StuckProbe,
    /// The drive never closes, likewise.
    StuckDrive,
    /// One of the probe's two relays never opens: the other one switches, and every reading is
    /// right.
    WeldedProbe,
    /// The drive's relay to ground never opens, likewise.
    WeldedDrive,
    /// The current limiter of a leg of the drive does not limit: every reading is right.
    FailedLimiter(DrivePath),
    /// A high bit of a channel's codes is stuck. The error depends on the code alone, so its
    /// fundamental is in phase with the lead: this many volts RMS along it.
    StuckBit(Lead, f64),
}

impl TesterFault {
    /// The short names of all kinds, in the order of the alphabet.
    pub const NAMES: [&'static str; 9] = [
        "dead channel",
        "failed limiter",
        "gain shift",
        "stuck bit",
        "stuck drive",
        "stuck probe",
        "swapped channels",
        "welded drive relay",
        "welded probe relay",
    ];

    /// A fault of any kind.
    #[must_use]
    pub fn draw(draw: &mut Draw) -> Self {
        let lead = Lead::ALL[draw.below(LEADS)];
        match draw.below(9) {
            0 => Self::DeadChannel(lead),
            1 => {
                let size = draw.between(0.05, 0.3);
                let factor = if draw.happens(0.5) {
                    1.0 + size
                } else {
                    1.0 - size
                };
                Self::GainShift(lead, factor)
            }
            2 => {
                let step = 1 + draw.below(LEADS - 1);
                let other = Lead::ALL[(lead.channel() + step) % LEADS];
                Self::SwappedChannels(lead, other)
            }
            3 => Self::StuckProbe,
            4 => Self::StuckDrive,
            5 => Self::WeldedProbe,
            6 => Self::WeldedDrive,
            7 => Self::FailedLimiter(if draw.happens(0.5) {
                DrivePath::WideToGround
            } else {
                DrivePath::WideToClip
            }),
            _ => {
                // Bits 16 to 22 of 60 uV each: 3.9 V to 252 V, half of the time wrong.
                let volts = 60e-6 * f64::from(1_u32 << (16 + draw.below(7))) * 0.5;
                Self::StuckBit(lead, if draw.happens(0.5) { volts } else { -volts })
            }
        }
    }

    /// Its short name, for a table.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::DeadChannel(_) => "dead channel",
            Self::GainShift(..) => "gain shift",
            Self::SwappedChannels(..) => "swapped channels",
            Self::StuckProbe => "stuck probe",
            Self::StuckDrive => "stuck drive",
            Self::WeldedProbe => "welded probe relay",
            Self::WeldedDrive => "welded drive relay",
            Self::FailedLimiter(_) => "failed limiter",
            Self::StuckBit(..) => "stuck bit",
        }
    }

    /// What it makes of the leads' voltages.
    pub(super) fn disturb(&self, leads: &mut [Phasor; LEADS]) {
        match *self {
            Self::DeadChannel(lead) => leads[lead.channel()] = Phasor::new(0.0, 0.0),
            Self::GainShift(lead, factor) => leads[lead.channel()] *= factor,
            Self::SwappedChannels(one, other) => leads.swap(one.channel(), other.channel()),
            Self::StuckBit(lead, volts) => {
                let size = leads[lead.channel()].norm();
                if size > 0.0 {
                    leads[lead.channel()] *= 1.0 + volts / size;
                }
            }
            Self::StuckProbe
            | Self::StuckDrive
            | Self::WeldedProbe
            | Self::WeldedDrive
            | Self::FailedLimiter(_) => {}
        }
    }

    /// What it makes of what a current of the tester's own changes of the leads' voltages: of
    /// volts next to nothing, so that high bits of the codes do not move.
    pub(super) fn disturb_change(&self, leads: &mut [Phasor; LEADS]) {
        match self {
            Self::StuckProbe => *leads = [Phasor::new(0.0, 0.0); LEADS],
            Self::StuckBit(..)
            | Self::StuckDrive
            | Self::WeldedProbe
            | Self::WeldedDrive
            | Self::FailedLimiter(_) => {}
            _ => self.disturb(leads),
        }
    }
}
