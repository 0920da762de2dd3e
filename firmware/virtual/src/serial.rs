//! The serial line between the board and whoever holds its other end, in memory.
//!
//! Two byte queues with a bound each, as USB buffers have: a writer is told how much was
//! taken. The far end can be shut, as a host program does when it ends.

use slotwise_firmware::board::SerialLink;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Bytes that each direction holds.
const CAPACITY: usize = 4096;

#[derive(Default)]
struct Line {
    to_board: VecDeque<u8>,
    to_far: VecDeque<u8>,
    open: bool,
}

/// The board's end.
#[derive(Clone)]
pub struct BoardEnd(Arc<Mutex<Line>>);

/// The other end.
#[derive(Clone)]
pub struct FarEnd(Arc<Mutex<Line>>);

/// A line that nobody holds open yet.
#[must_use]
pub fn line() -> (BoardEnd, FarEnd) {
    let line = Arc::default();
    (BoardEnd(Arc::clone(&line)), FarEnd(line))
}

fn lock(line: &Mutex<Line>) -> MutexGuard<'_, Line> {
    line.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Moves what `to` has room for; returns how much.
fn offer(to: &mut VecDeque<u8>, from: &[u8]) -> usize {
    let taken = from.len().min(CAPACITY.saturating_sub(to.len()));
    to.extend(&from[..taken]);
    taken
}

impl SerialLink for BoardEnd {
    fn read(&mut self, into: &mut [u8]) -> usize {
        let mut line = lock(&self.0);
        let count = into.len().min(line.to_board.len());
        for (place, byte) in into.iter_mut().zip(line.to_board.drain(..count)) {
            *place = byte;
        }
        count
    }

    fn write(&mut self, from: &[u8]) -> usize {
        offer(&mut lock(&self.0).to_far, from)
    }

    fn is_open(&self) -> bool {
        lock(&self.0).open
    }
}

impl FarEnd {
    /// Opens or shuts the port. What was on its way is dropped.
    pub fn set_open(&self, open: bool) {
        let mut line = lock(&self.0);
        if line.open != open {
            *line = Line {
                open,
                ..Line::default()
            };
        }
    }

    /// Offers bytes to the board; returns how many were taken.
    pub fn write(&self, from: &[u8]) -> usize {
        offer(&mut lock(&self.0).to_board, from)
    }

    /// Takes all bytes that the board has sent.
    #[must_use]
    pub fn read(&self) -> Vec<u8> {
        lock(&self.0).to_far.drain(..).collect()
    }
}
