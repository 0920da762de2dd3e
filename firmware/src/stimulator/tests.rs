use super::*;
use core::cell::Cell;
use core::convert::Infallible;
use embedded_hal::digital::{Error, ErrorKind, ErrorType};
use slotwise_core::sample::AdcCode;
use std::rc::Rc;

/// What the six pins stand at, and how often each was written.
#[derive(Debug, Default)]
struct Bench {
    high: [Cell<bool>; 6],
    edges: [Cell<u32>; 6],
    /// The pin that refuses to be driven high.
    fails_high: Cell<Option<usize>>,
}

const PUMP: usize = 0;
const HOLD: usize = 1;
const GROUND: usize = 2;
const CLIP: usize = 3;
const TONE: usize = 4;
const RAISE: usize = 5;

#[derive(Clone, Debug)]
struct Pin(Rc<Bench>, usize);

#[derive(Debug)]
struct Refused;

impl Error for Refused {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl ErrorType for Pin {
    type Error = Refused;
}

impl Pin {
    fn write(&mut self, high: bool) -> Result<(), Refused> {
        let Self(bench, index) = self;
        if high && bench.fails_high.get() == Some(*index) {
            return Err(Refused);
        }
        if bench.high[*index].replace(high) != high {
            bench.edges[*index].set(bench.edges[*index].get() + 1);
        }
        Ok(())
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Refused> {
        self.write(false)
    }

    fn set_high(&mut self) -> Result<(), Refused> {
        self.write(true)
    }
}

fn bench() -> (Rc<Bench>, Stimulator<Pin>) {
    let bench = Rc::new(Bench::default());
    let pin = |index| Pin(Rc::clone(&bench), index);
    let pins = Pins {
        probe_pump: pin(PUMP),
        probe_hold: pin(HOLD),
        drive_ground: pin(GROUND),
        drive_clip: pin(CLIP),
        tone: pin(TONE),
        drive_raise: pin(RAISE),
    };
    let stimulator = Stimulator::new(pins);
    (bench, stimulator)
}

impl Bench {
    fn levels(&self) -> [bool; 6] {
        [0, 1, 2, 3, 4, 5].map(|index| self.high[index].get())
    }

