//! A recorded waveform from a CSV file.
//!
//! The header names slot pairs: `nw` (narrow against wide), `gw` (ground against wide), `ng`
//! (narrow against ground), two of them at least, and `cw` (clip against wide) if the clip was
//! recorded. Each further line holds the volts of one instant. Lines that begin with `#` are
//! comments. Around the receptacle v_nw - v_ng - v_gw = 0: with two pairs the third follows,
//! with three they must close, since a recording that does not is not one of one receptacle.

use std::fs::File;
use std::path::Path;

use csv::{ReaderBuilder, StringRecord, Trim};

use crate::error::SamplesError;

/// No receptacle has more than this; a larger number is another unit or a slip.
const MOST_VOLTS: f64 = 600.0;

/// Most that three pairs may fail to close, as a share of the largest of them at that instant,
/// and in volts: two instruments of 1 % each. Beyond it a sign or a column is wrong.
const CLOSES_WITHIN: (f64, f64) = (0.02, 1.0);

/// A recording, evenly spaced.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// Narrow against wide.
    pub nw: Vec<f64>,
    /// Ground against wide.
    pub gw: Vec<f64>,
    /// Clip against wide, if it was recorded.
    pub cw: Option<Vec<f64>>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Column {
    Nw,
    Gw,
    Ng,
    Cw,
}

impl Column {
    fn named(name: &str) -> Option<Self> {
        match name.to_ascii_lowercase().as_str() {
            "nw" | "v_nw" => Some(Self::Nw),
            "gw" | "v_gw" => Some(Self::Gw),
            "ng" | "v_ng" => Some(Self::Ng),
            "cw" | "v_cw" => Some(Self::Cw),
            _ => None,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Nw => "nw",
            Self::Gw => "gw",
            Self::Ng => "ng",
            Self::Cw => "cw",
        }
    }
}

/// Reads the recording in `path`.
///
/// # Errors
/// A [`SamplesError`] that names line and column.
pub fn read(path: &Path) -> Result<Recording, SamplesError> {
    let file = path.display().to_string();
    let unreadable = |reason: String| SamplesError::Unreadable {
        file: file.clone(),
        reason,
    };
    let source = File::open(path).map_err(|error| unreadable(error.to_string()))?;
    let mut reader = ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(Trim::All)
        .flexible(true)
        .has_headers(false)
        .from_reader(source);
    let mut rows = reader.records();
    let no_samples = || SamplesError::NoSamples { file: file.clone() };
    let header = rows
        .next()
        .ok_or_else(no_samples)?
        .map_err(|error| unreadable(plain(&error)))?;
    let columns = columns(&file, &header)?;
    let has_clip = columns.contains(&Column::Cw);
    let mut recording = Recording {
        cw: has_clip.then(Vec::new),
        ..Recording::default()
    };
    for row in rows {
        let row = row.map_err(|error| unreadable(plain(&error)))?;
        let [nw, gw, cw] = instant(&file, &columns, &row)?;
        recording.nw.push(nw);
        recording.gw.push(gw);
        if let Some(clip) = &mut recording.cw {
            clip.push(cw);
        }
    }
    if recording.nw.len() < 2 {
        return Err(no_samples());
    }
    Ok(recording)
}

/// The reader's own words, without its structure.
fn plain(error: &csv::Error) -> String {
    error.to_string()
}

fn line_of(row: &StringRecord) -> u64 {
    row.position().map_or(0, csv::Position::line)
}

fn columns(file: &str, header: &StringRecord) -> Result<Vec<Column>, SamplesError> {
    let line = line_of(header);
    let mut columns = Vec::new();
    for (place, name) in header.iter().enumerate() {
        let wrong = || SamplesError::Header {
            file: file.to_owned(),
            line,
            column: place + 1,
            found: shorten(name),
        };
        let column = Column::named(name.trim_start_matches('\u{feff}')).ok_or_else(wrong)?;
        if columns.contains(&column) {
            return Err(wrong());
        }
        columns.push(column);
    }
    let pairs = columns.iter().filter(|c| **c != Column::Cw).count();
    if pairs < 2 {
        return Err(SamplesError::TooFewPairs {
            file: file.to_owned(),
            line,
        });
    }
    Ok(columns)
}

