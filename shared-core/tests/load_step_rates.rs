//! Load steps: the table of the measurement notes, and how often the rule says what of drawn
//! branches under drawn loads and noise. The branches and their priors are in `branch`.
//!
//! `cargo test -p slotwise-core --test load_step_rates -- --nocapture` prints the figures;
//! `-- --ignored --nocapture` draws many more.

mod branch;

use branch::judged::{Says, says};
use branch::scene::{Load, Scene, cycles, phasor};
use branch::{Branch, C, Ground, Rng, quantile};
use slotwise_core::limits::{Limits, WatchLimits};
use slotwise_core::load_step::{Change, LoadSteps, SagSplit};

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
            let none = phasor(C::default());
            split.quiet(&Change::new(none, none, none));
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
    let mut steps = LoadSteps::new();
    for beat in scene.beats(seconds, &mut rng) {
        steps.push(&beat, &WatchLimits::DEFAULT);
    }
    steps.finish();
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
