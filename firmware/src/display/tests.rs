//! Nothing drawn ever leaves the screen, whatever is found and whatever is measured.

use super::draw::{ELEMENTS, element};
use super::line::CHARACTERS;
use super::line::Line;
use super::screen::{Look, Scene, Screen};
use super::texts::ENGLISH;
use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::mono_font::iso_8859_1::FONT_6X10;
use embedded_graphics::pixelcolor::BinaryColor;
use slotwise_core::evidence::{
    Evidence, Measured, Missing, PairVoltage, Phasor, Reading, SlotVoltages,
};
use slotwise_core::finding::{Finding, FindingCode, NextCheck};
use slotwise_core::link::{ClockChip, JournalState, Phase, WatchState};
use slotwise_core::slots::ClipTarget;
use slotwise_core::topology::TopologySet;
use slotwise_core::units::{Hertz, Ohms, Radians, UnixSeconds, Volts};
use slotwise_core::verdict::{Outcome, Unproven, Verdict};

const OUTCOMES: [Outcome; 6] = [
    Outcome::Proven,
    Outcome::NoFaultFound,
    Outcome::Fault,
    Outcome::Danger,
    Outcome::CannotTell,
    Outcome::TesterFault,
];
const NEXT: [NextCheck; 13] = [
    NextCheck::None,
    NextCheck::ClipOnIndependentEarth,
    NextCheck::EarthPath,
    NextCheck::LoadSteps,
    NextCheck::OpenReceptacleBox,
    NextCheck::BreakerAndUpstream,
    NextCheck::LoadsOffAndRepeat,
    NextCheck::SupplyAtPanel,
    NextCheck::IsolateAtPanel,
    NextCheck::ServiceTheTester,
    NextCheck::Repeat,
    NextCheck::UnplugApplianceAndRepeat,
    NextCheck::FrameGround,
];
const PHASES: [Phase; 8] = [
    Phase::Wiring,
    Phase::EarthPath,
    Phase::NeutralAndGround,
    Phase::Steady,
    Phase::LoadCycle,
    Phase::Waiting,
    Phase::TesterFault,
    Phase::NeutralToClip,
];
const MISSING: [Missing; 10] = [
    Missing::NotAsked,
    Missing::NoVoltage,
    Missing::ClipFree,
    Missing::Refused,
    Missing::Unsteady,
    Missing::Clipped,
    Missing::BeyondRange,
    Missing::NoCurrent,
    Missing::RelaysUntested,
    Missing::LimiterUntested,
];
const CHIPS: [ClockChip; 9] = [
    ClockChip::NotAsked,
    ClockChip::Running,
    ClockChip::Stopped,
    ClockChip::NotATime,
    ClockChip::Absent,
    ClockChip::BusStuck,
    ClockChip::BusFault,
    ClockChip::NotTaken,
    ClockChip::Setting,
];
const SIZES: [f32; 14] = [
    -1.0e9,
    -0.3,
    0.0,
    0.004,
    0.996,
    9.996,
    99.96,
    123.4,
    999.96,
    9_998.7,
    9_999.6,
    1.0e9,
    f32::NAN,
    f32::INFINITY,
];

/// A target of the display's size that counts what would fall off it.
#[derive(Default)]
struct Strict {
    outside: usize,
    inside: usize,
}

impl OriginDimensions for Strict {
    fn size(&self) -> Size {
        Size::new(128, 64)
    }
}

impl DrawTarget for Strict {
    type Color = BinaryColor;
    type Error = core::convert::Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Self::Error>
    where
        I: IntoIterator<Item = Pixel<BinaryColor>>,
    {
        for Pixel(at, _) in pixels {
            if (0..128).contains(&at.x) && (0..64).contains(&at.y) {
                self.inside += 1;
            } else {
                self.outside += 1;
            }
        }
        Ok(())
    }
}

fn drawn(screen: &Screen) -> Strict {
    let mut target = Strict::default();
    for index in 0..ELEMENTS {
        let Ok(()) = element(screen, index, &mut target);
    }
    target
}

fn assert_fits(screen: &Screen) {
    let wide = match screen.look {
        Look::Plain | Look::Marked => 18,
        Look::Danger | Look::Fault => 12,
    };
    assert!(screen.head.length() <= wide, "{screen:?}");
    for line in core::iter::once(&screen.head).chain(&screen.rows) {
        assert!(line.length() <= CHARACTERS, "{screen:?}");
        assert!(!line.as_str().contains('?'), "{screen:?}");
        for character in line.as_str().chars() {
            // The font draws a question mark for what it does not have.
            let is_known =
                FONT_6X10.glyph_mapping.index(character) != FONT_6X10.glyph_mapping.index('?');
            assert!(is_known, "{character:?} in {screen:?}");
        }
    }
    assert_eq!(drawn(screen).outside, 0, "{screen:?}");
}

