//! The button: from the level of a pin to "pressed" and "held".
//!
//! The pin has a pull-up, so pressed = low; [`Button::poll`] is told "is it down". A change
//! counts once the level has stood still for [`DEBOUNCE_MS`]. A press is told when the button
//! comes up again before [`HOLD_MS`]; a hold is told while the button is still down, as soon
//! as it has been down that long, and its release tells nothing.

use slotwise_core::units::Millis;

/// How long a level must stand still to count. Contacts of small push buttons bounce for up
/// to about 10 ms; twice that is still not felt as a delay.
pub const DEBOUNCE_MS: u64 = 20;

/// How long the button must be down for a hold.
pub const HOLD_MS: u64 = 1000;

/// What the user did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ButtonEvent {
    /// Down and up again within [`HOLD_MS`].
    Press,
    /// Down for [`HOLD_MS`]; told once.
    Hold,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Up,
    /// Down since this time, not yet held.
    Down(Millis),
    /// The hold was told; waits for the release.
    Held,
}

/// Debouncer and press timer of one button.
#[derive(Clone, Debug)]
pub struct Button {
    state: State,
    /// Level of the last poll and since when it has stood.
    raw: Option<(bool, Millis)>,
}

impl Default for Button {
    fn default() -> Self {
        Self::new()
    }
}

impl Button {
    /// A button that is up.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            state: State::Up,
            raw: None,
        }
    }

    /// Takes the level at `now` (`is_down` = the pin is low) and tells what the user did.
    /// Call it at least every [`DEBOUNCE_MS`]; a longer gap between calls delays the answer
    /// but invents none.
    pub fn poll(&mut self, is_down: bool, now: Millis) -> Option<ButtonEvent> {
        let since = match self.raw {
            Some((level, since)) if level == is_down => since,
            _ => {
                self.raw = Some((is_down, now));
                now
            }
        };
        let stands = now.since(since) >= DEBOUNCE_MS;
        match self.state {
            State::Up if is_down && stands => {
                self.state = State::Down(since);
                None
            }
            State::Down(_) if !is_down && stands => {
                self.state = State::Up;
                Some(ButtonEvent::Press)
            }
            State::Held if !is_down && stands => {
                self.state = State::Up;
                None
            }
            State::Down(pressed) if is_down && now.since(pressed) >= HOLD_MS => {
                self.state = State::Held;
                Some(ButtonEvent::Hold)
            }
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Polls once a millisecond; `down` says the level at each time. Returns the events.
    fn play(total: u64, down: impl Fn(u64) -> bool) -> Vec<(u64, ButtonEvent)> {
        let mut button = Button::new();
        (0..total)
            .filter_map(|t| button.poll(down(t), Millis::new(t)).map(|event| (t, event)))
            .collect()
    }

    #[test]
    fn a_short_press_is_told_at_the_release_after_the_debounce() {
        let events = play(500, |t| (100..250).contains(&t));
        assert_eq!(events, [(250 + DEBOUNCE_MS, ButtonEvent::Press)]);
    }

    #[test]
    fn bouncing_contacts_make_one_press() {
        // Both edges chatter every 3 ms for 15 ms.
        let events = play(500, |t| match t {
            100..115 => (t / 3) % 2 == 0,
            115..250 => true,
            250..265 => (t / 3) % 2 == 0,
            _ => false,
        });
        assert_eq!(events.len(), 1);
        assert_eq!(events[0].1, ButtonEvent::Press);
    }

    #[test]
    fn a_spike_shorter_than_the_debounce_is_nothing() {
        assert_eq!(play(200, |t| (50..50 + DEBOUNCE_MS).contains(&t)), []);
    }

    #[test]
    fn a_hold_is_told_once_while_down_and_its_release_is_silent() {
        let events = play(5000, |t| (100..3000).contains(&t));
        assert_eq!(events, [(100 + HOLD_MS, ButtonEvent::Hold)]);
    }

    #[test]
    fn just_below_a_second_is_a_press_and_a_second_is_a_hold() {
        let short = play(3000, |t| (100..100 + HOLD_MS - 1).contains(&t));
        assert_eq!(short.len(), 1);
        assert_eq!(short[0].1, ButtonEvent::Press);
        let long = play(3000, |t| (100..=100 + HOLD_MS).contains(&t));
        assert_eq!(long, [(100 + HOLD_MS, ButtonEvent::Hold)]);
    }

    #[test]
    fn a_chattering_release_does_not_end_a_hold_early() {
        let events = play(3000, |t| match t {
            100..900 => true,
            900..905 => false, // a 5 ms loss of contact
            905..2000 => true,
            _ => false,
        });
        assert_eq!(events, [(100 + HOLD_MS, ButtonEvent::Hold)]);
    }

    #[test]
    fn a_button_down_at_power_on_holds_after_a_second() {
        assert_eq!(play(1500, |_| true), [(HOLD_MS, ButtonEvent::Hold)]);
    }

    #[test]
    fn a_gap_between_polls_invents_no_press() {
        let mut button = Button::new();
        assert_eq!(button.poll(false, Millis::new(0)), None);
        // 60 ms in a sector erase, during which the button went down.
        assert_eq!(button.poll(true, Millis::new(60)), None);
        assert_eq!(button.poll(true, Millis::new(81)), None);
        assert_eq!(button.poll(false, Millis::new(150)), None);
        assert_eq!(
            button.poll(false, Millis::new(171)),
            Some(ButtonEvent::Press)
        );
    }
}
