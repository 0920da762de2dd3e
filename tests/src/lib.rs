//! Tools of the whole-system tests.

pub mod bench;
pub mod circuit_server;
pub mod emulator;
pub mod finding_table;
pub mod firmware_log;
pub mod flash_records;
pub mod fleet;
pub mod hardware;
pub mod hardware_decks;
pub mod hardware_legend;
pub mod hardware_mains;
pub mod hardware_pins;
pub mod hardware_verdict;
pub mod image;
pub mod lamp_picture;
pub mod lamp_pins;
pub mod long_journal;
pub mod measured;
pub mod ngspice;
pub mod outside;
pub mod rules;
pub mod tester_picture;
pub mod tester_states;
