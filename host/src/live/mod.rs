//! `live`: what a tester sees now, a few times a second.
//!
//! ```text
//!  tester <── Client ── feed (a thread: asks, carries out, finds the tester again)
//!                         │ Heard                 ▲ Ask
//!                         ▼                       │
//!                       Live (pure state: what was heard and which keys were pressed)
//!                         │
//!            ┌────────────┴───────────┐
//!         screen (a terminal)      lines (a program: one JSON object a line)
//! ```
//!
//! The view shows and asks; it judges nothing. Values that are no longer those of now are never
//! shown as if they were: when the tester is not heard, its lamps are unknown and its values
//! old. A danger stays on the screen until the tester itself takes it back.

mod feed;
mod history;
mod lines;
mod model;
mod rhythm;
pub mod screen;

use std::time::Duration;

pub use feed::{Ended, Feed, Heard, Line};
pub use history::{History, Span, Trace};
pub use lines::{LineWriter, show as show_lines};
pub use model::{Ask, Effect, Key, Live, Standing};
pub use rhythm::is_lit;

/// How often the tester is asked what it sees: as often as it measures a window.
pub const ASK_EVERY: Duration = Duration::from_millis(200);

/// How long a tester that went away is waited for.
pub const COME_BACK_WITHIN: Duration = Duration::from_secs(20);
