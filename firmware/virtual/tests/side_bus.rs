//! The drivers of clock chip and display against models of the parts at the level of registers
//! and commands, which share no code with the drivers.

use slotwise_core::evidence::Evidence;
use slotwise_core::link::{ClockChip, JournalState, Phase};
use slotwise_core::units::{Millis, UnixSeconds};
use slotwise_firmware::clock_chip;
use slotwise_firmware::display::{Display, Scene};
use slotwise_virtual::chips::side_bus::{
    Cell, HEIGHT, SideParts, VirtualDisplay, VirtualRtc, VirtualSideBus, WIDTH,
};
use slotwise_virtual::clock::SimClock;

/// 2026-11-25T18:52:07Z, by `date -u`.
const NOW: u64 = 1_795_632_727;
const SECOND: u64 = 1_000_000_000;

fn bus(rtc: Option<VirtualRtc>, display: Option<VirtualDisplay>) -> (SimClock, VirtualSideBus) {
    let clock = SimClock::new();
    let bus = VirtualSideBus::new(&clock, SideParts { rtc, display });
    (clock, bus)
}

#[test]
fn a_clock_that_runs_gives_its_time() {
    let (clock, mut bus) = bus(Some(VirtualRtc::running(NOW)), None);
    assert_eq!(clock_chip::read(&mut bus), Ok(UnixSeconds::new(NOW)));
    clock.advance(3_600 * SECOND);
    assert_eq!(
        clock_chip::read(&mut bus),
        Ok(UnixSeconds::new(NOW + 3_600))
    );
}

#[test]
fn every_month_end_and_leap_day_is_read_as_it_is() {
    // 2026-12-31, 2028-02-28, 2028-02-29, 2099-12-31, each one second before midnight and on.
    for before in [1_798_761_599, 1_835_395_199, 1_835_481_599, 4_102_444_790] {
        let (clock, mut bus) = bus(Some(VirtualRtc::running(before)), None);
        for second in 0..4 {
            let expected = Ok(UnixSeconds::new(before + second));
            assert_eq!(clock_chip::read(&mut bus), expected);
            clock.advance(SECOND);
        }
    }
}

#[test]
fn no_time_is_ever_made_of_a_clock_that_has_none() {
    let stopped = {
        let mut chip = VirtualRtc::running(NOW);
        chip.stop();
        chip
    };
    // 2025-12-31T23:59:59Z: nobody can have set it then.
    let too_early = VirtualRtc::running(1_767_225_599);
    for (chip, why) in [
        (Some(VirtualRtc::never_set()), ClockChip::Stopped),
        (Some(stopped), ClockChip::Stopped),
        (Some(too_early), ClockChip::NotATime),
        (
            Some(VirtualRtc::running(NOW).counting_twelve()),
            ClockChip::NotATime,
        ),
        (None, ClockChip::Absent),
    ] {
        let (_, mut bus) = bus(chip, None);
        assert_eq!(clock_chip::read(&mut bus), Err(why));
    }
}

/// Transfers of one look at the clock: its flag, whether it counts twelve hours, two readings of
/// time, day, month, year and time, its flag.
const TRANSFERS: u32 = 1 + 1 + 2 * 5 + 1;

#[test]
fn a_bus_that_fails_at_any_transfer_gives_no_time() {
    for failing in 0..=TRANSFERS {
        let (_, mut bus) = bus(Some(VirtualRtc::running(NOW)), None);
        // Transfers before it pass: fail from there on by taking the part off.
        let mut probe = Failing {
            bus: bus.clone(),
            left: failing,
        };
        let outcome = clock_chip::read(&mut probe);
        if failing < TRANSFERS {
            assert_eq!(outcome, Err(ClockChip::BusFault), "{failing}");
        } else {
            assert_eq!(outcome, Ok(UnixSeconds::new(NOW)));
        }
        bus.stick(true);
        assert_eq!(clock_chip::read(&mut bus), Err(ClockChip::BusStuck));
        assert_eq!(
            clock_chip::set(&mut bus, UnixSeconds::new(NOW)),
            Err(ClockChip::BusStuck)
        );
    }
}

