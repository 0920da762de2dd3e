//! Codes against the truth, by a plain Fourier sum that shares nothing with the core's
//! estimators: over one second of a 60 Hz supply every harmonic falls on a whole bin.

use core::f64::consts::TAU;
use slotwise_core::slots::{LEADS, Lead};
use slotwise_core::units::{Hertz, Ratio, Volts};
use slotwise_virtual::chips::adc::VirtualAdc;
use slotwise_virtual::circuit::Phasor;
use slotwise_virtual::clock::SimClock;
use slotwise_virtual::frames_file::{FramePlayer, read_frames, write_source};
use slotwise_virtual::front_end::{
    FrameSource, FrontEnd, PhasorSource, Repeat, SlotColumns, SlotWaveform, Stretch,
    WaveformSource, droop,
};
use slotwise_virtual::house::{Receptacle, Supply, bank, find};
use slotwise_virtual::tester::{Specimen, Tolerance};

/// RMS phasors of `hertz` in the codes of one second from frame 0, a channel each.
fn fourier(source: &mut dyn FrameSource, hertz: f64) -> [Phasor; LEADS] {
    let mut sums = [Phasor::new(0.0, 0.0); LEADS];
    for number in 0..4000u64 {
        let turn = Phasor::from_polar(1.0, -TAU * hertz * number as f64 / 4000.0);
        let frame = source.frame(number);
        for (sum, code) in sums.iter_mut().zip(frame.codes) {
            *sum += turn * f64::from(code.get());
        }
    }
    sums.map(|sum| sum * core::f64::consts::SQRT_2 / 4000.0)
}

fn plugged(specimen: &Specimen, receptacle: &Receptacle) -> FrontEnd {
    let source = PhasorSource::plugged(specimen, receptacle).unwrap();
    FrontEnd::new(specimen.clone(), Box::new(source))
}

#[test]
fn without_noise_the_true_gains_give_back_the_truth() {
    let specimen = Specimen::draw(42, &Tolerance::USUAL).without_noise();
    let mut worst: f64 = 0.0;
    for named in bank() {
        if (named.receptacle.supply.frequency.get() - 60.0).abs() > 1e-6
            || named.receptacle.appliance.is_some()
        {
            continue;
        }
        let truth = named.receptacle.solve(&specimen, false).unwrap().truth;
        let codes = fourier(&mut plugged(&specimen, &named.receptacle), 60.0);
        // String by string, phase included: only rounding is left.
        let volts: Vec<Phasor> = Lead::ALL
            .into_iter()
            .map(|lead| {
                let string = specimen.strings[lead.channel()].gain(60.0);
                let turn = string / string.norm();
                codes[lead.channel()] * specimen.true_gain_at(lead, 60.0) / turn
            })
            .collect();
        // The strings of ground and clip start behind a resistor, on which their own current
        // leaves up to 1.2 mV.
        let parts = &specimen.currents;
        let [behind, behind_clip] = [
            (Lead::Ground, parts.reference),
            (Lead::Clip, parts.clip_reference),
        ]
        .map(|(lead, ohms)| truth.lead_currents[lead.channel()] * f64::from(ohms.get()));
        for (pair, got) in [
            (truth.nw, volts[0] - volts[1]),
            (truth.gw - behind, volts[2] - volts[1]),
            (truth.ng + behind, volts[0] - volts[2]),
            (truth.cw - behind_clip, volts[3] - volts[1]),
        ] {
            worst = worst.max((pair - got).norm());
        }
    }
    // Rounding is 17 uV RMS a frame, and at 60 Hz the same 200 codes come again and again:
    // 17 uV x sqrt(2 / 200) x sqrt 2 for a pair is 2.5 uV RMS.
    println!("worst pair error {:.2} uV", worst * 1e6);
    assert!(worst < 10e-6, "{worst}");
}

#[test]
fn noise_in_one_second_is_what_the_theory_says() {
    // 2.2 mV RMS a frame at the slot; the RMS phasor's noise over N frames is
    // 2.2 mV sqrt(2 / N) in magnitude (both parts), 0.05 mV for 4000.
    let receptacle = &find("sound").unwrap().receptacle;
    let mut square = 0.0;
    let runs = 24;
    for seed in 0..runs {
        let noisy = Specimen::nominal(seed);
        let clean = noisy.clone().without_noise();
        let with = fourier(&mut plugged(&noisy, receptacle), 60.0);
        let without = fourier(&mut plugged(&clean, receptacle), 60.0);
        for lead in Lead::ALL {
            let difference = with[lead.channel()] - without[lead.channel()];
            square += (difference * noisy.true_gain(lead)).norm_sqr();
        }
    }
    let rms = (square / (runs as f64 * LEADS as f64)).sqrt();
    let expected = 5.35e-6 / 2.38315e-3 * (2.0f64 / 4000.0).sqrt();
    println!(
        "phasor noise {:.1} uV, theory {:.1} uV",
        rms * 1e6,
        expected * 1e6
    );
    assert!((rms / expected - 1.0).abs() < 0.15, "{rms} {expected}");
}

#[test]
fn harmonics_arrive_with_droop_and_string() {
    let specimen = Specimen::nominal(1).without_noise();
    let receptacle = Receptacle::sound()
        .with_supply(Supply::pure(Volts::new(120.0), Hertz::new(60.0)).with_thd(Ratio::new(0.05)));
    let solved = receptacle.solve(&specimen, false).unwrap();
    for harmonic in solved.harmonics() {
        let hertz = 60.0 * f64::from(harmonic.order);
        let codes = fourier(&mut plugged(&specimen, &receptacle), hertz);
        let expected = harmonic.pins[0] * droop(hertz) * 8_388_608.0 / 1.2;
        let error = (codes[0] - expected).norm() / expected.norm();
        assert!(error < 1e-4, "order {}: {error}", harmonic.order);
    }
    // Nothing on the even harmonics.
    let second = fourier(&mut plugged(&specimen, &receptacle), 120.0);
    assert!(second[0].norm() < 1.0, "{}", second[0]);
}

