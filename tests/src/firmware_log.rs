//! The firmware's log in words: frames that the emulator or a debug probe took from the image,
//! decoded by the crate `defmt-decoder` with the image's own table.

use std::fs;
use std::path::Path;

use defmt_decoder::{DecodeError, Table};

/// What a log held.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decoded {
    /// One line an entry: seconds, level, text.
    pub lines: Vec<String>,
    /// Frames that were no entry of this image.
    pub malformed: usize,
}

/// The lines of `frames`, written by the image `elf`.
///
/// # Errors
/// A sentence, where the image has no log or cannot be read.
pub fn decode(elf: &Path, frames: &[u8]) -> Result<Decoded, String> {
    let name = elf.display();
    let bytes = fs::read(elf).map_err(|error| format!("{name}: {error}; build the image"))?;
    let table = Table::parse(&bytes)
        .map_err(|error| format!("{name}: {error}; the log is not of this version's form"))?
        .ok_or_else(|| format!("{name}: the image has no log (no .defmt section)"))?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(frames);
    let mut decoded = Decoded::default();
    loop {
        match decoder.decode() {
            Ok(frame) => {
                let level = frame.level().map_or("", |level| level.as_str());
                let at = frame
                    .display_timestamp()
                    .map_or_else(String::new, |at| at.to_string());
                let text = frame.display_message().to_string();
                decoded.lines.push(format!("{at:>11} {level:<5} {text}"));
            }
            Err(DecodeError::UnexpectedEof) => return Ok(decoded),
            // The stream is in step again at the next frame.
            Err(DecodeError::Malformed) if table.encoding().can_recover() => {
                decoded.malformed += 1;
            }
            Err(DecodeError::Malformed) => {
                decoded.malformed += 1;
                return Ok(decoded);
            }
        }
    }
}
