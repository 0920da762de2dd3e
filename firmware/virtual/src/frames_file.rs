//! Frames as a file, so that an emulator in another process plays exactly the codes that the
//! virtual board would.
//!
//! The format has no header. Each frame is 16 bytes: four 32-bit little-endian two's
//! complement integers, the codes of the narrow, wide, ground and clip channels, each within
//! the converter's 24 bits. Frame `n` of the file starts at byte `16 n` and is the conversion
//! that is complete `n` x 250 us after the start.

use crate::front_end::FrameSource;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::LEADS;
use std::io::{self, Read, Write};

/// Bytes of one frame.
pub const FRAME_BYTES: usize = 4 * LEADS;

/// Why a file of frames could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum FramesFileError {
    /// The file system's own error.
    #[error("the file of frames could not be read or written: {0}; check the path and the disk")]
    Io(#[from] io::Error),
    /// The file does not end with a whole frame.
    #[error(
        "the file ends {extra} bytes into frame {frame}; every frame is 16 bytes: \
         write the file again"
    )]
    Truncated {
        /// The frame that is not whole.
        frame: u64,
        /// How many bytes of it there are.
        extra: usize,
    },
    /// A code beyond 24 bits.
    #[error(
        "frame {frame}, channel {channel}: {code} is beyond the converter's 24 bits; \
         this is no file of frames, or it was written with another byte order"
    )]
    Code {
        /// The frame.
        frame: u64,
        /// The channel.
        channel: usize,
        /// What stands there.
        code: i32,
    },
}

/// Writes `frames` and returns how many there were.
///
/// # Errors
/// [`FramesFileError::Io`] of the writer.
pub fn write_frames(
    mut to: impl Write,
    frames: impl IntoIterator<Item = Frame>,
) -> Result<u64, FramesFileError> {
    let mut count = 0;
    for frame in frames {
        let mut bytes = [0; FRAME_BYTES];
        for (place, code) in bytes.chunks_exact_mut(4).zip(frame.codes) {
            place.copy_from_slice(&code.get().to_le_bytes());
        }
        to.write_all(&bytes)?;
        count += 1;
    }
    to.flush()?;
    Ok(count)
}

/// Writes the frames `0..count` of `source`.
///
/// # Errors
/// [`FramesFileError::Io`] of the writer.
pub fn write_source(
    to: impl Write,
    source: &mut dyn FrameSource,
    count: u64,
) -> Result<u64, FramesFileError> {
    write_frames(to, (0..count).map(|number| source.frame(number)))
}

/// Reads all frames of a file.
///
/// # Errors
/// [`FramesFileError`] names the frame that is not one.
pub fn read_frames(mut from: impl Read) -> Result<Vec<Frame>, FramesFileError> {
    let mut bytes = Vec::new();
    from.read_to_end(&mut bytes)?;
    let chunks = bytes.chunks_exact(FRAME_BYTES);
    let extra = chunks.remainder().len();
    if extra > 0 {
        return Err(FramesFileError::Truncated {
            frame: chunks.len() as u64,
            extra,
        });
    }
    chunks
        .enumerate()
        .map(|(frame, chunk)| {
            let mut codes = [AdcCode::default(); LEADS];
            for (channel, place) in chunk.chunks_exact(4).enumerate() {
                let code = i32::from_le_bytes([place[0], place[1], place[2], place[3]]);
                codes[channel] = AdcCode::saturating(code);
                if codes[channel].get() != code {
                    return Err(FramesFileError::Code {
                        frame: frame as u64,
                        channel,
                        code,
                    });
                }
            }
            Ok(Frame { codes })
        })
        .collect()
}

/// Plays stored frames into a converter model; after the last one, zeros.
#[derive(Clone, Debug)]
pub struct FramePlayer(Vec<Frame>);

impl FramePlayer {
    /// A player of these frames, the first at conversion 0.
    #[must_use]
    pub const fn new(frames: Vec<Frame>) -> Self {
        Self(frames)
    }
}

impl FrameSource for FramePlayer {
    fn frame(&mut self, number: u64) -> Frame {
        usize::try_from(number)
            .ok()
            .and_then(|index| self.0.get(index).copied())
            .unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(codes: [i32; LEADS]) -> Frame {
        Frame {
            codes: codes.map(AdcCode::saturating),
        }
    }

    #[test]
    fn the_bytes_are_those_of_the_description() {
        let mut bytes = Vec::new();
        let frames = [frame([1, -1, 0x7F_FFFF, -0x80_0000])];
        assert_eq!(write_frames(&mut bytes, frames).unwrap(), 1);
        assert_eq!(
            bytes,
            [
                0x01, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F, 0, 0, 0, 0x80, 0xFF
            ]
        );
        assert_eq!(read_frames(&bytes[..]).unwrap(), frames);
    }

    #[test]
    fn a_file_that_is_none_is_refused() {
        let short = read_frames(&[0; 39][..]).unwrap_err();
        assert!(
            matches!(short, FramesFileError::Truncated { frame: 2, extra: 7 }),
            "{short}"
        );
        let mut bytes = [0; 32];
        bytes[16 + 7] = 0x01;
        let wide = read_frames(&bytes[..]).unwrap_err();
        assert!(
            wide.to_string().contains("frame 1, channel 1: 16777216"),
            "{wide}"
        );
    }

    #[test]
    fn a_player_gives_its_frames_and_then_zeros() {
        let mut player = FramePlayer::new(vec![frame([1, 2, 3, 4])]);
        assert_eq!(player.frame(0), frame([1, 2, 3, 4]));
        assert_eq!(player.frame(1), frame([0; 4]));
    }
}
