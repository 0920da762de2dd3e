//! The sampling path of the tester and other ways to do the same work, one after another, for
//! the emulator to count (`tests/emulator/bench.mjs`).
//!
//! Every way takes one frame of four channels a call, or ten; its function is not inlined and carries a
//! name that the emulator looks for. 800 frames are one window. At its end every way leaves the
//! RMS of channel 0 in [`FOUND`], in thousandths of a code, so that it can be checked that all of
//! them did do the work. Not for a board: no clock is set up.
#![no_std]
#![no_main]

mod f32_ways;
mod idsp_way;

use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m_rt::entry;
use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::earth_path::{self, EarthPath, is_closed};
use slotwise_core::limits::Limits;
use slotwise_core::measure::Gatherer;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Celsius, Ohms, Ratio, UnixSeconds};
use slotwise_core::window::{Accumulator, BATCH, Codes, Tuning, WindowSums};

/// Frames of a window.
pub(crate) const WINDOW: usize = 800;

/// Frames of 200, three cycles of 60 Hz.
const PERIOD: usize = 200;

/// Results in thousandths of a code, in the order of `WAYS` in bench.mjs.
#[unsafe(no_mangle)]
static FOUND: [AtomicU32; 6] = [const { AtomicU32::new(0) }; 6];

/// Set at the end.
#[unsafe(no_mangle)]
static DONE: AtomicU32 = AtomicU32::new(0);

/// A sine of 2^21 codes, and what ways need: made by the core's own integer rotation, so that no
/// table of the ways under test is used. Rotation by 3.6 degrees a frame in Q30.
fn wave(n: usize) -> i32 {
    const COS: i64 = 1_068_987_400; // cos(2 pi 3 / 200) 2^30
    const SIN: i64 = 101_026_330; // sin(2 pi 3 / 200) 2^30
    let (mut c, mut s) = (1_i64 << 30, 0_i64);
    for _ in 0..n % PERIOD {
        (c, s) = ((c * COS - s * SIN) >> 30, (c * SIN + s * COS) >> 30);
    }
    (s >> 9) as i32
}

fn codes(values: [i32; 4]) -> Frame {
    Frame {
        codes: values.map(AdcCode::saturating),
    }
}

#[inline(never)]
#[unsafe(no_mangle)]
fn bench_core(accumulator: &mut Accumulator, codes: &Codes) {
    accumulator.push_batch(codes);
}

/// The same frame by frame, as a frame comes to the sums that is not one of ten at rest.
#[inline(never)]
#[unsafe(no_mangle)]
fn bench_core_single(accumulator: &mut Accumulator, frame: &Frame) -> bool {
    accumulator.push(frame)
}

#[inline(never)]
#[unsafe(no_mangle)]
fn bench_window(
    gatherer: &mut Gatherer,
    sums: &WindowSums,
    calibration: &Calibration,
    limits: &Limits,
) -> Tuning {
    gatherer.take(sums, calibration, limits)
}

#[inline(never)]
#[unsafe(no_mangle)]
fn bench_probe(estimator: &mut earth_path::Estimator, frame: &Frame, number: u32) -> bool {
    estimator.push(frame, number, is_closed(number))
}

#[inline(never)]
#[unsafe(no_mangle)]
fn bench_fit(
    estimator: &earth_path::Estimator,
    calibration: &Calibration,
    limits: &Limits,
) -> EarthPath {
    estimator.estimate(calibration, limits)
}

/// A frame with noise, so that the fit has something to do.
fn probed(wave: i32, closed: bool, seed: &mut u32) -> Frame {
    *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    // 16 codes peak, 9 rms: 0.55 mV at the slot, where a code is 60 uV.
    let noise = (*seed >> 27) as i32 - 16;
    // 1.3 mA through 20 ohm of 120 V: 2e-4.
    let drop = if closed { wave / 5000 } else { 0 };
    codes([wave * 2 / 3, -wave / 3, -wave / 3 + drop + noise, 0])
}

/// A tester as designed.
const fn nominal() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.001),
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration::NOMINAL,
    }
}

#[entry]
fn main() -> ! {
    let mut frames = [Frame::default(); PERIOD];
    for (n, frame) in frames.iter_mut().enumerate() {
        let x = wave(n);
        *frame = codes([x * 2 / 3, -x / 3, -x / 3, x / 64]);
    }
    let window = || frames.iter().cycle().take(WINDOW);
    let calibration = nominal();
    let limits = Limits::DEFAULT;

    let mut accumulator = Accumulator::new(Tuning::NOMINAL);
    window().for_each(|frame| {
        bench_core_single(&mut accumulator, frame);
    });
    let batches = || {
        (0..WINDOW / BATCH).map(|batch| {
            let place = batch * BATCH % PERIOD;
            core::array::from_fn(|lead| {
                core::array::from_fn(|n| frames[place + n].codes[lead].get())
            })
        })
    };
    let mut accumulator = Accumulator::new(Tuning::NOMINAL);
    batches().for_each(|codes| bench_core(&mut accumulator, &codes));
    let mut gatherer = Gatherer::new(ClipTarget::NotConnected);
    for _ in 0..2 {
        bench_window(&mut gatherer, accumulator.sums(), &calibration, &limits);
    }
    let evidence = gatherer.evidence(Some(&calibration));
    if let Ok(slots) = &evidence.slots {
        let volts = f64::from(slots.leads[0].get());
        let codes = volts / calibration.channels[0].volts_per_code();
        leave(0, codes as f32);
    }

    let mut sums = f32_ways::Sums::NEW;
    window().for_each(|frame| f32_ways::bench_micromath(&mut sums, frame));
    leave(1, sums.rms(0));

    let mut sums = f32_ways::Sums::NEW;
    window().for_each(|frame| f32_ways::bench_f32_tables(&mut sums, frame));
    leave(2, sums.rms(0));

    let mut sums = f32_ways::Sums::NEW;
    window().for_each(|frame| f32_ways::bench_micromath_iq(&mut sums, frame));
    leave(3, sums.rms(0));

    let mut sums = f32_ways::Sums::NEW;
    batches().for_each(|codes| f32_ways::bench_f32_batch(&mut sums, &codes));
    leave(5, sums.rms(0));

    let mut lockin = idsp_way::Channels::new();
    window().for_each(|frame| idsp_way::bench_idsp(&mut lockin, frame));
    leave(4, lockin.rms(0));

    let mut estimator = earth_path::Estimator::new(Tuning::NOMINAL, &calibration);
    let mut seed = 1;
    for number in 0..480 * 133 {
        let x = frames[number as usize % PERIOD].codes[3].get() * 64;
        let frame = probed(x, is_closed(number), &mut seed);
        if bench_probe(&mut estimator, &frame, number) {
            core::hint::black_box(bench_fit(&estimator, &calibration, &limits));
        }
    }
    DONE.store(1, Ordering::Relaxed);
    loop {
        cortex_m::asm::wfi();
    }
}

fn leave(place: usize, codes: f32) {
    FOUND[place].store((codes * 1000.0) as u32, Ordering::Relaxed);
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        DONE.store(2, Ordering::Relaxed);
    }
}
