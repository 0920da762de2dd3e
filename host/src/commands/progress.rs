//! How far a long command has come, with its rate: a bar on standard error where that is a
//! terminal, else nothing. It has no colours, so there is none to switch off.

use std::fmt;
use std::io::IsTerminal as _;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

/// What is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// Records of a tester.
    Records,
    /// Tests of an archive.
    Tests,
    /// Bytes of files.
    Bytes,
}

/// A bar that is there, or not.
#[derive(Debug)]
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// Begins at 0 of `total`. `silent` where standard output is for a program, or quiet is asked for.
    pub(super) fn begin(of: Of, total: u64, silent: bool) -> Self {
        let is_seen = !silent && std::io::stderr().is_terminal();
        let target = if is_seen {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let template = match of {
            Of::Records => "{bar:30} {human_pos} of {human_len} records, {rate}, {eta} left",
            Of::Tests => "{bar:30} {human_pos} of {human_len} tests, {rate}, {eta} left",
            Of::Bytes => {
                "{bar:30} {bytes} of {total_bytes}, {bytes_per_sec}, {eta} left; {msg} new records"
            }
        };
        // A template that is wrong would show the usual bar.
        let style = ProgressStyle::with_template(template)
            .unwrap_or_else(|_| ProgressStyle::default_bar())
            .with_key("rate", |state: &ProgressState, to: &mut dyn fmt::Write| {
                // A bar that cannot be written is no reason to end.
                let _ = write!(to, "{:.0}/s", state.per_sec());
            })
            .progress_chars("=> ");
        Self(ProgressBar::with_draw_target(Some(total), target).with_style(style))
    }

    /// So many are to be done, now that it is known.
    pub(super) fn of(&self, total: u64) {
        if self.0.length() != Some(total) {
            self.0.set_length(total);
        }
    }

    /// So many are done.
    pub(super) fn at(&self, done: u64) {
        // More than was known at the beginning.
        if self.0.length().is_some_and(|total| done > total) {
            self.0.set_length(done);
        }
        self.0.set_position(done);
    }

    /// What stands at its end.
    pub(super) fn with(&self, message: String) {
        self.0.set_message(message);
    }

    /// Says something without tearing the bar.
    pub(super) fn say(&self, say: impl FnOnce()) {
        self.0.suspend(say);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
