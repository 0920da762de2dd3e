//! The microcontroller itself, as far as the firmware tests it: program in flash, memory, stack
//! guard, crystal. An invented program of 4 KiB and as much memory, with faults for tests.

use crate::clock::SimClock;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_firmware::self_test::march::{Words, march};
use slotwise_firmware::self_test::stack::{GUARD_BYTES, PAINT};
use slotwise_firmware::self_test::{Guard, image};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Bytes of the program.
const IMAGE: usize = 4096;
/// Words of the memory.
const WORDS: usize = 1024;
/// Where the memory stands on the real chip.
const MEMORY_AT: u32 = 0x2000_0000;

struct State {
    image: Vec<u8>,
    check_word: u32,
    memory: Memory,
    guard: Vec<u8>,
    crystal_ppm: i64,
}

struct Memory {
    words: Vec<u32>,
    /// A bit that holds one level: word, bit, level.
    stuck: Option<(usize, u32, bool)>,
}

impl Words for Memory {
    fn count(&self) -> usize {
        self.words.len()
    }

    fn address(&self, index: usize) -> u32 {
        MEMORY_AT + 4 * index as u32
    }

    fn read(&self, index: usize) -> u32 {
        let word = self.words[index];
        match self.stuck {
            Some((at, bit, level)) if at == index => word & !(1 << bit) | u32::from(level) << bit,
            _ => word,
        }
    }

    fn write(&mut self, index: usize, value: u32) {
        self.words[index] = value;
    }
}

/// The microcontroller. Clones are the same chip.
#[derive(Clone)]
pub struct Computer(Arc<Mutex<State>>);

impl Default for Computer {
    fn default() -> Self {
        Self::new()
    }
}

impl Computer {
    /// A sound one.
    #[must_use]
    pub fn new() -> Self {
        let image: Vec<u8> = (0..IMAGE).map(|at| (at * 37 + at / 256) as u8).collect();
        Self(Arc::new(Mutex::new(State {
            check_word: image::check_word([&image[..]]),
            image,
            memory: Memory {
                words: vec![0; WORDS],
                stuck: None,
            },
            guard: vec![PAINT; GUARD_BYTES as usize],
            crystal_ppm: 0,
        })))
    }

    /// Flips a bit of the program.
    pub fn flip_image_bit(&self, bit: usize) {
        self.state().image[bit / 8 % IMAGE] ^= 1 << (bit % 8);
    }

    /// Sticks a bit of the memory.
    pub fn stick_memory(&self, word: usize, bit: u32, level: bool) {
        self.state().memory.stuck = Some((word % WORDS, bit % 32, level));
    }

    /// Lets the stack grow into its guard until `untouched` bytes are left.
    pub fn grow_stack(&self, untouched: usize) {
        self.state().guard[untouched..].fill(0);
    }

    /// Makes the crystal faster than it should be, by millionths.
    pub fn set_crystal_ppm(&self, ppm: i64) {
        self.state().crystal_ppm = ppm;
    }

    /// The tests of the start that are the microcontroller's.
    ///
    /// # Errors
    /// The first that failed.
    pub fn check_at_start(&self) -> Result<(), SelfTestFailure> {
        let mut state = self.state();
        image::check([&state.image[..]], state.check_word)?;
        march(&mut state.memory)
    }

    /// The stack's guard.
    #[must_use]
    pub fn guard(&self) -> Guard {
        Guard::of(self.state().guard.iter().copied())
    }

    /// Microseconds by the crystal. They wrap.
    #[must_use]
    pub fn micros(&self, clock: &SimClock) -> u32 {
        let nanos = i128::from(clock.nanos());
        let counted = nanos * i128::from(1_000_000 + self.state().crystal_ppm) / 1_000_000_000;
        counted as u32
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
