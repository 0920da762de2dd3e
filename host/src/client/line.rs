//! Frames from a line: reads bytes with a deadline and keeps each frame as it came.

use std::io::{self, ErrorKind, Read, Write};
use std::time::{Duration, Instant};

use slotwise_core::link::{FrameReader, MAX_FRAME};

use super::RawFrame;
use crate::transport::Transport;

/// One read waits no longer, so that a flood of single bytes cannot outlast a deadline.
const LONGEST_WAIT: Duration = Duration::from_millis(100);

/// What came.
pub(super) enum Frame {
    /// A message, and its frame as it came.
    Message(Vec<u8>, RawFrame),
    /// Bytes up to a zero that are no frame.
    Bad,
}

/// A line and what is held of it.
pub(super) struct FrameLine {
    line: Box<dyn Transport>,
    reader: FrameReader,
    /// Bytes of the frame in hand, as they came.
    raw: Vec<u8>,
    /// Bytes read and not yet looked at.
    held: Vec<u8>,
    taken: usize,
    heard: u64,
    whole: u64,
}

impl FrameLine {
    pub(super) const fn new(line: Box<dyn Transport>) -> Self {
        Self {
            line,
            reader: FrameReader::new(),
            raw: Vec::new(),
            held: Vec::new(),
            taken: 0,
            heard: 0,
            whole: 0,
        }
    }

    /// Bytes heard, if not one whole frame was among them.
    pub(super) const fn only_noise(&self) -> Option<u64> {
        if self.heard > 0 && self.whole == 0 {
            Some(self.heard)
        } else {
            None
        }
    }

    pub(super) fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.line.write_all(bytes)?;
        self.line.flush()
    }

    /// The next frame, whole or not; `None` when the time is over.
    pub(super) fn frame(&mut self, deadline: Instant) -> io::Result<Option<Frame>> {
        loop {
            while let Some(&byte) = self.held.get(self.taken) {
                self.taken += 1;
                // A frame too long is dropped by the reader as well.
                if self.raw.len() <= MAX_FRAME {
                    self.raw.push(byte);
                }
                match self.reader.push(byte) {
                    None if byte == 0 => self.raw.clear(),
                    None => {}
                    Some(Err(_)) => {
                        self.raw.clear();
                        return Ok(Some(Frame::Bad));
                    }
                    Some(Ok(message)) => {
                        let message = message.to_vec();
                        self.whole += 1;
                        let raw = RawFrame(std::mem::take(&mut self.raw));
                        return Ok(Some(Frame::Message(message, raw)));
                    }
                }
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(None);
            }
            self.fill(left)?;
        }
    }

    fn fill(&mut self, left: Duration) -> io::Result<()> {
        let wait = left.min(LONGEST_WAIT).max(Duration::from_millis(1));
        self.line.set_wait(wait)?;
        let mut buffer = [0; 4096];
        match self.line.read(&mut buffer) {
            Ok(0) => Err(ErrorKind::UnexpectedEof.into()),
            Ok(count) => {
                self.heard += count as u64;
                self.held.clear();
                self.held.extend(buffer.iter().take(count));
                self.taken = 0;
                Ok(())
            }
            Err(error) => match error.kind() {
                ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted => Ok(()),
                _ => Err(error),
            },
        }
    }
}