    fn all_low(&self) -> bool {
        self.levels() == [false; 6]
    }
}

/// A frame whose ground and clip stand this many volts above wide.
fn frame(ground: f64, clip: f64) -> Result<Frame, FrameFault> {
    let code = |volts: f64| AdcCode::saturating((volts / NOMINAL_VOLTS_PER_CODE) as i32);
    Ok(Frame {
        codes: [
            code(80.0),
            code(-40.0),
            code(ground - 40.0),
            code(clip - 40.0),
        ],
    })
}

fn quiet() -> Result<Frame, FrameFault> {
    frame(0.1, 0.2)
}

const ORDERS: [Order; 6] = [
    Order::Relays {
        pass: 1,
        probe: true,
    },
    Order::Probe,
    Order::Drive(DrivePath::WideToGround),
    Order::Drive(DrivePath::WideToClip),
    Order::Limiter {
        path: DrivePath::WideToGround,
        pass: 0,
    },
    Order::Limiter {
        path: DrivePath::WideToClip,
        pass: 1,
    },
];

#[test]
fn nothing_is_driven_without_an_order() {
    let (bench, mut stimulator) = bench();
    for _ in 0..1000 {
        assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
        assert!(bench.all_low());
    }
    for edges in &bench.edges {
        assert_eq!(edges.get(), 0);
    }
}

#[test]
fn the_probe_runs_its_pattern_and_a_mark_is_that_of_the_frame_before_its_pins() {
    let (bench, mut stimulator) = bench();
    stimulator.set(Order::Probe);
    assert!(bench.all_low(), "nothing before a frame was looked at");
    assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
    let mut pump = bench.high[PUMP].get();
    for number in 0..4000 {
        let closed = is_closed(number);
        assert_eq!(bench.high[HOLD].get(), closed, "{number}");
        // The pins as they stand are what the next mark says.
        let mark = stimulator.on_frame(&quiet());
        let expected = Applied::Probe {
            frame: number,
            closed,
        };
        assert_eq!(mark, expected);
        let next = is_closed(number + 1);
        if next {
            assert_ne!(
                bench.high[PUMP].get(),
                pump,
                "toggled for frame {}",
                number + 1
            );
        } else {
            assert!(!bench.high[PUMP].get());
        }
        pump = bench.high[PUMP].get();
        assert!(!bench.high[GROUND].get() && !bench.high[CLIP].get() && !bench.high[TONE].get());
    }
}

#[test]
fn the_drive_closes_its_own_relay_and_sounds_the_tone() {
    for (path, own, other) in [
        (DrivePath::WideToGround, GROUND, CLIP),
        (DrivePath::WideToClip, CLIP, GROUND),
    ] {
        let (bench, mut stimulator) = bench();
        stimulator.set(Order::Drive(path));
        assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
        for number in 0..4000 {
            let high = tone_is_high(number);
            assert!(bench.high[own].get() && !bench.high[other].get());
            assert!(!bench.high[PUMP].get() && !bench.high[HOLD].get());
            assert_eq!(bench.high[TONE].get(), high);
            let expected = Applied::Drive {
                frame: number,
                path,
                high,
            };
            assert_eq!(stimulator.on_frame(&quiet()), expected);
        }
        // 85 Hz for one second: a rise and a fall each.
        assert!((169..=171).contains(&bench.edges[TONE].get()));
    }
}

#[test]
fn a_pass_of_the_relays_closes_one_at_a_time_and_sounds_the_tone_with_the_drive_open() {
    for (pass, probe) in [(0, true), (1, true), (0, false)] {
        let (bench, mut stimulator) = bench();
        stimulator.set(Order::Relays { pass, probe });
        assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
        let mut pump = false;
        let (mut with_a, mut with_b) = (0, 0);
        for number in 0..4000 {
            let alone = relay_check::closed_alone(number, pass).filter(|_| probe);
            let [is_a, is_b] = [ProbeRelay::A, ProbeRelay::B].map(|relay| alone == Some(relay));
            with_a += u32::from(is_a);
            with_b += u32::from(is_b);
            assert_eq!(bench.high[HOLD].get(), is_b, "{number}");
            // A pump that moves is relay A, one that stands low is none.
            assert_eq!(bench.high[PUMP].get(), is_a && !pump, "{number}");
            pump = bench.high[PUMP].get();
            assert!(!bench.high[GROUND].get() && !bench.high[CLIP].get());
            assert_eq!(bench.high[TONE].get(), relay_check::tone(number, pass));
            assert_eq!(
                stimulator.on_frame(&quiet()),
                Applied::Relays { frame: number }
            );
        }
        assert_eq!(with_a > 0, probe);
        assert_eq!(with_a, with_b, "as long each");
    }
}

#[test]
fn a_pass_of_a_limiter_raises_the_level_in_one_half_of_the_tone_at_a_time() {
    use slotwise_core::limiter_check::pattern::FRAMES;
    for (path, own, other) in [
        (DrivePath::WideToGround, GROUND, CLIP),
        (DrivePath::WideToClip, CLIP, GROUND),
    ] {
        for pass in 0..3 {
            let (bench, mut stimulator) = bench();
            stimulator.set(Order::Limiter { path, pass });
            assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
            let mut raised = [0, 0];
            for number in 0..FRAMES {
                let high = tone_is_high(number);
                assert!(bench.high[own].get() && !bench.high[other].get());
                assert!(!bench.high[PUMP].get() && !bench.high[HOLD].get());
                assert_eq!(bench.high[TONE].get(), high);
                assert_eq!(bench.high[RAISE].get(), is_raised(number, pass));
                raised[usize::from(high)] += u32::from(bench.high[RAISE].get());
                let expected = Applied::Limiter {
                    frame: number,
                    path,
                    high,
                };
                assert_eq!(stimulator.on_frame(&quiet()), expected);
            }
            assert_eq!(raised, [800, 800]);
            // What comes after the pass, until another order: the plain level.
            for _ in 0..100 {
                stimulator.on_frame(&quiet());
                assert!(!bench.high[RAISE].get());
            }
        }
    }
}

#[test]
fn another_order_opens_at_once_and_begins_at_its_own_zero() {
    let (bench, mut stimulator) = bench();
    stimulator.set(Order::Drive(DrivePath::WideToGround));
    for _ in 0..100 {
        stimulator.on_frame(&quiet());
    }
    stimulator.set(Order::Probe);
    assert!(bench.all_low());
    // The frame in hand was begun under the drive, and is marked so.
    assert!(matches!(
        stimulator.on_frame(&quiet()),
        Applied::Drive { frame: 99, .. }
    ));
    assert!(matches!(
        stimulator.on_frame(&quiet()),
        Applied::Probe { frame: 0, .. }
    ));
    stimulator.set(Order::Rest);
    assert!(bench.all_low());
    assert!(matches!(
        stimulator.on_frame(&quiet()),
        Applied::Probe { frame: 1, .. }
    ));
    assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
}

#[test]
fn pins_of_a_microcontroller_do() {
    struct Plain;
    impl ErrorType for Plain {
        type Error = Infallible;
    }
    impl OutputPin for Plain {
        fn set_low(&mut self) -> Result<(), Infallible> {
            Ok(())
        }
        fn set_high(&mut self) -> Result<(), Infallible> {
            Ok(())
        }
    }
    let mut stimulator = Stimulator::new(Pins {
        probe_pump: Plain,
        probe_hold: Plain,
        drive_ground: Plain,
        drive_clip: Plain,
        tone: Plain,
        drive_raise: Plain,
    });
    stimulator.set(Order::Probe);
    assert_eq!(stimulator.on_frame(&quiet()), Applied::Nothing);
}

mod interlocks;
