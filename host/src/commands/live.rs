//! `live`: what a tester sees now, on the screen or as JSON lines.

use std::io::IsTerminal as _;
use std::time::Instant;

use slotwise_core::slots::ClipTarget;

use crate::cli::LiveArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::live::{Ask, Feed, Live, screen, show_lines};
use crate::texts::English;

/// Runs `live`.
///
/// # Errors
/// Port or link; a terminal or output that cannot be written.
pub(super) fn run(args: &LiveArgs) -> Result<Exit, Error> {
    let feed = Feed::start(args.port.clone())?;
    let until = args.until.map(|length| Instant::now() + length);
    let clip = args.clip.map(ClipTarget::from);
    let first = if args.watch {
        Some(Ask::StartWatch(clip.unwrap_or_default()))
    } else {
        clip.map(Ask::Test)
    };
    let mut live = Live::new(args.port.clone().unwrap_or_default(), clip);
    if args.json || !std::io::stdout().is_terminal() {
        show_lines(feed, &mut live, first, until, &English)
    } else {
        screen::show(feed, &mut live, first, until, &English)
    }
}
