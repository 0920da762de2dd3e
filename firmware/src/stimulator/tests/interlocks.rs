//! What opens the outputs, in every order and at every frame.

use super::*;

#[test]
fn a_voltage_opens_within_the_frame_that_shows_it_and_until_rest() {
    // 5 V and 3 V RMS as peaks: 7.07 V and 4.24 V, arithmetic.
    let just = |order: Order, more: f64| match order {
        Order::Drive(DrivePath::WideToClip)
        | Order::Limiter {
            path: DrivePath::WideToClip,
            ..
        } => frame(0.0, 4.243 + more),
        Order::Drive(DrivePath::WideToGround)
        | Order::Limiter {
            path: DrivePath::WideToGround,
            ..
        } => frame(-4.243 - more, 0.0),
        _ => frame(7.071 + more, 0.0),
    };
    for order in ORDERS {
        for at in [0, 1, 2, 50, 132, 133, 134, 1000] {
            let (bench, mut stimulator) = bench();
            stimulator.set(order);
            for _ in 0..at {
                stimulator.on_frame(&just(order, -0.01));
            }
            let dropped = Applied::Dropped(Interlock::Voltage);
            assert_eq!(
                stimulator.on_frame(&just(order, 0.01)),
                dropped,
                "{order:?} at {at}"
            );
            assert!(bench.all_low());
            let edges = bench.edges.each_ref().map(Cell::get);
            for _ in 0..500 {
                // The same order again is no new one.
                stimulator.set(order);
                assert_eq!(stimulator.on_frame(&quiet()), dropped);
            }
            stimulator.set(Order::Drive(DrivePath::WideToGround));
            stimulator.set(Order::Probe);
            assert_eq!(stimulator.on_frame(&quiet()), dropped);
            assert!(stimulator.is_dropped());
            assert_eq!(edges, bench.edges.each_ref().map(Cell::get), "no pin moved");

            stimulator.set(Order::Rest);
            stimulator.on_frame(&quiet());
            assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
            stimulator.set(order);
            stimulator.on_frame(&quiet());
            let first = stimulator.on_frame(&quiet());
            assert!(
                matches!(
                    first,
                    Applied::Probe { frame: 0, .. }
                        | Applied::Drive { frame: 0, .. }
                        | Applied::Relays { frame: 0 }
                        | Applied::Limiter { frame: 0, .. }
                ),
                "begun anew: {first:?}"
            );
        }
    }
}

#[test]
fn the_other_lead_and_the_line_itself_drop_nothing() {
    let (_, mut stimulator) = bench();
    stimulator.set(Order::Drive(DrivePath::WideToGround));
    for _ in 0..100 {
        stimulator.on_frame(&frame(0.0, 100.0));
    }
    assert!(!stimulator.is_dropped(), "the clip may stand anywhere");
    let (_, mut stimulator) = bench();
    stimulator.set(Order::Drive(DrivePath::WideToClip));
    for _ in 0..100 {
        stimulator.on_frame(&frame(100.0, 0.0));
    }
    assert!(!stimulator.is_dropped());
}

#[test]
fn both_codes_at_the_end_of_the_range_are_no_small_difference() {
    for code in [AdcCode::MAX, AdcCode::MIN] {
        for order in ORDERS {
            let (bench, mut stimulator) = bench();
            stimulator.set(order);
            stimulator.on_frame(&quiet());
            let clipped = Ok(Frame { codes: [code; 4] });
            assert_eq!(
                stimulator.on_frame(&clipped),
                Applied::Dropped(Interlock::Voltage)
            );
            assert!(bench.all_low());
        }
    }
}

#[test]
fn one_bad_frame_is_borne_and_two_in_a_row_are_blind() {
    let faults = [
        FrameFault::Checksum,
        FrameFault::Bus,
        FrameFault::Restarted,
        FrameFault::Lost(1),
    ];
    for order in ORDERS {
        for one in faults {
            for other in faults {
                let (bench, mut stimulator) = bench();
                stimulator.set(order);
                for _ in 0..20 {
                    stimulator.on_frame(&quiet());
                    assert!(!matches!(
                        stimulator.on_frame(&Err(one)),
                        Applied::Dropped(_)
                    ));
                }
                stimulator.on_frame(&quiet());
                stimulator.on_frame(&Err(one));
                let dropped = Applied::Dropped(Interlock::Blind);
                assert_eq!(stimulator.on_frame(&Err(other)), dropped);
                assert!(bench.all_low());
                assert_eq!(stimulator.on_frame(&quiet()), dropped, "latched");
            }
        }
        let (bench, mut stimulator) = bench();
        stimulator.set(order);
        stimulator.on_frame(&quiet());
        stimulator.on_frame(&quiet());
        assert_eq!(
            stimulator.on_frame(&Err(FrameFault::Lost(2))),
            Applied::Dropped(Interlock::Blind),
            "two lost at once"
        );
        assert!(bench.all_low());
    }
}

#[test]
fn a_single_lost_frame_is_counted() {
    let (_, mut stimulator) = bench();
    stimulator.set(Order::Probe);
    for _ in 0..=10 {
        stimulator.on_frame(&quiet());
    }
    // Mark 10 belongs to the frame that was lost.
    assert!(matches!(
        stimulator.on_frame(&Err(FrameFault::Lost(1))),
        Applied::Probe { frame: 10, .. }
    ));
    assert!(matches!(
        stimulator.on_frame(&quiet()),
        Applied::Probe { frame: 11, .. }
    ));
}

