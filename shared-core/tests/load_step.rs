//! Load steps: worked cases, the table of the measurement notes, and what the rule says of drawn
//! branches under drawn loads and noise. The branches and their priors are in `branch`.
//!
//! `cargo test -p slotwise-core --test load_step -- --nocapture` prints the figures;
//! `-- --ignored --nocapture` draws many more.

mod branch;

use branch::judged::{Says, says, says_of, sound};
use branch::scene::{Load, Scene, cycles, phasor};
use branch::{Branch, C, Ground, Rng, quantile};
use slotwise_core::evidence::{Evidence, LoadStep, Measured, Missing};
use slotwise_core::limits::{Limits, WatchLimits};
use slotwise_core::load_step::{Beat, Change, LoadSteps, SagSplit};
use slotwise_core::units::{Millis, Ohms};

const LIMITS: WatchLimits = WatchLimits::DEFAULT;

/// A change in phase with `v_nw`.
fn change(nw: f64, gw: f64) -> Change {
    let at = |volts: f64| phasor(C::from(volts));
    Change::new(at(nw), at(gw), at(gw))
}

/// The split of these steps, after quiet seconds with some millivolts of unrest.
fn split(steps: &[(f64, f64)]) -> LoadStep {
    let mut split = SagSplit::new();
    for number in 0..40 {
        let sign = if number % 2 == 0 { 1.0 } else { -1.0 };
        split.quiet(&change(3e-3 * sign, 1e-3));
    }
    for (nw, gw) in steps {
        split.add(&change(*nw, *gw));
    }
    split.load_step().unwrap()
}

fn assert_near(found: f32, expected: f64, within: f64) {
    let off = (f64::from(found) - expected).abs();
    assert!(off <= within, "{found} is not {expected} within {within}");
}

/// Section 10 of the measurement notes.
#[test]
fn worked_cases() {
    let one = split(&[(-2.40, -1.06)]);
    assert_near(one.rho.value.get(), 0.442, 5e-4);
    assert_near(one.neutral_share().get(), 0.442, 5e-4);
    assert_near(one.hot_and_source_share().get(), 0.558, 5e-4);
    assert_eq!(says(Ok(one)), Says::CannotTell, "one step is too few");
    let three = split(&[(-2.40, -1.06); 3]);
    assert_eq!(says(Ok(three)), Says::Separate);

    let small = split(&[(-0.30, -0.13); 3]);
    assert_eq!((small.steps, says(Ok(small))), (3, Says::CannotTell));

    let joined = split(&[(-2.4, -0.02); 3]);
    assert_near(joined.rho.value.get(), 0.0083, 5e-5);
    assert_eq!(says(Ok(joined)), Says::Joined);

    // (0.6 + 0.017 + 0.6) / (1.44 + 2.89 + 1.44) = 0.211, but the steps disagree: arithmetic.
    let mixed = split(&[(-1.2, -0.5), (-1.7, -0.01), (-1.2, -0.5)]);
    assert_near(mixed.rho.value.get(), 0.2109, 5e-5);
    assert_near(mixed.rho.u.get(), 0.154, 5e-4);
    assert_eq!(says(Ok(mixed)), Says::CannotTell);
}

#[test]
fn what_was_not_measured_is_no_ratio() {
    let mut split = SagSplit::new();
    assert_eq!(split.load_step(), Err(Missing::NotAsked), "no load stepped");
    split.add(&change(-2.4, -1.06));
    assert_eq!(split.load_step(), Err(Missing::Unsteady), "no quiet second");
    assert_eq!(LoadSteps::new().load_step(), Err(Missing::NotAsked));
}

#[test]
fn a_load_that_goes_off_counts_like_one_that_comes_on() {
    let both = split(&[(-2.4, -1.06), (2.4, 1.06), (-2.4, -1.06), (2.4, 1.06)]);
    assert_near(both.rho.value.get(), 0.4417, 5e-4);
    assert_eq!((both.steps, says(Ok(both))), (4, Says::Separate));
}

