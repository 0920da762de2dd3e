//! What can be wrong with the description of a receptacle.

/// Why a scenario file could not be used.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// Cannot be read.
    #[error("{file}: cannot be read: {reason}; check the name and the rights")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// Is not the description of a receptacle.
    #[error(
        "{file}: line {line}, column {column}: {what}; correct it there; \
         `slotwise bench --example` prints a file with every key"
    )]
    NotUnderstood {
        /// The file.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong there.
        what: String,
    },
}