/// The registers are read one after the other, and the clock goes on meanwhile.
#[test]
fn a_time_read_while_day_month_or_year_changes_is_never_a_mix() {
    // Into a new day, month and year: 2026-12-31T23:59:58Z, and into the 29th of a February.
    for start in [1_798_761_598, 1_835_395_198] {
        for phase in 0..200 {
            let (clock, bus) = bus(Some(VirtualRtc::running(start)), None);
            clock.advance(phase * SECOND / 100);
            let began = clock.nanos() / SECOND;
            let mut slow = Slow {
                bus,
                clock: clock.clone(),
            };
            let read = clock_chip::read(&mut slow).map(UnixSeconds::get);
            let ended = clock.nanos() / SECOND;
            let read = read.unwrap_or_else(|why| panic!("{start} and {phase}: {why:?}"));
            assert!(
                (start + began..=start + ended).contains(&read),
                "{start} and {phase}: {read}"
            );
        }
    }
}

/// A bus whose transfers take 40 ms, a hundred times what they take.
struct Slow {
    bus: VirtualSideBus,
    clock: SimClock,
}

impl embedded_hal::i2c::ErrorType for Slow {
    type Error = <VirtualSideBus as embedded_hal::i2c::ErrorType>::Error;
}

impl embedded_hal::i2c::I2c for Slow {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [embedded_hal::i2c::Operation<'_>],
    ) -> Result<(), Self::Error> {
        self.clock.advance(SECOND / 25);
        self.bus.transaction(address, operations)
    }
}

/// A bus on which a transfer fails after so many have passed.
struct Failing {
    bus: VirtualSideBus,
    left: u32,
}

impl embedded_hal::i2c::ErrorType for Failing {
    type Error = <VirtualSideBus as embedded_hal::i2c::ErrorType>::Error;
}

impl embedded_hal::i2c::I2c for Failing {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [embedded_hal::i2c::Operation<'_>],
    ) -> Result<(), Self::Error> {
        if self.left == 0 {
            self.bus.fail_next(1);
        }
        self.left = self.left.saturating_sub(1);
        self.bus.transaction(address, operations)
    }
}

#[test]
fn setting_takes_hold_and_survives_a_night_on_the_cell() {
    let (clock, mut bus) = bus(Some(VirtualRtc::never_set()), None);
    clock.advance(5 * SECOND);
    assert_eq!(clock_chip::set(&mut bus, UnixSeconds::new(NOW)), Ok(()));
    let chip = bus.rtc().expect("on the bus");
    assert!(!chip.is_stopped());
    assert_eq!(chip.time(clock.nanos()), NOW);
    clock.advance(10 * SECOND);
    for (cell, expected) in [
        (Cell::Good, Ok(UnixSeconds::new(NOW + 10 + 40_000))),
        (Cell::Empty, Err(ClockChip::Stopped)),
    ] {
        let chip = bus.rtc().expect("on the bus");
        let chip = chip.after_off(clock.nanos(), 40_000, cell);
        let (_, mut later) = self::bus(Some(chip), None);
        assert_eq!(clock_chip::read(&mut later), expected);
    }
}

#[test]
fn a_cut_in_the_middle_of_setting_leaves_no_wrong_time() {
    for passes in 0..12 {
        let (clock, bus) = bus(Some(VirtualRtc::never_set()), None);
        let mut cut = Failing {
            bus: bus.clone(),
            left: passes,
        };
        let set = clock_chip::set(&mut cut, UnixSeconds::new(NOW));
        // The board restarts with the chip as it was left.
        let chip = bus.rtc().expect("on the bus");
        let (_, mut later) = self::bus(Some(chip.after_off(clock.nanos(), 60, Cell::Good)), None);
        match clock_chip::read(&mut later) {
            Ok(time) => assert_eq!(time.get(), NOW + 60, "{passes}"),
            Err(why) => assert_eq!(why, ClockChip::Stopped, "{passes}"),
        }
        if set.is_ok() {
            assert!(passes >= 3, "three writes and what is read back");
        }
    }
}

#[test]
fn a_chip_that_does_not_take_it_and_a_time_that_is_none_are_refused() {
    let (_, mut bus) = bus(Some(VirtualRtc::never_set().deaf()), None);
    assert_eq!(
        clock_chip::set(&mut bus, UnixSeconds::new(NOW)),
        Err(ClockChip::NotTaken)
    );
    for none in [0, 1_767_225_599, 4_102_444_800, u64::MAX] {
        let before = bus.transfers();
        assert_eq!(
            clock_chip::set(&mut bus, UnixSeconds::new(none)),
            Err(ClockChip::NotATime)
        );
        assert_eq!(bus.transfers(), before);
    }
}

