//! Emphasis. Nothing on the screen needs colour to be understood: colour is only ever red, only
//! for danger, and only beside the word. With `NO_COLOR` set there is none (no-color.org).

use ratatui::style::{Color, Modifier, Style};

/// Emphasis, with or without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Paint {
    /// Whether there is colour.
    pub colour: bool,
}

impl Paint {
    /// As the person wishes: `NO_COLOR` that is set and not empty says no.
    #[must_use]
    pub fn from_environment() -> Self {
        let unwanted = std::env::var_os("NO_COLOR").is_some_and(|wish| !wish.is_empty());
        Self { colour: !unwanted }
    }

    /// Of a danger.
    pub(super) fn danger(self) -> Style {
        let style = Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED);
        if self.colour {
            style.fg(Color::Red)
        } else {
            style
        }
    }

    /// Of what must not be overlooked.
    pub(super) fn alarm() -> Style {
        Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED)
    }

    /// Of a heading or an answer.
    pub(super) fn strong() -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// Of what is beside the point.
    pub(super) fn faint() -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }
}
