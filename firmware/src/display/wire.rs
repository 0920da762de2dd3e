//! The display's side of the I2C bus: what the driver crate writes through.
//!
//! A message begins with a control byte (SSD1306 data sheet, 8.1.5.2): 00 in front of commands, 40 in
//! front of what goes into the picture's memory. The crate's own way copies into buffers by
//! indices that no compiler proves; here what does not fit is an error.
//!
//! Limits: commands of 7 bytes at most, the longest that this display has; only bytes, the other
//! formats are for other displays.

use display_interface::{DataFormat, DisplayError, WriteOnlyDataCommand};
use embedded_hal::i2c::I2c;

/// The address with pin SA0 low, as the boards with this chip come.
const ADDRESS: u8 = 0x3C;

const COMMANDS: u8 = 0x00;
const DATA: u8 = 0x40;

/// Bytes of the picture in one message: half a slice of the display's room.
const PIECE: usize = 16;

/// The bus, for one use.
pub(super) struct Wire<'b, B>(pub(super) &'b mut B);

impl<B: I2c> Wire<'_, B> {
    fn write(&mut self, control: u8, bytes: &[u8]) -> Result<(), DisplayError> {
        let mut message = [0; 1 + PIECE];
        let (head, body) = message.split_at_mut(1);
        head.fill(control);
        body.get_mut(..bytes.len())
            .ok_or(DisplayError::OutOfBoundsError)?
            .copy_from_slice(bytes);
        let whole = message
            .get(..=bytes.len())
            .ok_or(DisplayError::OutOfBoundsError)?;
        self.0
            .write(ADDRESS, whole)
            .map_err(|_| DisplayError::BusWriteError)
    }
}

impl<B: I2c> WriteOnlyDataCommand for Wire<'_, B> {
    fn send_commands(&mut self, commands: DataFormat<'_>) -> Result<(), DisplayError> {
        match commands {
            DataFormat::U8(bytes) => self.write(COMMANDS, bytes),
            _ => Err(DisplayError::DataFormatNotImplemented),
        }
    }

    fn send_data(&mut self, data: DataFormat<'_>) -> Result<(), DisplayError> {
        match data {
            DataFormat::U8(bytes) => bytes
                .chunks(PIECE)
                .try_for_each(|piece| self.write(DATA, piece)),
            _ => Err(DisplayError::DataFormatNotImplemented),
        }
    }
}

#[cfg(test)]
mod tests {
    use display_interface::{DataFormat, DisplayError, WriteOnlyDataCommand as _};
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

    use super::Wire;

    #[test]
    fn commands_and_data_are_told_apart_and_cut_into_pieces() {
        let picture: Vec<u8> = (0..20).collect();
        let mut bus = Mock::new(&[
            Transaction::write(0x3C, vec![0x00, 0x21, 5, 36]),
            Transaction::write(0x3C, [&[0x40], &picture[..16]].concat()),
            Transaction::write(0x3C, [&[0x40], &picture[16..]].concat()),
        ]);
        let mut wire = Wire(&mut bus);
        assert!(wire.send_commands(DataFormat::U8(&[0x21, 5, 36])).is_ok());
        assert!(wire.send_data(DataFormat::U8(&picture)).is_ok());
        assert!(wire.send_data(DataFormat::U8(&[])).is_ok());
        bus.done();
    }

    #[test]
    fn what_does_not_fit_or_is_no_bytes_is_refused() {
        let mut bus = Mock::new(&[]);
        let mut wire = Wire(&mut bus);
        let long = wire.send_commands(DataFormat::U8(&[0; 17]));
        assert!(matches!(long, Err(DisplayError::OutOfBoundsError)));
        let words = wire.send_data(DataFormat::U16(&[0; 2]));
        assert!(matches!(words, Err(DisplayError::DataFormatNotImplemented)));
        bus.done();
    }
}