fn steps_of(beats: &[Beat]) -> (LoadSteps, u16) {
    let mut loads = LoadSteps::new();
    let mut found = 0;
    for beat in beats {
        found += u16::from(loads.push(beat, &LIMITS).is_some());
    }
    found += u16::from(loads.finish().is_some());
    (loads, found)
}

/// 50 ft of 14 AWG, source of 0.06 ohm.
fn usual(ground: Ground) -> Branch {
    Branch {
        source: C::new(0.06, 0.018),
        hot: 0.131,
        neutral: 0.131,
        earth: 0.131,
        ground,
        jumper: 0.008,
        beyond: if ground == Ground::Separate { 1.0 } else { 0.0 },
        frame: 0.05,
    }
}

/// Frames, accumulator, beats, steps: the whole way, at three line frequencies.
#[test]
fn every_kind_of_load_gives_the_ratio_of_the_wires() {
    let on = || vec![(6.3, 11.0), (15.4, 19.9)];
    let loads = [
        ("heater 4 A", Load::heater(4.0, on())),
        ("motor 6 A, five times at the start", Load::motor(6.0, on())),
        ("run up in 1 s to 7 A", Load::run_up(7.0, 1.0, on())),
        ("run up in 3 s to 9 A", Load::run_up(9.0, 3.0, on())),
    ];
    let (mut worst, mut worst_across) = (0.0_f64, 0.0_f64);
    for ground in [Ground::Separate, Ground::JoinedAtBox] {
        for (number, hertz) in [59.9, 60.0, 60.1].into_iter().enumerate() {
            for (name, load) in &loads {
                let mut rng = Rng::new(7, number as u64);
                let mut scene = Scene::new(usual(ground), vec![load.clone()]);
                scene.hertz = hertz;
                scene.unrest = 2e-3;
                let (steps, found) = steps_of(&scene.measured_beats(24.0, &mut rng));
                let step = steps.load_step().unwrap();
                let truth = scene.branch.rho();
                let off = (f64::from(step.rho.value.get()) - truth.re).abs();
                assert_eq!((found, step.steps), (4, 4), "{name} at {hertz} Hz");
                assert!(off < 4.0 * f64::from(step.rho.u.get()), "{name}: {step:?}");
                let expected = match ground {
                    Ground::Separate => Says::Separate,
                    _ => Says::Joined,
                };
                assert_eq!(says(Ok(step)), expected, "{name} at {hertz} Hz: {step:?}");
                worst = worst.max(off);
                let across = f64::from(step.rho_imaginary.get()) - truth.im.abs();
                worst_across = worst_across.max(across.abs());
            }
        }
    }
    println!("from frames: rho off by {worst:.5} at most, its imaginary part by {worst_across:.5}");
    assert!(worst < 1e-3 && worst_across < 2e-3);
}

/// Were the turn of `v_nw` not measured, a lagging current would show as an imaginary part of
/// rho: `Im(-I Zn) / Re(-I Z)`, 0.37 here, far beyond the 0.15 of the rule.
#[test]
fn a_motor_far_from_unity_is_still_in_phase() {
    let mut load = Load::motor(8.0, vec![(6.3, 11.0), (15.4, 19.9)]);
    load.lag = 0.8;
    let mut scene = Scene::new(usual(Ground::Separate), vec![load]);
    scene.walk = 5e-4;
    let (steps, _) = steps_of(&scene.beats(24.0, &mut Rng::new(3, 1)));
    let step = steps.load_step().unwrap();
    assert!(step.rho_imaginary.get() < 0.03, "{step:?}");
    assert_eq!(says(Ok(step)), Says::Separate);
}

