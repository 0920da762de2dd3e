//! What a board has to offer beyond the `embedded-hal` traits.
//!
//! `embedded-hal` 1.0 has no trait for a byte link that knows whether somebody listens at the
//! other end, so that one is stated here. All the rest of the board is in `embedded-hal`
//! terms: an SPI device for the converter, one for the NOR flash, seven output pins for the
//! lamps and the heartbeat, an input pin for the button.

/// The serial link to the host: on the board a USB serial port, on the bench a
/// pseudo-terminal.
///
/// Every call returns at once. Nothing is promised about how many bytes one call moves: a
/// caller keeps what was not taken and offers it again.
pub trait SerialLink {
    /// Takes received bytes into the start of `into` and returns how many, 0 if there are
    /// none. A transport error reads as "no bytes"; [`SerialLink::is_open`] tells a lost link.
    fn read(&mut self, into: &mut [u8]) -> usize;

    /// Offers bytes for sending and returns how many, counted from the start of `from`, were
    /// taken; 0 if the transport has no room now.
    fn write(&mut self, from: &[u8]) -> usize;

    /// Whether a program holds the port open (DTR on a USB serial port). When this turns from
    /// false to true the output still queued belongs to nobody: drop it and start a new
    /// session.
    fn is_open(&self) -> bool;
}

impl<L: SerialLink + ?Sized> SerialLink for &mut L {
    fn read(&mut self, into: &mut [u8]) -> usize {
        L::read(self, into)
    }

    fn write(&mut self, from: &[u8]) -> usize {
        L::write(self, from)
    }

    fn is_open(&self) -> bool {
        L::is_open(self)
    }
}
