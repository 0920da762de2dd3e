//! The line to a tester: bytes both ways, with a time-out.
//!
//! On a computer it is a serial port. Where the virtual tester has no pseudo-terminal to sit
//! behind, it is a pair of channels in memory.

use std::io::{self, Read, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::Duration;

/// A byte line. `read` waits at most as long as was set and then fails with
/// [`io::ErrorKind::TimedOut`].
pub trait Transport: Read + Write + Send {
    /// Sets how long one `read` waits for the first byte.
    ///
    /// # Errors
    /// What the system says.
    fn set_wait(&mut self, wait: Duration) -> io::Result<()>;

    /// Name for messages.
    fn name(&self) -> String;
}

/// A serial port as a [`Transport`].
pub struct SerialLine {
    port: Box<dyn serialport::SerialPort>,
    name: String,
}

impl SerialLine {
    /// Takes an open port.
    #[must_use]
    pub fn new(port: Box<dyn serialport::SerialPort>, name: String) -> Self {
        Self { port, name }
    }
}

impl Read for SerialLine {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.port.read(into)
    }
}

impl Write for SerialLine {
    fn write(&mut self, from: &[u8]) -> io::Result<usize> {
        self.port.write(from)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.port.flush()
    }
}

impl Transport for SerialLine {
    fn set_wait(&mut self, wait: Duration) -> io::Result<()> {
        self.port.set_timeout(wait).map_err(io::Error::from)
    }

    fn name(&self) -> String {
        self.name.clone()
    }
}

/// One end of a line in memory.
pub struct MemoryLine {
    to_other: Sender<Vec<u8>>,
    from_other: Receiver<Vec<u8>>,
    held: Vec<u8>,
    taken: usize,
    wait: Duration,
    name: &'static str,
}

impl MemoryLine {
    /// The two ends of a line.
    #[must_use]
    pub fn pair(name: &'static str) -> (Self, Self) {
        let (to_b, from_a) = channel();
        let (to_a, from_b) = channel();
        let end = |to_other, from_other| Self {
            to_other,
            from_other,
            held: Vec::new(),
            taken: 0,
            wait: Duration::from_millis(100),
            name,
        };
        (end(to_b, from_b), end(to_a, from_a))
    }

    /// Takes what is there without waiting; 0 if nothing is, or the other end is gone.
    pub fn take_now(&mut self, into: &mut [u8]) -> usize {
        if self.taken == self.held.len() {
            match self.from_other.try_recv() {
                Ok(bytes) => self.hold(bytes),
                Err(TryRecvError::Empty | TryRecvError::Disconnected) => return 0,
            }
        }
        self.hand_out(into)
    }

    fn hold(&mut self, bytes: Vec<u8>) {
        self.held = bytes;
        self.taken = 0;
    }

    fn hand_out(&mut self, into: &mut [u8]) -> usize {
        let waiting = self.held.get(self.taken..).unwrap_or_default();
        let count = waiting.len().min(into.len());
        for (place, byte) in into.iter_mut().zip(waiting) {
            *place = *byte;
        }
        self.taken += count;
        count
    }
}

impl Read for MemoryLine {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.taken == self.held.len() {
            match self.from_other.recv_timeout(self.wait) {
                Ok(bytes) => self.hold(bytes),
                Err(RecvTimeoutError::Timeout) => return Err(io::ErrorKind::TimedOut.into()),
                Err(RecvTimeoutError::Disconnected) => return Ok(0),
            }
        }
        Ok(self.hand_out(into))
    }
}

impl Write for MemoryLine {
    fn write(&mut self, from: &[u8]) -> io::Result<usize> {
        match self.to_other.send(from.to_vec()) {
            Ok(()) => Ok(from.len()),
            Err(_) => Err(io::ErrorKind::BrokenPipe.into()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Transport for MemoryLine {
    fn set_wait(&mut self, wait: Duration) -> io::Result<()> {
        self.wait = wait;
        Ok(())
    }

    fn name(&self) -> String {
        self.name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_cross_the_memory_line_in_order_and_in_small_bites() {
        let (mut a, mut b) = MemoryLine::pair("memory");
        a.write_all(&[1, 2, 3, 4, 5]).unwrap();
        a.write_all(&[6]).unwrap();
        let mut got = Vec::new();
        let mut bite = [0; 2];
        while got.len() < 6 {
            let count = b.read(&mut bite).unwrap();
            got.extend_from_slice(&bite[..count]);
        }
        assert_eq!(got, [1, 2, 3, 4, 5, 6]);
        assert_eq!(b.take_now(&mut bite), 0);
    }

    #[test]
    fn silence_is_a_time_out_and_a_lost_end_is_the_end() {
        let (mut a, b) = MemoryLine::pair("memory");
        a.set_wait(Duration::from_millis(1)).unwrap();
        let error = a.read(&mut [0]).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::TimedOut);
        drop(b);
        assert_eq!(a.read(&mut [0]).unwrap(), 0);
        assert!(a.write(&[1]).is_err());
    }
}
