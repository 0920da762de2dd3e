//! The fuzz targets of `tests/fuzz` over their corpus and over mutations of it, without a
//! fuzzer: the same functions, fewer inputs. The seed is fixed, so a failure can be repeated;
//! the input that failed is printed.
#![allow(unreachable_pub, reason = "the targets are a library of their own")]

#[path = "../fuzz/src/calibration.rs"]
mod calibration;
#[path = "../fuzz/src/flash.rs"]
mod flash;
#[path = "../fuzz/src/items.rs"]
mod items;
#[path = "../fuzz/src/journal.rs"]
mod journal;
#[path = "../fuzz/src/link.rs"]
mod link;

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

/// Mutations of each target.
const MUTATIONS: usize = 3000;

/// Most bytes of an input.
const MOST: usize = 2048;

/// Xorshift (Marsaglia 2003, from memory): good enough to spread mutations.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, end: usize) -> usize {
        (self.next() >> 16) as usize % end.max(1)
    }

    /// One of the inputs, changed in one to eight places.
    fn mutate(&mut self, corpus: &[Vec<u8>]) -> Vec<u8> {
        let mut input = corpus[self.below(corpus.len())].clone();
        for _ in 0..=self.below(8) {
            let place = self.below(input.len());
            match self.below(6) {
                0 if !input.is_empty() => input[place] ^= 1 << self.below(8),
                1 if !input.is_empty() => input[place] = self.next() as u8,
                2 => input.insert(place, self.next() as u8),
                3 if !input.is_empty() => {
                    input.remove(place);
                }
                4 => {
                    let other = &corpus[self.below(corpus.len())];
                    let from = self.below(other.len());
                    input.truncate(place);
                    input.extend(&other[from..]);
                }
                _ => {
                    let count = self.below(40);
                    input.extend((0..count).map(|_| self.next() as u8));
                }
            }
        }
        input.truncate(MOST);
        input
    }
}

fn drive(name: &str, target: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(name);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .expect("the corpus is in the repository")
        .map(|entry| entry.expect("it lists").path())
        .collect();
    files.sort();
    let corpus: Vec<Vec<u8>> = files
        .iter()
        .map(|file| fs::read(file).expect("it reads"))
        .collect();
    assert!(corpus.len() >= 4, "the corpus of {name} is gone");
    let run = |input: &[u8]| {
        let ended = catch_unwind(AssertUnwindSafe(|| target(input)));
        assert!(ended.is_ok(), "{name} fails with {input:02x?}");
    };
    corpus.iter().for_each(|input| run(input));
    let mut draw = Draw(0x0005_1074_1CE5_EED5);
    for _ in 0..MUTATIONS {
        run(&draw.mutate(&corpus));
    }
    println!(
        "{name}: {} of the corpus, {MUTATIONS} mutations",
        corpus.len()
    );
}

#[test]
fn the_link_keeps_its_promises() {
    drive("link", link::run);
}

#[test]
fn the_journal_keeps_its_promises() {
    drive("journal", journal::run);
}

#[test]
fn the_calibration_keeps_its_promises() {
    drive("calibration", calibration::run);
}
