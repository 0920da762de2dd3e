//! Rhythms, the finding number, the heartbeat, and the pins.

use core::convert::Infallible;
use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::digital::ErrorType;
use slotwise_core::finding::FindingCode;

use super::*;

fn at(millis: u64) -> Millis {
    Millis::new(millis)
}

/// Rising edges and lit milliseconds of `level` in `span` milliseconds.
fn count(span: u64, level: impl Fn(u64) -> bool) -> (u32, u64) {
    let mut edges = 0;
    let mut lit = 0;
    let mut before = false;
    for t in 0..span {
        let now = level(t);
        edges += u32::from(now && !before);
        lit += u64::from(now);
        before = now;
    }
    (edges, lit)
}

#[test]
fn the_rhythms_have_their_rates() {
    let of = |rhythm| count(10_000, |t| level(rhythm, at(t)));
    assert_eq!(of(Rhythm::Off), (0, 0));
    assert_eq!(of(Rhythm::Steady), (1, 10_000));
    assert_eq!(of(Rhythm::SlowBlink), (10, 5000));
    assert_eq!(of(Rhythm::FastBlink), (40, 5000));
    // 8 Hz, a quarter of the time (31 of 125 ms).
    assert_eq!(of(Rhythm::FastPulse), (80, 80 * 31));
}

#[test]
fn lamps_of_one_rhythm_beat_together_at_any_time() {
    // After 300 days the phase is still that of the time since the start.
    let late = 300 * 86_400_000;
    for rhythm in [Rhythm::SlowBlink, Rhythm::FastBlink, Rhythm::FastPulse] {
        for t in 0..1000 {
            assert_eq!(level(rhythm, at(t)), level(rhythm, at(late + t)));
        }
    }
}

/// The flashes of a number as a reader counts them: groups parted by more than the time
/// between two flashes of a digit.
fn groups(number: u8) -> Vec<u32> {
    let mut groups = Vec::new();
    let mut dark = u64::MAX;
    let mut before = false;
    for t in 0.. {
        let Some(lit) = number_level(number, t) else {
            break;
        };
        if lit && !before {
            if dark > DIGIT_DARK_MS {
                groups.push(0);
            }
            *groups.last_mut().expect("began") += 1;
        }
        dark = if lit { 0 } else { dark.saturating_add(1) };
        before = lit;
    }
    groups
}

#[test]
fn every_finding_number_can_be_counted_as_tens_and_units() {
    let numbers = (11..=66).filter(|n| n % 10 != 0 && FindingCode::ReadsSound.number() <= *n);
    for number in numbers {
        let (tens, units) = (u32::from(number / 10), u32::from(number % 10));
        assert_eq!(groups(number), [tens, units], "{number}");
    }
    assert_eq!(groups(FindingCode::ReversedPolarity.number()), [1, 2]);
}

#[test]
fn a_number_starts_and_ends_dark_and_takes_its_time() {
    assert_eq!(number_level(11, 0), Some(false));
    assert_eq!(number_level(11, NUMBER_LEAD_IN_MS - 1), Some(false));
    assert_eq!(number_level(11, NUMBER_LEAD_IN_MS), Some(true));
    let total = NUMBER_LEAD_IN_MS + 600 + DIGIT_PAUSE_MS + 600 + NUMBER_LEAD_OUT_MS;
    assert_eq!(number_level(11, total - 1), Some(false));
    assert_eq!(number_level(11, total), None);
    assert_eq!(number_level(11, u64::MAX), None);
    assert_eq!(groups(200), groups(99));
}

#[test]
fn the_heartbeat_beats_once_a_second_and_flickers_after_a_record() {
    assert_eq!(count(5000, |t| heartbeat_level(at(t), None)), (5, 5 * 60));
    // In the 400 ms after a record at 500 ms: 62 ms periods, so seven begin.
    let flicker = count(FLICKER_MS, |t| heartbeat_level(at(500 + t), Some(at(500))));
    assert_eq!(flicker.0, 7);
    let after = |t| heartbeat_level(at(2000 + t), Some(at(500)));
    assert_eq!(count(5000, after), (5, 5 * 60));
}

/// Levels of all seven pins, shared with the test.
type Levels = Rc<RefCell<[bool; LAMPS + 1]>>;

struct TestPin(usize, Levels);

impl ErrorType for TestPin {
    type Error = Infallible;
}

impl OutputPin for TestPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.1.borrow_mut()[self.0] = false;
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.1.borrow_mut()[self.0] = true;
        Ok(())
    }
}

fn driver() -> (LampDriver<TestPin, TestPin>, Levels) {
    let levels = Levels::default();
    let pin = |i| TestPin(i, Rc::clone(&levels));
    let driver = LampDriver::new(core::array::from_fn(pin), pin(LAMPS));
    (driver, levels)
}

fn lamps_at(driver: &mut LampDriver<TestPin, TestPin>, levels: &Levels, now: u64) -> Vec<usize> {
    let Ok(()) = driver.poll(at(now));
    (0..LAMPS).filter(|&i| levels.borrow()[i]).collect()
}

fn panel(lit: &[(Lamp, Rhythm)]) -> Panel {
    let mut panel = Panel::DARK;
    for &(lamp, rhythm) in lit {
        panel.rhythms[lamp as usize] = rhythm;
    }
    panel
}

#[test]
fn each_lamp_is_on_its_own_pin() {
    for lamp in Lamp::ALL {
        let (mut driver, levels) = driver();
        driver.show(panel(&[(lamp, Rhythm::Steady)]));
        assert_eq!(lamps_at(&mut driver, &levels, 300), [lamp as usize]);
    }
}

#[test]
fn while_a_number_is_told_the_other_lamps_are_dark_and_then_the_panel_is_back() {
    let (mut driver, levels) = driver();
    driver.show(panel(&[
        (Lamp::Supply, Rhythm::Steady),
        (Lamp::EarthPath, Rhythm::SlowBlink),
    ]));
    assert_eq!(lamps_at(&mut driver, &levels, 100), [2, 3]);
    driver.tell(Lamp::EarthPath, 13, at(100));
    assert_eq!(lamps_at(&mut driver, &levels, 150), []);
    let first_flash = 100 + NUMBER_LEAD_IN_MS;
    assert_eq!(lamps_at(&mut driver, &levels, first_flash), [2]);
    assert!(driver.is_telling());
    assert_eq!(lamps_at(&mut driver, &levels, 60_000), [2, 3]);
    assert!(!driver.is_telling());
}

#[test]
fn a_danger_cuts_a_number_off() {
    let (mut driver, levels) = driver();
    driver.show(panel(&[(Lamp::WiredRight, Rhythm::SlowBlink)]));
    driver.tell(Lamp::WiredRight, 13, at(0));
    driver.show(panel(&[(Lamp::LiveMetal, Rhythm::FastPulse)]));
    assert_eq!(lamps_at(&mut driver, &levels, 125), [0]);
    // While the danger lasts, its own number can be asked for.
    driver.tell(Lamp::LiveMetal, 16, at(1000));
    driver.show(panel(&[(Lamp::LiveMetal, Rhythm::FastPulse)]));
    assert!(driver.is_telling());
}

#[test]
fn a_written_record_shows_on_the_heartbeat_only() {
    let (mut driver, levels) = driver();
    assert_eq!(lamps_at(&mut driver, &levels, 500), []);
    assert!(!levels.borrow()[LAMPS]);
    driver.record_written(at(500));
    assert_eq!(lamps_at(&mut driver, &levels, 500), []);
    assert!(levels.borrow()[LAMPS]);
}
