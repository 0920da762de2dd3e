//! The tester's end of the line: the master of a pseudo-terminal, or memory.

use slotwise_virtual::serial::FarEnd;

use super::LineWish;
use crate::transport::MemoryLine;

/// The tester's end. No call waits.
pub(super) trait FarLine: Send {
    /// Whether a program holds the other end open.
    fn is_open(&mut self) -> bool;
    /// Sends what the line takes of `waiting` and removes it.
    fn send(&mut self, waiting: &mut Vec<u8>);
    /// Hands what came to the tester.
    fn receive(&mut self, tester: &FarEnd);
}

/// What the host's end of the line is.
pub(super) enum Served {
    /// A port of this name.
    #[cfg_attr(
        not(unix),
        allow(dead_code, reason = "only systems with pseudo-terminals make one")
    )]
    Port(String),
    /// An end in memory, until it is taken.
    Memory(Option<MemoryLine>),
}

/// Opens a line.
pub(super) fn open(wish: LineWish) -> (Box<dyn FarLine>, Served) {
    match wish {
        // A system that has no pseudo-terminal to give is served in memory.
        LineWish::Best => best().unwrap_or_else(memory),
        LineWish::Memory => memory(),
    }
}

fn memory() -> (Box<dyn FarLine>, Served) {
    let (near, far) = MemoryLine::pair("the virtual tester's line in memory");
    let end = MemoryEnd {
        line: far,
        held: Vec::new(),
    };
    (Box::new(end), Served::Memory(Some(near)))
}

/// Bytes that the tester had no room for yet are kept by whoever reads them.
fn hand_over(held: &mut Vec<u8>, tester: &FarEnd) {
    let taken = tester.write(held);
    held.drain(..taken);
}

struct MemoryEnd {
    line: MemoryLine,
    held: Vec<u8>,
}

impl FarLine for MemoryEnd {
    fn is_open(&mut self) -> bool {
        true
    }

    fn send(&mut self, waiting: &mut Vec<u8>) {
        use std::io::Write as _;
        // A host that has gone away wants no more bytes.
        let _ = self.line.write_all(waiting);
        waiting.clear();
    }

    fn receive(&mut self, tester: &FarEnd) {
        let mut bytes = [0; 512];
        let count = self.line.take_now(&mut bytes);
        self.held.extend(bytes.iter().take(count));
        hand_over(&mut self.held, tester);
    }
}

#[cfg(unix)]
use pty::best;

#[cfg(not(unix))]
fn best() -> Option<(Box<dyn FarLine>, Served)> {
    None
}

#[cfg(unix)]
mod pty {
    use std::io::{ErrorKind, Read as _, Write as _};
    use std::time::Duration;

    use serialport::{SerialPort as _, TTYPort};
    use slotwise_virtual::serial::FarEnd;

    use super::{FarLine, Served, hand_over};

    /// The master of a pseudo-terminal.
    struct Master {
        port: TTYPort,
        held: Vec<u8>,
    }

    /// A pseudo-terminal whose other end nobody holds open yet.
    pub(super) fn best() -> Option<(Box<dyn FarLine>, Served)> {
        let (mut port, other) = TTYPort::pair().ok()?;
        port.set_timeout(Duration::ZERO).ok()?;
        let name = other.name()?;
        // Let go, so that the end is free for the program that opens it by name.
        drop(other);
        let master = Master {
            port,
            held: Vec::new(),
        };
        Some((Box::new(master), Served::Port(name)))
    }

    impl Master {
        /// Reads what is there; false if nobody holds the other end.
        fn fill(&mut self) -> bool {
            let mut bytes = [0; 512];
            match self.port.read(&mut bytes) {
                Ok(count) => {
                    self.held.extend(bytes.iter().take(count));
                    true
                }
                Err(error) => matches!(
                    error.kind(),
                    ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted
                ),
            }
        }
    }

    impl FarLine for Master {
        fn is_open(&mut self) -> bool {
            let open = self.fill();
            if !open {
                self.held.clear();
            }
            open
        }

        fn send(&mut self, waiting: &mut Vec<u8>) {
            while !waiting.is_empty() {
                match self.port.write(waiting) {
                    Ok(0) | Err(_) => return,
                    Ok(count) => {
                        waiting.drain(..count);
                    }
                }
            }
        }

        fn receive(&mut self, tester: &FarEnd) {
            hand_over(&mut self.held, tester);
        }
    }
}
