//! What both chip models share: bytes shifted in both directions between the fall and the
//! rise of chip select.
//!
//! One `SpiDevice` transaction is one chip-select frame. Where an operation reads more than
//! it writes, the controller sends zeros; where it writes more, what comes back is dropped.

use embedded_hal::spi::{Error, ErrorKind, Operation};

/// The bus did not work: the chip has no power, or a fault was injected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BusError {
    /// The chip has lost its power.
    #[error("the chip on this bus has no power; restore it before the next transfer")]
    NoPower,
    /// A test made this transfer fail.
    #[error("this transfer was made to fail by the test")]
    Injected,
}

impl Error for BusError {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

/// Runs the operations of one chip-select frame through `shift`, which takes the byte from
/// the controller and returns the chip's; `wait` is called for the pauses, in nanoseconds.
pub(super) fn run(
    operations: &mut [Operation<'_, u8>],
    mut shift: impl FnMut(u8) -> u8,
    mut wait: impl FnMut(u32),
) {
    for operation in operations {
        match operation {
            Operation::Read(read) => read.iter_mut().for_each(|byte| *byte = shift(0)),
            Operation::Write(write) => {
                for byte in write.iter() {
                    shift(*byte);
                }
            }
            Operation::Transfer(read, write) => {
                for index in 0..read.len().max(write.len()) {
                    let answer = shift(write.get(index).copied().unwrap_or(0));
                    if let Some(place) = read.get_mut(index) {
                        *place = answer;
                    }
                }
            }
            Operation::TransferInPlace(bytes) => {
                bytes.iter_mut().for_each(|byte| *byte = shift(*byte));
            }
            Operation::DelayNs(nanos) => wait(*nanos),
        }
    }
}

/// Bytes that the operations clock.
pub(super) fn length(operations: &[Operation<'_, u8>]) -> usize {
    operations
        .iter()
        .map(|operation| match operation {
            Operation::Read(read) => read.len(),
            Operation::Write(write) => write.len(),
            Operation::Transfer(read, write) => read.len().max(write.len()),
            Operation::TransferInPlace(bytes) => bytes.len(),
            Operation::DelayNs(_) => 0,
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_operation_clocks_its_bytes() {
        let (mut one, mut two, mut three) = ([0; 2], [0; 1], [7; 2]);
        let mut operations = [
            Operation::Write(&[1, 2]),
            Operation::Read(&mut one),
            Operation::Transfer(&mut two, &[3, 4, 5]),
            Operation::DelayNs(10),
            Operation::TransferInPlace(&mut three),
        ];
        assert_eq!(length(&operations), 2 + 2 + 3 + 2);
        let (mut sent, mut waited) = (Vec::new(), 0);
        run(
            &mut operations,
            |byte| {
                sent.push(byte);
                sent.len() as u8
            },
            |nanos| waited += nanos,
        );
        assert_eq!(sent, [1, 2, 0, 0, 3, 4, 5, 7, 7]);
        assert_eq!((one, two, three, waited), ([3, 4], [5], [8, 9], 10));
    }
}
