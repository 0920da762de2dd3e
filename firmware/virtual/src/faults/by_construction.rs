//! The currents by construction: ideal poles, resistances in series, no solver.
//!
//! The star stands at the mean of the leads weighted by their strings' conductances (Millman);
//! probe, drive and strings each send their own current into the ground hole or the clip. A body
//! of 500 ohm stands in series with each of them on its own: that one of them lifts it, and so
//! leaves the others less, is left out, as is that a limiter of one path leaves the other more.

use super::parts::{Limb, Parts};
use super::place::{BODY, Clip, Place};

/// RMS amperes out of ground hole and clip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ByHand {
    pub(super) amperes: f64,
    /// Both paths of the drive are closed and a limiter is at its limit: how they share is not
    /// worked out, so this is the most that they can carry together.
    pub(super) is_bound: bool,
}

/// What flows out of ground hole and clip.
pub(super) fn into_ground(place: &Place, parts: &Parts) -> ByHand {
    let ground = place.ground_volts();
    let clip = match place.clip {
        Clip::Free => None,
        Clip::Frame => Some(ground),
        Clip::Hand => Some(0.0),
    };
    let (narrow, wide) = (place.volts(place.narrow), place.volts(place.wide));
    let is_inner_tied = parts.reference.is_finite();
    // In series with what ends at the ground hole, at the clip.
    let hole_ohms = if place.ground.is_none() { BODY } else { 0.0 };
    let clip_ohms = match place.clip {
        Clip::Frame => hole_ohms,
        Clip::Hand | Clip::Free => BODY,
    };

    let [common, to_ground, to_clip] = parts.limbs;
    let is_reached = |end: Limb| common.ohms.is_finite() && end.closed && end.ohms.is_finite();
    // A clip that is on nothing goes where the drive takes it.
    let led = (clip.is_none() && is_reached(to_clip)).then_some(wide);
    let leads = [
        Some(narrow),
        Some(wide),
        is_inner_tied.then_some(ground),
        clip.or(led),
    ];
    let star = if parts.star_earthed {
        0.0
    } else {
        let sums = leads
            .iter()
            .zip(parts.strings)
            .fold((0.0, 0.0), |sums, (lead, ohms)| {
                lead.map_or(sums, |volts| (sums.0 + volts / ohms, sums.1 + 1.0 / ohms))
            });
        if sums.1 == 0.0 { 0.0 } else { sums.0 / sums.1 }
    };
    let mut line = 0.0;
    let tied = [leads[2], clip];
    for (lead, ohms) in tied.iter().zip(&parts.strings[2..]) {
        if let Some(volts) = lead {
            line += (star - volts) / ohms;
        }
    }
    if is_inner_tied && parts.probe_closed {
        line += (narrow - ground) / (parts.probe + parts.reference + hole_ohms);
    }
    let ends = [
        is_inner_tied.then_some((ground, parts.reference + hole_ohms, to_ground)),
        clip.map(|volts| (volts, clip_ohms, to_clip)),
    ];
    let ends: Vec<(f64, f64, f64)> = ends
        .into_iter()
        .flatten()
        .filter(|(_, _, limb)| is_reached(*limb))
        .map(|(volts, beyond, limb)| (volts, limb.ohms + beyond, limb.limit))
        .collect();
    // The node before the relays, for the line and for the drive.
    let siemens: f64 = ends.iter().map(|(_, ohms, _)| 1.0 / ohms).sum();
    let bridge = |feed: f64, volts: &dyn Fn(f64) -> f64| {
        let sum: f64 = ends.iter().map(|(end, ohms, _)| volts(*end) / ohms).sum();
        (feed / common.ohms + sum) / (1.0 / common.ohms + siemens)
    };
    let (of_line, of_drive) = (bridge(wide, &|volts| volts), bridge(parts.level, &|_| 0.0));
    let mut own = 0.0;
    let mut driven = 0.0;
    let mut most = 0.0;
    let mut is_limited = false;
    let is_two = ends.len() > 1;
    for (volts, ohms, limit) in ends {
        let linear = (of_line - volts) / ohms;
        let limited = linear.clamp(-limit, limit);
        is_limited |= limited != linear;
        own += limited;
        most += limited.abs();
        driven += (of_drive / ohms).min((limit * limit - limited * limited).max(0.0).sqrt());
    }
    is_limited |= own.abs() > common.limit;
    if is_two && is_limited {
        let amperes = line.abs() + (most + driven).min(common.limit);
        return ByHand {
            amperes,
            is_bound: true,
        };
    }
    own = own.clamp(-common.limit, common.limit);
    let room = (common.limit * common.limit - own * own).max(0.0).sqrt();
    ByHand {
        amperes: f64::hypot(line + own, driven.min(room)),
        is_bound: false,
    }
}