/// Section 5: "Sound runs: rho p0.01 0.132, median 0.40, p99 0.498. Jumper of 1-20 mohm: median
/// 0.016, p99.99 0.19", and section 7: a jumper upstream passes in 60 % of draws. The priors of
/// those draws are not given; with ours (see `branch`) the quantiles must agree within the
/// stated tolerances. The far tail of the jumper depends on the shortest runs and may only be
/// thinner.
#[test]
fn the_table_of_the_notes_is_reproduced() {
    let rho_of = |ground, number| {
        let mut rng = Rng::new(5, number);
        let branch = Branch::draw(&mut rng, ground);
        let drop = branch.drop();
        let mut split = SagSplit::new();
        for _ in 0..10 {
            split.quiet(&change(0.0, 0.0));
        }
        for amperes in [3.0, 6.0, 9.0] {
            let [nw, gw] = [drop.nw, drop.gw].map(|volts| phasor(volts * amperes));
            split.add(&Change::new(nw, gw, gw));
        }
        f64::from(split.load_step().unwrap().rho.value.get())
    };
    let sorted = |ground| {
        let mut all: Vec<f64> = (0..100_000).map(|number| rho_of(ground, number)).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let sound = sorted(Ground::Separate);
    let joined = sorted(Ground::JoinedAtBox);
    let upstream = sorted(Ground::JoinedUpstream);
    let passes = |all: &[f64]| all.iter().filter(|rho| **rho > 0.15).count() as f64 / 1e5;
    let table = [
        ("sound p0.01", quantile(&sound, 1e-4), 0.132, 0.02),
        ("sound median", quantile(&sound, 0.5), 0.40, 0.02),
        ("sound p99", quantile(&sound, 0.99), 0.498, 0.02),
        ("jumper median", quantile(&joined, 0.5), 0.016, 0.002),
        ("jumper p99.99", quantile(&joined, 0.9999), 0.19, 0.08),
        ("jumper upstream above 0.15", passes(&upstream), 0.60, 0.12),
    ];
    for (name, found, noted, within) in table {
        println!("{name}: {found:.4} (notes {noted})");
        assert!((found - noted).abs() < within, "{name}: {found}");
    }
    assert!(quantile(&joined, 0.9999) < 0.19);
    // They overlap, which is why no single threshold will do.
    println!(
        "of the sound, {:.1e} are below 0.15; of the joined, {:.1e} above",
        1.0 - passes(&sound),
        passes(&joined)
    );
}

/// A minute or so at a drawn branch: 1 to 15 A, any kind of load, any unrest, loads elsewhere.
fn drawn(ground: Ground, seed: u64, number: u64) -> (Scene, LoadSteps) {
    let mut rng = Rng::new(seed, number);
    let branch = Branch::draw(&mut rng, ground);
    let amperes = rng.between(1.0, 15.0);
    let count = 3 + (rng.unit() * 7.0) as usize;
    let apart = rng.between(2.0, 5.0);
    let on = cycles(&mut rng, 7.0, apart, count);
    let load = Load::draw(&mut rng, amperes, on);
    let mut scene = Scene::new(branch, vec![load]);
    scene.unrest = rng.log_between(3e-3, 0.1);
    scene.small_loads = rng.log_between(3e-3, 0.3);
    scene.hertz = rng.between(59.9, 60.1);
    scene.walk = rng.log_between(5e-5, 5e-4);
    let seconds = 14.0 + count as f64 * (apart + 3.0);
    // From none to one every two seconds.
    let rate = rng.between(0.0, 0.5);
    let mut time = 0.0;
    while rng.happens(0.7) && rate > 0.0 && time < seconds {
        time += -(1.0 - rng.unit()).ln() / rate;
        let up = if rng.happens(0.5) { 1.0 } else { -1.0 };
        scene
            .elsewhere
            .push((time, up * rng.log_between(0.3, 20.0)));
    }
    let (steps, _) = steps_of(&scene.beats(seconds, &mut rng));
    (scene, steps)
}

/// Counts of what the rule says; and where no load elsewhere stepped, of ratios further off than
/// three and four of their u.
#[derive(Default, Debug)]
struct Counts {
    said: [u32; 4],
    beyond: [u32; 2],
    measured: u32,
}

fn count(ground: Ground, seed: u64, draws: u64) -> Counts {
    let mut counts = Counts::default();
    for number in 0..draws {
        let (scene, steps) = drawn(ground, seed, number);
        let step = steps.load_step();
        let place = match says(step) {
            Says::Separate => 0,
            Says::Joined => 1,
            Says::WeakNeutral => 2,
            Says::CannotTell => 3,
        };
        counts.said[place] += 1;
        let Ok(step) = step else { continue };
        if step.steps < Limits::DEFAULT.rho_steps || step.sag < Limits::DEFAULT.rho_sag {
            continue;
        }
        // Loads elsewhere are no noise: they belong to another ratio.
        if !scene.elsewhere.is_empty() {
            continue;
        }
        counts.measured += 1;
        let off = (f64::from(step.rho.value.get()) - scene.branch.rho().re).abs();
        for (beyond, times) in counts.beyond.iter_mut().zip([3.0, 4.0]) {
            *beyond += u32::from(off > times * f64::from(step.rho.u.get()));
        }
    }
    let share = |count: u32| f64::from(count) / draws as f64;
    let [separate, joined, weak, unclear] = counts.said.map(share);
    println!(
        "{ground:?}, {draws} draws: separate {separate:.4}, joined {joined:.4}, weak neutral \
         {weak:.4}, cannot tell {unclear:.4}; of {} with three steps of 0.5 V and none from elsewhere, {} are off by more \
         than 3u, {} by more than 4u",
        counts.measured, counts.beyond[0], counts.beyond[1]
    );
    counts
}

fn rates(seed: u64, draws: u64) {
    let sound = count(Ground::Separate, seed, draws);
    let joined = count(Ground::JoinedAtBox, seed, draws);
    let upstream = count(Ground::JoinedUpstream, seed, draws);
    let few = |share: f64| (share * draws as f64) as u32;
    assert!(
        joined.said[0] <= few(2e-3),
        "joined, called separate: {joined:?}"
    );
    assert!(
        sound.said[0] >= few(0.8),
        "sound, called separate: {sound:?}"
    );
    assert!(sound.said[2] <= few(2e-3), "sound, called weak: {sound:?}");
    // The notes have 60 %.
    let passed = f64::from(upstream.said[0]) / draws as f64;
    println!("a jumper upstream passes in {passed:.2} of the draws");
    assert!((passed - 0.6).abs() < 0.12, "{passed}");
    // The stated uncertainty is one: a normal one would leave 0.3 % beyond 3u.
    for counts in [&sound, &joined, &upstream] {
        let beyond = f64::from(counts.beyond[1]) / f64::from(counts.measured);
        assert!(beyond < 0.03, "beyond 4u: {beyond}");
    }
}

#[test]
fn a_joined_receptacle_is_not_called_separate() {
    rates(1, 1500);
}

#[test]
#[ignore = "minutes; prints"]
fn a_joined_receptacle_is_not_called_separate_in_many_draws() {
    rates(2, 100_000);
}

/// Only loads elsewhere in the house: `v_gw` follows none of their steps, which reads exactly
/// like a joined receptacle. Where P1 and P2 show that the neutral has a resistance of its own,
/// that is no joint.
#[test]
fn steps_that_ground_never_follows_are_no_joint_where_the_drive_contradicts() {
    let mut scene = Scene::new(usual(Ground::Separate), Vec::new());
    scene.branch.source = C::new(0.15, 0.04);
    scene.elsewhere = vec![(7.0, 9.0), (12.0, -9.0), (16.5, 11.0), (21.0, 6.0)];
    let (steps, _) = steps_of(&scene.beats(28.0, &mut Rng::new(4, 4)));
    let step = steps.load_step().unwrap();
    assert!(
        step.steps == 4 && step.rho.value.get().abs() < 0.01,
        "{step:?}"
    );
    assert_eq!(says(Ok(step)), Says::Joined);
    let mut evidence = Evidence {
        load_step: Ok(step),
        ..sound()
    };
    let known = |ohms, u| Measured::known(Ohms::new(ohms), Ohms::new(u));
    evidence.earth_path = known(0.18, 0.02);
    evidence.neutral_and_ground = known(0.36, 0.01);
    assert_eq!(says_of(&evidence), Says::CannotTell);
}

/// Among steps of one's own branch, small ones from elsewhere have little weight; large ones
/// make the steps disagree.
#[test]
fn steps_from_elsewhere_among_ones_own_lead_to_doubt_not_to_a_joint() {
    let mut said = Vec::new();
    for amperes in [5.0, 40.0] {
        let on = vec![(7.0, 12.0), (16.0, 21.0)];
        let mut scene = Scene::new(usual(Ground::Separate), vec![Load::heater(8.0, on)]);
        scene.elsewhere = vec![(9.5, amperes), (18.5, amperes), (23.5, -amperes)];
        let (steps, _) = steps_of(&scene.beats(28.0, &mut Rng::new(4, 5)));
        said.push(says(steps.load_step()));
    }
    assert_eq!(said, [Says::Separate, Says::CannotTell]);
}

/// A ramp that never rests is one event, however long it lasts.
#[test]
fn a_long_ramp_is_one_step() {
    let load = Load::run_up(15.0, 8.0, vec![(7.0, f64::INFINITY)]);
    let mut scene = Scene::new(usual(Ground::Separate), vec![load]);
    scene.branch.hot = 1.0;
    let (_, found) = steps_of(&scene.beats(24.0, &mut Rng::new(4, 6)));
    assert_eq!(found, 1);
}

/// Frames were lost: nothing is looked for across the gap, and what follows is found again.
#[test]
fn no_step_is_made_of_a_gap() {
    let load = Load::heater(8.0, vec![(7.05, 20.0)]);
    let scene = Scene::new(usual(Ground::Separate), vec![load]);
    let beats = scene.beats(30.0, &mut Rng::new(4, 7));
    let gap = |beat: &&Beat| !(6900..7700).contains(&beat.at().get());
    let kept: Vec<Beat> = beats.iter().filter(gap).copied().collect();
    assert_eq!((beats.len(), kept.len()), (150, 146));
    assert_eq!(steps_of(&beats).1, 2);
    assert_eq!(steps_of(&kept).1, 1, "only the one at 20 s");
}

/// A pulse of a quarter of a second is no step: it is gone before anything could be told.
#[test]
fn a_pulse_is_no_step() {
    let load = Load::heater(12.0, vec![(7.05, 7.3), (11.0, 11.25)]);
    let scene = Scene::new(usual(Ground::Separate), vec![load]);
    assert_eq!(steps_of(&scene.beats(20.0, &mut Rng::new(4, 8))).1, 0);
}

#[test]
fn a_beat_says_when_it_ended_and_how_large_its_voltages_were() {
    let at = Millis::new(12_200);
    let volts = |v: f64, angle: f64| phasor(C::from_polar(v, angle));
    let beat = Beat::new(at, volts(119.0, 2.0), volts(1.2, 5.1), volts(1.3, 2.0));
    assert_eq!(beat.at(), at);
    assert_near(beat.narrow_wide().get(), 119.0, 1e-4);
    assert_near(beat.ground_wide().get(), 1.2, 1e-5);
    assert_near(beat.clip_wide().get(), 1.3, 1e-5);
}

/// Room in the tester: what the firmware keeps of it.
#[test]
fn the_state_is_small() {
    let bytes = size_of::<LoadSteps>();
    println!("LoadSteps: {bytes} bytes, a beat {}", size_of::<Beat>());
    assert!(bytes <= 2100, "{bytes}");
}
