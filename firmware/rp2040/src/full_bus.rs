//! An SPI bus whose line does not stand still between bytes.
//!
//! The HAL's bus sends one byte and waits for it, so the time that the core takes for a byte
//! comes on top of the time on the wire: 95 cycles where the wire needs 64. Here up to
//! [`UNDER_WAY`] bytes are on their way, by the two FIFOs of the controller.
//!
//! Never more than fit into the receive FIFO: the controller drops what finds no room there, and an
//! interrupt may keep the core away for as long as it likes.

use core::convert::Infallible;

use embedded_hal::spi::{ErrorType, SpiBus};
use embedded_hal_nb::nb;
use embedded_hal_nb::spi::FullDuplex;

/// Places of the receive FIFO (RP2040 data sheet 4.4.2).
const UNDER_WAY: usize = 8;

/// A bus over a controller of the HAL.
pub(crate) struct FullBus<S>(pub(crate) S);

impl<S> ErrorType for FullBus<S> {
    type Error = Infallible;
}

impl<S: FullDuplex<u8, Error = Infallible>> FullBus<S> {
    /// Sends `count` bytes that `next` gives and hands the same number to `take`, in order.
    #[inline]
    fn exchange(
        &mut self,
        count: usize,
        next: impl Fn(usize) -> u8,
        mut take: impl FnMut(usize, u8),
    ) {
        let (mut sent, mut taken) = (0, 0);
        while taken < count {
            if sent < count && sent - taken < UNDER_WAY {
                match self.0.write(next(sent)) {
                    Ok(()) => sent += 1,
                    Err(nb::Error::WouldBlock) => {}
                    Err(nb::Error::Other(never)) => match never {},
                }
            }
            match self.0.read() {
                Ok(byte) => {
                    take(taken, byte);
                    taken += 1;
                }
                Err(nb::Error::WouldBlock) => {}
                Err(nb::Error::Other(never)) => match never {},
            }
        }
    }
}

impl<S: FullDuplex<u8, Error = Infallible>> SpiBus for FullBus<S> {
    fn read(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        self.exchange(
            words.len(),
            |_| 0,
            |place, byte| {
                if let Some(word) = words.get_mut(place) {
                    *word = byte;
                }
            },
        );
        Ok(())
    }

    fn write(&mut self, words: &[u8]) -> Result<(), Infallible> {
        let word = |place| words.get(place).copied().unwrap_or(0);
        self.exchange(words.len(), word, |_, _| {});
        Ok(())
    }

    fn transfer(&mut self, read: &mut [u8], write: &[u8]) -> Result<(), Infallible> {
        let word = |place| write.get(place).copied().unwrap_or(0);
        self.exchange(read.len().max(write.len()), word, |place, byte| {
            if let Some(into) = read.get_mut(place) {
                *into = byte;
            }
        });
        Ok(())
    }

    fn transfer_in_place(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        // Byte `n` is sent before it is overwritten: it is taken after it was sent.
        let cells = core::cell::Cell::from_mut(words).as_slice_of_cells();
        let word = |place: usize| cells.get(place).map_or(0, core::cell::Cell::get);
        self.exchange(cells.len(), word, |place, byte| {
            if let Some(cell) = cells.get(place) {
                cell.set(byte);
            }
        });
        Ok(())
    }

    /// Everything that was sent has come back, so nothing is on the wire any more.
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
