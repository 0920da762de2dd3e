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

/// Load and noise of a run.
#[derive(Clone, Copy, Debug)]
struct Setting {
    amperes: f64,
    /// Unrest of the supply from window to window, volts.
    unrest: f64,
    /// Small loads on this branch, amperes.
    small_loads: f64,
    /// Steps elsewhere in the house, a second.
    elsewhere: f64,
}

impl Setting {
    /// 1 to 15 A, 3 to 100 mV, a load elsewhere up to every two seconds, or none.
    fn draw(rng: &mut Rng) -> Self {
        Self {
            amperes: rng.between(1.0, 15.0),
            unrest: rng.log_between(3e-3, 0.1),
            small_loads: rng.log_between(3e-3, 0.3),
            elsewhere: if rng.happens(0.3) {
                0.0
            } else {
                rng.between(0.0, 0.5)
            },
        }
    }
}

/// A minute or so at a drawn branch with any kind of load, switched three to nine times; loads
/// elsewhere take 0.3 to 20 A.
fn drawn(ground: Ground, rng: &mut Rng, setting: Setting) -> (Scene, LoadSteps) {
    let branch = Branch::draw(rng, ground);
    let count = 3 + (rng.unit() * 7.0) as usize;
    let apart = rng.between(2.0, 5.0);
    let on = cycles(rng, 7.0, apart, count);
    let load = Load::draw(rng, setting.amperes, on);
    let mut scene = Scene::new(branch, vec![load]);
    scene.unrest = setting.unrest;
    scene.small_loads = setting.small_loads;
    scene.hertz = rng.between(59.9, 60.1);
    scene.walk = rng.log_between(5e-5, 5e-4);
    let seconds = 14.0 + count as f64 * (apart + 3.0);
    let mut time = 0.0;
    while setting.elsewhere > 0.0 && time < seconds {
        time += -(1.0 - rng.unit()).ln() / setting.elsewhere;
        let up = if rng.happens(0.5) { 1.0 } else { -1.0 };
        let amperes = up * rng.log_between(0.3, 20.0);
        scene.elsewhere.push((time, amperes));
    }
    let mut steps = LoadSteps::new();
    for beat in scene.beats(seconds, rng) {
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

fn count(ground: Ground, seed: u64, draws: u64, fixed: Option<Setting>) -> Counts {
    let mut counts = Counts::default();
    for number in 0..draws {
        let mut rng = Rng::new(seed, number);
        let setting = fixed.unwrap_or_else(|| Setting::draw(&mut rng));
        let (scene, steps) = drawn(ground, &mut rng, setting);
        let step = steps.load_step();
        let place = match says(step) {
            Says::Separate => 0,
            Says::Joined => 1,
            Says::WeakNeutral => 2,
            Says::CannotTell => 3,
        };
        counts.said[place] += 1;
        let Ok(step) = step else { continue };
        let limits = Limits::DEFAULT;
        let is_counted = step.steps >= limits.rho_steps && step.sag >= limits.rho_sag;
        // Loads elsewhere are no noise: they belong to another ratio.
        if !is_counted || !scene.elsewhere.is_empty() {
            continue;
        }
        counts.measured += 1;
        let off = (f64::from(step.rho.value.get()) - scene.branch.rho().re).abs();
        for (beyond, times) in counts.beyond.iter_mut().zip([3.0, 4.0]) {
            *beyond += u32::from(off > times * f64::from(step.rho.u.get()));
        }
    }
    counts
}

fn print(ground: Ground, counts: &Counts) {
    let draws: u32 = counts.said.iter().sum();
    let share = |count: u32| f64::from(count) / f64::from(draws);
    let [separate, joined, weak, unclear] = counts.said.map(share);
    println!(
        "{ground:?}, {draws} draws: separate {separate:.4}, joined {joined:.4}, weak neutral \
         {weak:.4}, cannot tell {unclear:.4}\n  of {} with three steps of 0.5 V and none \
         elsewhere, {} are off by more than 3u, {} by more than 4u",
        counts.measured, counts.beyond[0], counts.beyond[1]
    );
}

fn rates(seed: u64, draws: u64) {
    let of = |ground| {
        let counts = count(ground, seed, draws, None);
        print(ground, &counts);
        // A normal error would be beyond 4u in 6e-5; three steps say little of their own scatter.
        let beyond = f64::from(counts.beyond[1]) / f64::from(counts.measured);
        assert!(beyond < 0.03, "beyond 4u: {beyond}");
        counts.said
    };
    let sound = of(Ground::Separate);
    let joined = of(Ground::JoinedAtBox);
    let upstream = of(Ground::JoinedUpstream);
    let few = |share: f64| (share * draws as f64) as u32;
    assert!(
        joined[0] <= few(2e-3),
        "joined, called separate: {joined:?}"
    );
    assert!(sound[0] >= few(0.6), "sound, called separate: {sound:?}");
    assert!(sound[2] <= few(2e-3), "sound, called weak: {sound:?}");
    let passed = f64::from(upstream[0]) / draws as f64;
    println!("a jumper upstream passes in {passed:.2} of the draws (notes 0.60)");
    assert!((passed - 0.6).abs() < 0.15, "{passed}");
}

#[test]
fn a_joined_receptacle_is_not_called_separate() {
    rates(1, 1500);
}

#[test]
#[ignore = "minutes; prints"]
fn a_joined_receptacle_is_not_called_separate_in_many_draws() {
    rates(2, 30_000);
}

/// Section 5: no joined receptacle is called separate at any load and noise tried. Every cell by
/// itself.
#[test]
#[ignore = "minutes; prints"]
fn no_cell_of_load_and_noise_calls_a_joined_receptacle_separate() {
    let draws = 1500;
    println!("joined, called separate / joined / cannot tell, of {draws} draws");
    for amperes in [1.0, 2.0, 4.0, 8.0, 15.0] {
        for (unrest, small_loads) in [(0.003, 0.003), (0.03, 0.05), (0.1, 0.3)] {
            for elsewhere in [0.0, 0.1, 0.5] {
                let setting = Setting {
                    amperes,
                    unrest,
                    small_loads,
                    elsewhere,
                };
                let counts = count(Ground::JoinedAtBox, 3, draws, Some(setting));
                let [separate, joined, _, unclear] = counts.said;
                println!(
                    "{amperes} A, {unrest} V, {small_loads} A, {elsewhere} a second: \
                     {separate} / {joined} / {unclear}"
                );
                assert!(f64::from(separate) <= 2e-3 * draws as f64);
            }
        }
    }
}