/// nw, gw and cw of one line.
fn instant(file: &str, columns: &[Column], row: &StringRecord) -> Result<[f64; 3], SamplesError> {
    let line = line_of(row);
    if row.len() != columns.len() {
        return Err(SamplesError::RowLength {
            file: file.to_owned(),
            line,
            found: row.len(),
            expected: columns.len(),
        });
    }
    let mut values = [None; 4];
    for (place, (column, text)) in columns.iter().zip(row).enumerate() {
        let volts = text.parse::<f64>().ok().filter(|v| v.abs() <= MOST_VOLTS);
        let Some(volts) = volts else {
            return Err(SamplesError::Value {
                file: file.to_owned(),
                line,
                column: place + 1,
                pair: column.name(),
                found: shorten(text),
            });
        };
        values[*column as usize] = Some(volts);
    }
    let [nw, gw, ng, cw] = values;
    let cw = cw.unwrap_or(0.0);
    match (nw, gw, ng) {
        (Some(nw), Some(gw), Some(ng)) => {
            let residue = nw - ng - gw;
            let largest = nw.abs().max(ng.abs()).max(gw.abs());
            if residue.abs() > CLOSES_WITHIN.1 + CLOSES_WITHIN.0 * largest {
                return Err(SamplesError::NotClosed {
                    file: file.to_owned(),
                    line,
                    residue,
                });
            }
            Ok([nw, gw, cw])
        }
        (Some(nw), Some(gw), None) => Ok([nw, gw, cw]),
        (Some(nw), None, Some(ng)) => Ok([nw, nw - ng, cw]),
        (None, Some(gw), Some(ng)) => Ok([ng + gw, gw, cw]),
        // The header has two of the three: `columns` saw to it.
        _ => Err(SamplesError::TooFewPairs {
            file: file.to_owned(),
            line,
        }),
    }
}

fn shorten(text: &str) -> String {
    const LEAST: usize = 24;
    if text.chars().count() <= LEAST {
        return text.to_owned();
    }
    text.chars().take(LEAST).chain("...".chars()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    fn of(text: &str) -> Result<Recording, SamplesError> {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(text.as_bytes()).unwrap();
        read(file.path())
    }

    #[test]
    fn the_third_pair_follows_from_two() {
        for text in [
            "nw,gw\n120,1\n0,0\n",
            "# a comment\nnw, ng\n120, 119\n0,0\n",
            "ng,gw\n119,1\n0,0\n",
            "V_NW,V_GW,V_NG\n120,1,119\n0,0,0\n",
        ] {
            let recording = of(text).unwrap();
            assert_eq!(recording.nw, [120.0, 0.0], "{text}");
            assert_eq!(recording.gw, [1.0, 0.0], "{text}");
            assert_eq!(recording.cw, None);
        }
    }

    #[test]
    fn the_clip_has_a_column_of_its_own() {
        let recording = of("nw,gw,cw\n120,1,119\n0,0,0\n").unwrap();
        assert_eq!(recording.cw, Some(vec![119.0, 0.0]));
    }

    #[test]
    fn every_error_names_line_and_column() {
        for (text, expected) in [
            ("nw,gw\n1,2\n3,four\n", "line 3, column 2 (gw): `four`"),
            ("# c\n\nnw,gw\n1,2\n1,\n", "line 5, column 2 (gw): ``"),
            ("nw,volts\n1,2\n", "line 1: column 2 is called `volts`"),
            ("nw,nw\n1,2\n", "line 1: column 2 is called `nw`"),
            ("nw,cw\n1,2\n", "too few pairs"),
            ("nw,gw\n1,2,3\n", "line 2: 3 values"),
            ("nw,gw\n1\n", "line 2: 1 values"),
            ("nw,gw\n1,nan\n", "`nan` is not a voltage"),
            ("nw,gw\n1,1e9\n", "`1e9` is not a voltage"),
            (
                "nw,gw,ng\n1,0,1\n120,60,20\n",
                "line 3: nw - ng - gw is 40.0 V",
            ),
            ("nw,gw\n", "no samples"),
            ("nw,gw\n1,1\n", "no samples"),
            ("", "no samples"),
        ] {
            let error = of(text).unwrap_err().to_string();
            assert!(error.contains(expected), "{text:?}: {error}");
        }
    }

    #[test]
    fn bytes_that_are_not_text_are_an_error_and_no_panic() {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(&[0x6e, 0x77, 0x2c, 0xff, 0xfe, 0x0a])
            .unwrap();
        assert!(read(file.path()).is_err());
    }
}
