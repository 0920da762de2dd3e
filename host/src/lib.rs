//! Slotwise on the desk: pulls the log of a tester, shows it, judges it again, and runs a
//! virtual tester where there is no real one.
//!
//! `commands` says what a command does; `client` speaks with a tester over a `transport`;
//! `log_file` and `chain` keep and check what was pulled; `report` prints it and `texts` holds
//! the sentences. Only `bench` knows the firmware and the virtual board. Nothing here measures
//! or holds a limit: the verdict is the core's.

pub mod archive;
pub mod bench;
pub mod calibrate;
pub mod chain;
pub mod cli;
pub mod client;
pub mod commands;
pub mod document;
pub mod error;
pub mod exit;
pub mod export;
pub mod firmware_builds;
pub mod live;
pub mod log_file;
pub mod port;
pub mod pulling;
pub mod report;
pub mod samples;
pub mod serve;
pub mod settings;
pub mod texts;
pub mod transport;
pub mod udev;
pub mod visits;
