//! cargo-fuzz target: see `src/journal.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| slotwise_fuzz::journal::run(bytes));
