//! The log file `*.slotlog`: the very frames of the wire, one after the other.
//!
//! Content: the tester's `Hello` reply, its `Record` replies in order, and the `PullEnd` reply
//! that closed the pull; each as COBS of message and CRC-32 with a closing zero byte
//! (`slotwise_core::link`). So a file can be cut or damaged at any byte and all frames that
//! are whole can still be read, and a frame says itself whether it is whole. The sequence
//! numbers inside are those of the pull and mean nothing here.
//!
//! A file is written under a name ending in `.part` and takes its own name only when it is
//! whole and on the disk. What a broken pull leaves is a `.part` file that reads like any
//! other.

mod read;
mod write;

pub use read::{Damage, DamageKind, KeptRecord, LogFile, read, read_from};
pub use write::{LogWriter, replace};