#[test]
fn two_hundred_and_forty_volts_do_not_clip_and_more_does() {
    let specimen = Specimen::nominal(1);
    let mut front = plugged(&specimen, &find("volts-240").unwrap().receptacle);
    assert!((0..4000).all(|number| {
        front
            .frame(number)
            .codes
            .iter()
            .all(|code| !code.is_clipped())
    }));
    let high = find("volts-240")
        .unwrap()
        .receptacle
        .clone()
        .with_supply(Supply::pure(Volts::new(400.0), Hertz::new(60.0)));
    let mut front = plugged(&specimen, &high);
    assert!((0..4000).any(|number| front.frame(number).codes[0].is_clipped()));
}

#[test]
fn a_recorded_sine_reads_as_the_solved_one() {
    // 119.5 V of sine sampled at 30 kHz, played through interpolation and the boxcars, gives
    // the codes of the closed form: droop at 60 Hz, centred on the frame.
    let specimen = Specimen::nominal(1).without_noise();
    let rate = 30_000.0;
    let wave =
        |index: usize| 119.5 * core::f64::consts::SQRT_2 * (TAU * 60.0 * index as f64 / rate).cos();
    let nw: Vec<f64> = (0..500).map(wave).collect();
    let waveform = SlotWaveform::new(
        SlotColumns {
            rate,
            gw: Some(vec![0.0; 500]),
            nw: Some(nw),
            ..SlotColumns::default()
        },
        Volts::ZERO,
    )
    .unwrap();
    let source = WaveformSource::new(&specimen, waveform, Repeat::Looped, 0);
    let mut front = FrontEnd::new(specimen.clone(), Box::new(source));
    let codes = fourier(&mut front, 60.0);
    let volts = |lead: Lead| codes[lead.channel()] * specimen.true_gain_at(lead, 60.0);
    let nw = volts(Lead::Narrow) - volts(Lead::Wide);
    println!("recorded sine: {:.5} V, {:.2e} rad", nw.norm(), nw.arg());
    assert!((nw.norm() / 119.5 - 1.0).abs() < 3e-5, "{nw}");
    assert!(nw.arg().abs() < 1e-6, "{nw}");
    // Star at a third: the clip is open.
    assert!((volts(Lead::Narrow).norm() - 119.5 * 2.0 / 3.0).abs() < 0.01);
    assert!(volts(Lead::Clip).norm() < 1e-9);
}

#[test]
fn the_boxcars_of_a_record_have_the_droop_of_the_closed_form() {
    let specimen = Specimen::nominal(1).without_noise();
    for hertz in [180.0, 300.0, 660.0] {
        let rate = 256_000.0;
        let nw: Vec<f64> =
            (0..12_800) // 50 ms: whole cycles of each
                .map(|index| 100.0 * (TAU * hertz * index as f64 / rate).cos())
                .collect();
        let waveform = SlotWaveform::new(
            SlotColumns {
                rate,
                gw: Some(vec![0.0; nw.len()]),
                nw: Some(nw),
                ..SlotColumns::default()
            },
            Volts::ZERO,
        )
        .unwrap();
        let source = WaveformSource::new(&specimen, waveform, Repeat::Looped, 0);
        let mut front = FrontEnd::new(specimen.clone(), Box::new(source));
        let codes = fourier(&mut front, hertz);
        let gain = specimen.true_gain(Lead::Narrow);
        let left = (codes[0] - codes[1]).norm() * gain * core::f64::consts::SQRT_2 / 100.0;
        // 16 taps of 64 kHz against 1024 of the part: 1/16^2 = 0.4 % of the droop, and the
        // interpolation's own droop.
        let error = left / droop(hertz) - 1.0;
        assert!(
            error.abs() < 5e-3 * (1.0 - droop(hertz)) + 1e-5,
            "{hertz} {error}"
        );
    }
}

#[test]
fn a_file_of_frames_plays_the_same_codes_through_the_converter() {
    let specimen = Specimen::draw(9, &Tolerance::USUAL);
    let plan = [
        Stretch::unplugged(50),
        Stretch::plugged(find("reversed-polarity").unwrap().receptacle.clone(), 1000),
    ];
    let front = || {
        let source = PhasorSource::new(&specimen, &plan).unwrap();
        FrontEnd::new(specimen.clone(), Box::new(source))
    };
    let mut bytes = Vec::new();
    assert_eq!(write_source(&mut bytes, &mut front(), 1000).unwrap(), 1000);
    let frames = read_frames(&bytes[..]).unwrap();

    let clock = SimClock::new();
    let live = VirtualAdc::new(&clock, front());
    let played = VirtualAdc::new(&clock, FramePlayer::new(frames));
    let (mut one, mut other) = (live.spi(), played.spi());
    for _ in 0..900 {
        clock.advance_to_next_frame();
        let (mut left, mut right) = ([0; 18], [0; 18]);
        embedded_hal::spi::SpiDevice::transfer_in_place(&mut one, &mut left).unwrap();
        embedded_hal::spi::SpiDevice::transfer_in_place(&mut other, &mut right).unwrap();
        assert_eq!(left, right);
    }
}