fn verdict(outcome: Outcome, code: FindingCode, next: NextCheck, unproven: Unproven) -> Verdict {
    let mut findings = heapless::Vec::new();
    let rivals = TopologySet::default();
    let _ = findings.push(Finding { code, rivals, next });
    Verdict {
        outcome,
        findings,
        unproven,
    }
}

fn evidence(volts: f32, hertz: f32, path: Measured<Ohms>, clip: Measured<Ohms>) -> Evidence {
    let pair = PairVoltage {
        fundamental: Phasor {
            rms: Volts::new(volts),
            angle: Radians::new(0.0),
        },
        true_rms: Volts::new(volts),
        ..PairVoltage::default()
    };
    Evidence {
        slots: Ok(SlotVoltages {
            pairs: [pair; 3],
            ..SlotVoltages::default()
        }),
        frequency: Measured::known(Hertz::new(hertz), Hertz::new(0.01)),
        earth_path: path,
        neutral_to_clip: clip,
        ..Evidence::empty()
    }
}

fn scene<'t>(verdict: Option<&'t Verdict>, evidence: Option<&'t Evidence>) -> Scene<'t> {
    Scene {
        phase: Phase::Steady,
        is_measuring_raw: false,
        verdict,
        evidence,
        watch: None,
        journal: JournalState::Writable,
        clock: None,
        chip: ClockChip::Absent,
    }
}

#[test]
fn every_finding_and_next_check_fits_under_every_outcome() {
    for outcome in OUTCOMES {
        for code in FindingCode::ALL {
            for next in NEXT {
                for bits in 0..8_u8 {
                    let unproven = Unproven {
                        polarity: bits & 1 != 0,
                        earth_path: bits & 2 != 0,
                        separate_ground: bits & 4 != 0,
                    };
                    let verdict = verdict(outcome, code, next, unproven);
                    let screen = Screen::of(&scene(Some(&verdict), None), &ENGLISH);
                    assert_fits(&screen);
                    assert!(drawn(&screen).inside > 1_000);
                }
            }
        }
    }
}

#[test]
fn every_size_of_every_value_fits() {
    let missing = MISSING.map(Measured::Missing);
    let found = verdict(
        Outcome::Fault,
        FindingCode::WeakEarthPath,
        NextCheck::None,
        Unproven::ALL,
    );
    for size in SIZES {
        for other in SIZES {
            let reading = Measured::known(Ohms::new(size), Ohms::new(other));
            for path in missing.into_iter().chain([reading]) {
                for clip in [missing[0], reading] {
                    let evidence = evidence(size, other, path, clip);
                    let screen = Screen::of(&scene(Some(&found), Some(&evidence)), &ENGLISH);
                    assert_fits(&screen);
                }
            }
        }
    }
}

#[test]
fn every_phase_watch_journal_and_clock_fits() {
    let clocks = [0, 1_795_632_727, 4_102_444_799, u64::MAX / 2, u64::MAX].map(UnixSeconds::new);
    let found = verdict(
        Outcome::NoFaultFound,
        FindingCode::ReadsSound,
        NextCheck::LoadSteps,
        Unproven::ALL,
    );
    for phase in PHASES {
        for chip in CHIPS {
            for journal in [
                JournalState::Writable,
                JournalState::Full,
                JournalState::Failed,
            ] {
                for clock in clocks.map(Some).into_iter().chain([None]) {
                    for is_measuring_raw in [false, true] {
                        let scene = Scene {
                            phase,
                            is_measuring_raw,
                            journal,
                            clock,
                            chip,
                            ..scene(None, None)
                        };
                        assert_fits(&Screen::of(&scene, &ENGLISH));
                    }
                }
            }
        }
        for [seconds, steps] in [[0, 0], [59, 9], [1_800, 99], [u16::MAX, u16::MAX]] {
            let scene = Scene {
                phase,
                watch: Some(WatchState {
                    seconds,
                    steps,
                    neutral_drop: Measured::Missing(Missing::NotAsked),
                    frame_shift: Measured::Missing(Missing::NotAsked),
                }),
                ..scene(Some(&found), None)
            };
            assert_fits(&Screen::of(&scene, &ENGLISH));
        }
    }
}

