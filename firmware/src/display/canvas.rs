//! The picture in memory: 128 by 64 points, in the order in which the display's memory has them.
//!
//! Byte `128 * page + column` holds eight points of a column, the topmost in bit 0.

use core::convert::Infallible;

use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Point, Size};
use embedded_graphics::pixelcolor::BinaryColor;

/// Columns.
pub const WIDTH: usize = 128;
/// Rows.
pub const HEIGHT: usize = 64;
/// Bytes of the picture.
pub const BYTES: usize = WIDTH * HEIGHT / 8;

/// A picture. Points outside of it are dropped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Canvas {
    bytes: [u8; BYTES],
}

impl Default for Canvas {
    fn default() -> Self {
        Self::new()
    }
}

impl Canvas {
    /// All dark.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: [0; BYTES] }
    }

    /// Its bytes.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; BYTES] {
        &self.bytes
    }

    /// Whether a point is lit. Points outside are not.
    #[must_use]
    pub fn is_lit(&self, column: usize, row: usize) -> bool {
        column < WIDTH
            && self
                .bytes
                .get(row / 8 * WIDTH + column)
                .is_some_and(|byte| byte >> (row % 8) & 1 == 1)
    }
}

impl OriginDimensions for Canvas {
    fn size(&self) -> Size {
        Size::new(WIDTH as u32, HEIGHT as u32)
    }
}

impl DrawTarget for Canvas {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Infallible>
    where
        I: IntoIterator<Item = Pixel<BinaryColor>>,
    {
        for Pixel(Point { x, y }, color) in pixels {
            // Negative ones become large and are outside.
            let (column, row) = (x as usize, y as usize);
            if column >= WIDTH || row >= HEIGHT {
                continue;
            }
            if let Some(byte) = self.bytes.get_mut(row / 8 * WIDTH + column) {
                let bit = 1 << (row % 8);
                match color {
                    BinaryColor::On => *byte |= bit,
                    BinaryColor::Off => *byte &= !bit,
                }
            }
        }
        Ok(())
    }

    fn clear(&mut self, color: BinaryColor) -> Result<(), Infallible> {
        self.bytes = [if color.is_on() { 0xFF } else { 0 }; BYTES];
        Ok(())
    }
}
