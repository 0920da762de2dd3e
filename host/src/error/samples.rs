//! What can be wrong with a recorded waveform.

/// Why a recorded waveform could not be used.
#[derive(Debug, thiserror::Error)]
pub enum SamplesError {
    /// Cannot be read.
    #[error("{file}: cannot be read: {reason}; check the name and the rights")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// The header is not understood.
    #[error(
        "{file}: line {line}: column {column} is called `{found}`; \
         the header names the pairs, separated by commas: nw, gw, ng (two of them suffice), \
         and cw for the clip"
    )]
    Header {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Column, from 1.
        column: usize,
        /// What stands there.
        found: String,
    },
    /// Too few pairs.
    #[error(
        "{file}: line {line}: the header names too few pairs; \
         two of nw, gw, ng are needed, for example `nw,gw`"
    )]
    TooFewPairs {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
    },
    /// A value is not a number of volts.
    #[error(
        "{file}: line {line}, column {column} ({pair}): `{found}` is not a voltage; \
         write volts as plain numbers, for example -12.5, between -600 and 600"
    )]
    Value {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Column, from 1.
        column: usize,
        /// The pair of this column.
        pair: &'static str,
        /// What stands there.
        found: String,
    },
    /// A row of another length.
    #[error("{file}: line {line}: {found} values, the header names {expected} columns")]
    RowLength {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Values found.
        found: usize,
        /// Columns named.
        expected: usize,
    },
    /// Three pairs that contradict each other.
    #[error(
        "{file}: line {line}: nw - ng - gw is {residue:.1} V, but around one receptacle it is 0; \
         check the signs: nw is narrow against wide, gw ground against wide, ng narrow against ground"
    )]
    NotClosed {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// By how much.
        residue: f64,
    },
    /// No samples.
    #[error(
        "{file}: no samples in it; at least two lines after the header hold the volts of one instant each"
    )]
    NoSamples {
        /// The file.
        file: String,
    },
    /// Too short for a window.
    #[error(
        "{file}: {got:.3} s of samples, a test needs {needed:.1} s; record longer, give the right \
         --rate, or add --repeat if the recording is whole cycles that may be joined end to end"
    )]
    TooShort {
        /// The file.
        file: String,
        /// Seconds in it.
        got: f64,
        /// Seconds needed.
        needed: f64,
    },
    /// A clip column without a word on what the clip was on.
    #[error("{file}: there is a clip column (cw), but --clip does not say what the clip was on")]
    ClipUnsaid {
        /// The file.
        file: String,
    },
    /// A word on the clip without a clip column.
    #[error("{file}: --clip is given, but there is no column cw (clip against wide)")]
    ClipMissing {
        /// The file.
        file: String,
    },
}