#[test]
fn silence_opens_and_counts_as_blind() {
    for order in ORDERS {
        let (bench, mut stimulator) = bench();
        stimulator.set(order);
        for _ in 0..10 {
            stimulator.on_frame(&quiet());
        }
        stimulator.silence();
        assert!(bench.all_low());
        assert_eq!(
            stimulator.on_frame(&quiet()),
            Applied::Dropped(Interlock::Blind)
        );
        assert!(bench.all_low());
    }
    let (_, mut stimulator) = bench();
    stimulator.silence();
    assert_eq!(
        stimulator.on_frame(&quiet()),
        Applied::Nothing,
        "nothing was on"
    );
}

#[test]
fn a_pin_that_cannot_be_driven_opens_all_the_others() {
    for order in ORDERS {
        for pin in [PUMP, HOLD, GROUND, CLIP, TONE, RAISE] {
            let (bench, mut stimulator) = bench();
            bench.fails_high.set(Some(pin));
            stimulator.set(order);
            let mut dropped = false;
            for _ in 0..1000 {
                let mark = stimulator.on_frame(&quiet());
                dropped |= mark == Applied::Dropped(Interlock::Blind);
                assert!(!dropped || bench.all_low());
            }
            let used = match order {
                Order::Probe => pin == PUMP || pin == HOLD,
                Order::Relays { .. } => pin == PUMP || pin == HOLD || pin == TONE,
                Order::Drive(DrivePath::WideToGround) => pin == GROUND || pin == TONE,
                Order::Drive(DrivePath::WideToClip) => pin == CLIP || pin == TONE,
                Order::Limiter { path, .. } => {
                    let is_ground = path == DrivePath::WideToGround;
                    pin == if is_ground { GROUND } else { CLIP } || pin == TONE
                        // The first window of pass 0 is plain, 0.4 s; of pass 1 it is raised.
                        || pin == RAISE && !is_ground
                }
                Order::Rest => false,
            };
            assert_eq!(dropped, used, "{order:?}, pin {pin}");
        }
    }
}

#[test]
fn the_interlocks_are_those_of_the_limits_at_the_nominal_gain() {
    // 5 V RMS are 7.071 V peak, at 60.0 uV a code 117 800 codes; arithmetic.
    let (_, stimulator) = bench();
    assert!((f64::from(stimulator.probe_most) * 60.01e-6 - 7.071).abs() < 0.01);
    assert!((f64::from(stimulator.drive_most) * 60.01e-6 - 4.243).abs() < 0.01);
}

/// A small generator, so that a failing sequence can be run again by its seed.
struct Random(u64);

impl Random {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// Whatever comes in whatever order: relays are open through every frame marked "nothing", at
/// the end of every call that answers "dropped", and never do two means stand closed together.
#[test]
fn after_any_sequence_the_relays_are_open_whenever_the_mark_says_so() {
    let mut closings = 0;
    for seed in 0..400 {
        let mut random = Random(seed);
        let (bench, mut stimulator) = bench();
        if random.below(4) == 0 {
            bench.fails_high.set(Some(random.below(6) as usize));
        }
        for step in 0..600 {
            match random.below(30) {
                0 => stimulator.set(Order::Rest),
                1..=3 => stimulator.set(ORDERS[random.below(ORDERS.len() as u64) as usize]),
                4 if random.below(10) == 0 => stimulator.silence(),
                _ => {}
            }
            let delivered = match random.below(60) {
                0 => frame(20.0 * random.below(2) as f64, 20.0),
                1 => Err(FrameFault::Checksum),
                2 => Err(FrameFault::Lost(random.below(4) as u32)),
                3 => Ok(Frame {
                    codes: [AdcCode::MIN; 4],
                }),
                _ => quiet(),
            };
            let during = bench.levels();
            let mark = stimulator.on_frame(&delivered);
            let at = || format!("seed {seed}, step {step}: {mark:?}");
            match mark {
                Applied::Nothing => assert_eq!(during, [false; 6], "{}", at()),
                Applied::Dropped(_) => assert!(bench.all_low(), "{}", at()),
                Applied::Probe { closed: false, .. } => {
                    assert!(!during[PUMP] && !during[HOLD], "{}", at());
                }
                Applied::Relays { .. } => {
                    assert!(!(during[PUMP] && during[HOLD]), "{}", at());
                    assert!(!during[GROUND] && !during[CLIP], "{}", at());
                }
                Applied::Drive { .. } => assert!(!during[RAISE], "{}", at()),
                Applied::Limiter { path, .. } => {
                    let closed = [during[GROUND], during[CLIP]];
                    let is_ground = path == DrivePath::WideToGround;
                    // All low: a pin refused, or the order has just ended.
                    assert!(
                        closed == [is_ground, !is_ground] || during == [false; 6],
                        "{}",
                        at()
                    );
                }
                Applied::Probe { .. } => assert!(!during[RAISE], "{}", at()),
            }
            let after = bench.levels();
            assert!(!(after[HOLD] && (after[GROUND] || after[CLIP])), "{}", at());
            assert!(!(after[GROUND] && after[CLIP]), "{}", at());
            closings += u32::from(after[HOLD] || after[GROUND] || after[CLIP]);
        }
    }
    assert!(
        closings > 10_000,
        "the sequences do close something: {closings}"
    );
}