const WAITING: Scene<'static> = Scene {
    phase: Phase::Waiting,
    is_measuring_raw: false,
    verdict: None,
    evidence: None::<&Evidence>,
    watch: None,
    journal: JournalState::Writable,
    clock: None,
    chip: ClockChip::Absent,
};

/// Turns of the display until it has nothing more to send, or `most`.
fn turn(display: &mut Display, bus: &mut VirtualSideBus, from: u64, most: u64) -> u64 {
    for turn in 0..most {
        display.poll(bus, Millis::new(from + turn), || WAITING);
    }
    from + most
}

#[test]
fn the_picture_that_was_drawn_is_the_picture_that_is_seen() {
    let (_, mut bus) = bus(None, Some(VirtualDisplay::new()));
    let mut display = Display::new();
    turn(&mut display, &mut bus, 0, 90);
    let shown = bus.display().expect("on the bus");
    assert!(shown.refused().is_empty(), "{:?}", shown.refused());
    assert!(shown.is_on());
    let (picture, canvas) = (shown.picture(), display.canvas());
    for (row, points) in picture.iter().enumerate() {
        for (column, &lit) in points.iter().enumerate() {
            // The moving mark stands over the last column of the top line.
            if row < 8 && column == WIDTH - 1 {
                continue;
            }
            assert_eq!(lit, canvas.is_lit(column, row), "{column}, {row}");
        }
    }
    let lit = picture.iter().flatten().filter(|lit| **lit).count();
    assert!((300..WIDTH * HEIGHT / 2).contains(&lit), "{lit}");
}

#[test]
fn a_display_is_dark_until_its_first_picture_is_whole() {
    let (_, mut bus) = bus(None, Some(VirtualDisplay::new()));
    let mut display = Display::new();
    let mut lit_at = None;
    for now in 0..200 {
        display.poll(&mut bus, Millis::new(now), || WAITING);
        let shown = bus.display().expect("on the bus");
        if shown.is_on() && lit_at.is_none() {
            lit_at = Some(now);
            assert_eq!(shown.data_bytes(), 1024, "all of it was sent, once");
        }
    }
    assert!(lit_at.is_some());
}

#[test]
fn nothing_of_before_a_start_is_shown_after_it() {
    let (_, mut bus) = bus(None, Some(VirtualDisplay::new()));
    turn(&mut Display::new(), &mut bus, 0, 90);
    assert!(bus.display().expect("on the bus").is_on());
    Display::new().put_out(&mut bus);
    assert!(!bus.display().expect("on the bus").is_on());
}

#[test]
fn a_turn_is_short_and_only_changes_are_sent() {
    let (_, mut bus) = bus(None, Some(VirtualDisplay::new()));
    let mut display = Display::new();
    let mut now = turn(&mut display, &mut bus, 0, 90);
    // 18 bytes of data and the address: 5 transfers a slice, the longest 0.43 ms.
    assert!(bus.longest_transfer() < 500_000);
    let sent = bus.display().expect("on the bus").data_bytes();
    now = turn(&mut display, &mut bus, now, 2_000);
    let after = bus.display().expect("on the bus").data_bytes();
    // The mark moved three to five times, one slice of 32 bytes each.
    assert!(
        (3 * 32..=5 * 32).contains(&(after - sent)),
        "{}",
        after - sent
    );
    // A disturbed memory is whole again after a refresh.
    turn(&mut display, &mut bus, now, 10_100);
    let refreshed = bus.display().expect("on the bus").data_bytes();
    assert!(refreshed - after >= 1024);
}

#[test]
fn a_display_that_goes_and_comes_is_set_up_again() {
    let (_, mut bus) = bus(None, None);
    let mut display = Display::new();
    let mut now = turn(&mut display, &mut bus, 0, 3_500);
    // Looked for once a second, one transfer each.
    assert_eq!(bus.transfers(), 4);
    bus.replace(SideParts {
        rtc: None,
        display: Some(VirtualDisplay::new()),
    });
    now = turn(&mut display, &mut bus, now, 1_200);
    assert!(bus.display().expect("on the bus").is_on());
    bus.stick(true);
    now = turn(&mut display, &mut bus, now, 3_000);
    bus.stick(false);
    bus.fail_next(3);
    turn(&mut display, &mut bus, now, 5_000);
    let shown = bus.display().expect("on the bus");
    assert!(shown.is_on() && shown.refused().is_empty());
}