#[test]
fn danger_and_tester_fault_look_like_no_other_screen_and_show_no_value() {
    let evidence = evidence(
        120.0,
        60.0,
        Measured::known(Ohms::new(0.4), Ohms::new(0.02)),
        Measured::Missing(Missing::NotAsked),
    );
    for outcome in OUTCOMES {
        for code in FindingCode::ALL {
            let clip = NextCheck::ClipOnIndependentEarth;
            let verdict = verdict(outcome, code, clip, Unproven::ALL);
            let screen = Screen::of(&scene(Some(&verdict), Some(&evidence)), &ENGLISH);
            // Nobody is sent to clip something on while metal may be live.
            let sends = screen.rows.contains(&Line::of((ENGLISH.next)(clip)));
            assert_eq!(sends, outcome != Outcome::Danger, "{outcome:?}");
            let expected = match outcome {
                Outcome::Danger => Look::Danger,
                Outcome::TesterFault => Look::Fault,
                Outcome::Fault | Outcome::CannotTell => Look::Marked,
                Outcome::Proven | Outcome::NoFaultFound => Look::Plain,
            };
            assert_eq!(screen.look, expected);
            let has_values = screen
                .rows
                .iter()
                .any(|line| line.as_str().contains("120.0V"));
            assert_eq!(has_values, matches!(expected, Look::Plain | Look::Marked));
        }
    }
}

#[test]
fn doubt_never_reads_as_good() {
    // What is not proven never says so alone; what is unclear has no number.
    let told = |outcome, code, unproven| {
        let verdict = verdict(outcome, code, NextCheck::Repeat, unproven);
        let reading = Reading {
            value: Ohms::new(0.4),
            u: Ohms::new(0.02),
        };
        let evidence = evidence(
            120.0,
            60.0,
            Measured::Known(reading),
            Measured::Missing(Missing::NotAsked),
        );
        Screen::of(&scene(Some(&verdict), Some(&evidence)), &ENGLISH)
    };
    let sound = FindingCode::ReadsSound;
    let screen = told(Outcome::NoFaultFound, sound, Unproven::ALL);
    assert_eq!(screen.head.as_str(), "NO FAULT FOUND YET");
    assert_eq!(screen.rows[3].as_str(), "unproven: polarity+");
    let unclear = FindingCode::EarthPathUnclear;
    let screen = told(Outcome::CannotTell, unclear, Unproven::ALL);
    assert_eq!(screen.rows[2].as_str(), "earth cannot tell");
    let screen = told(Outcome::Fault, FindingCode::Dead, Unproven::ALL);
    assert_eq!(screen.rows[2].as_str(), "not shown to be dead!");
    for outcome in OUTCOMES {
        for code in FindingCode::ALL {
            let screen = told(outcome, code, Unproven::ALL);
            let says_proven = screen.head.as_str() == "PROVEN";
            assert_eq!(says_proven, outcome == Outcome::Proven);
        }
    }
}

#[test]
fn without_an_answer_no_value_stands() {
    let evidence = evidence(
        120.0,
        60.0,
        Measured::known(Ohms::new(0.4), Ohms::new(0.02)),
        Measured::Missing(Missing::NotAsked),
    );
    for phase in PHASES {
        let scene = Scene {
            phase,
            ..scene(None, Some(&evidence))
        };
        let screen = Screen::of(&scene, &ENGLISH);
        let text: std::vec::Vec<&str> = screen.rows.iter().map(|line| line.as_str()).collect();
        let text = text.join("|");
        assert!(!text.contains("120") && !text.contains("ohm"), "{text}");
    }
}

#[test]
fn the_earth_path_is_shown_where_the_clip_is_on_another_earth() {
    let path = Measured::known(Ohms::new(0.19), Ohms::new(0.05));
    let clip = Measured::known(Ohms::new(14.4), Ohms::new(0.05));
    let mut evidence = evidence(119.5, 60.0, path, clip);
    for (target, begins) in [
        (ClipTarget::IndependentEarth, "earth 0.19"),
        (ClipTarget::ApplianceFrame, "clip 14.4"),
    ] {
        evidence.clip_target = target;
        let verdict = verdict(
            Outcome::NoFaultFound,
            FindingCode::ReadsSound,
            NextCheck::LoadSteps,
            Unproven::ALL,
        );
        let screen = Screen::of(&scene(Some(&verdict), Some(&evidence)), &ENGLISH);
        let shown = screen
            .rows
            .iter()
            .any(|row| row.as_str().starts_with(begins));
        assert!(shown, "{target:?}: {screen:?}");
    }
}
