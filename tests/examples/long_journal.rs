//! Writes a flash whose journal is full, for `tests/emulator/pull-rate.mjs`.
//!
//! ```text
//! cargo run --release -p slotwise-tests --example long_journal -- FILE [RECORDS]
//! ```

use std::process::ExitCode;
use std::{env, fs};

use slotwise_tests::bench::Bench;
use slotwise_tests::long_journal::LongJournal;

fn main() -> ExitCode {
    let mut arguments = env::args().skip(1);
    let (Some(file), count) = (arguments.next(), arguments.next()) else {
        eprintln!("long_journal: give the file to write, and how many records if not all that fit");
        return ExitCode::from(2);
    };
    let Ok(count) = count.map_or(Ok(usize::MAX), |count| count.parse()) else {
        eprintln!("long_journal: the number of records is no number");
        return ExitCode::from(2);
    };
    let mut bench = Bench::new(31);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let long = LongJournal::grow(bench.board.nor.contents(), count);
    if let Err(error) = fs::write(&file, &long.contents) {
        eprintln!("long_journal: {file}: {error}");
        return ExitCode::FAILURE;
    }
    let bytes: usize = long.records.iter().map(Vec::len).sum();
    println!("{} records, {bytes} bytes", long.records.len());
    ExitCode::SUCCESS
}
