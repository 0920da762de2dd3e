//! A march over memory that nothing uses: March C- (from memory; van de Goor's notation).
//!
//! ```text
//! any(w0)  up(r0,w1)  up(r1,w0)  down(r0,w1)  down(r1,w0)  any(r0)
//! ```
//! Finds, whatever the addresses: stuck cells, cells that do not change, two addresses that
//! share a cell, and a cell that is changed by a change of another. Here "0" is the word
//! `0x5555_5555` and "1" its complement: every bit is read as 0 and as 1, and neighbouring bits
//! of a word always differ, so a short between them shows too. Coupling between bits of one word
//! that are an even distance apart is not looked for.

use slotwise_core::self_test::SelfTestFailure;

/// A stretch of memory, word by word. Nothing else may use it meanwhile.
pub trait Words {
    /// Number of words.
    fn count(&self) -> usize;
    /// Address of word `index`, for the record.
    fn address(&self, index: usize) -> u32;
    /// Reads word `index` from the memory itself.
    fn read(&self, index: usize) -> u32;
    /// Writes word `index`.
    fn write(&mut self, index: usize, value: u32);
}

const ZERO: u32 = 0x5555_5555;
const ONE: u32 = !ZERO;

/// Marches over `memory`. What it held is lost.
///
/// # Errors
/// [`SelfTestFailure::Memory`]: the first word that did not hold what was written.
pub fn march(memory: &mut impl Words) -> Result<(), SelfTestFailure> {
    let count = memory.count();
    for index in 0..count {
        memory.write(index, ZERO);
    }
    for index in 0..count {
        step(memory, index, ZERO, ONE)?;
    }
    for index in 0..count {
        step(memory, index, ONE, ZERO)?;
    }
    for index in (0..count).rev() {
        step(memory, index, ZERO, ONE)?;
    }
    for index in (0..count).rev() {
        step(memory, index, ONE, ZERO)?;
    }
    for index in 0..count {
        expect(memory, index, ZERO)?;
    }
    Ok(())
}

#[inline]
fn step(
    memory: &mut impl Words,
    index: usize,
    held: u32,
    next: u32,
) -> Result<(), SelfTestFailure> {
    expect(memory, index, held)?;
    memory.write(index, next);
    Ok(())
}

#[inline]
fn expect(memory: &impl Words, index: usize, expected: u32) -> Result<(), SelfTestFailure> {
    let found = memory.read(index);
    if found == expected {
        Ok(())
    } else {
        Err(SelfTestFailure::Memory {
            address: memory.address(index),
            found,
            expected,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{Words, march};
    use slotwise_core::self_test::SelfTestFailure;

    const WORDS: usize = 8;

    /// A fault of the memory's model.
    #[derive(Clone, Copy, Debug)]
    enum Fault {
        /// A bit holds one level.
        Stuck { word: usize, bit: u32, level: bool },
        /// A bit cannot go to a level.
        NoChange { word: usize, bit: u32, to: bool },
        /// A change of a bit of one word to a level sets a bit of another.
        Coupled {
            from: (usize, u32),
            rising: bool,
            to: (usize, u32),
            level: bool,
        },
        /// Two addresses reach one word.
        Shared { address: usize, also: usize },
        /// Two bits of a word are shorted: both read as their AND.
        Short { word: usize, bit: u32 },
    }

    struct Memory {
        words: [u32; WORDS],
        fault: Option<Fault>,
    }

    fn set(word: &mut u32, bit: u32, level: bool) {
        *word = *word & !(1 << bit) | u32::from(level) << bit;
    }

    impl Words for Memory {
        fn count(&self) -> usize {
            WORDS
        }

        fn address(&self, index: usize) -> u32 {
            0x2000_0000 + 4 * index as u32
        }

        fn read(&self, index: usize) -> u32 {
            let at = match self.fault {
                Some(Fault::Shared { address, also }) if address == index => also,
                _ => index,
            };
            let mut value = self.words[at];
            match self.fault {
                Some(Fault::Stuck { word, bit, level }) if word == at => {
                    set(&mut value, bit, level);
                }
                Some(Fault::Short { word, bit }) if word == at => {
                    let level = value >> bit & 0b11 == 0b11;
                    set(&mut value, bit, level);
                    set(&mut value, bit + 1, level);
                }
                _ => {}
            }
            value
        }

        fn write(&mut self, index: usize, value: u32) {
            let at = match self.fault {
                Some(Fault::Shared { address, also }) if address == index => also,
                _ => index,
            };
            let before = self.words[at];
            self.words[at] = value;
            match self.fault {
                Some(Fault::NoChange { word, bit, to })
                    if word == at && (before >> bit & 1 == 1) != to =>
                {
                    set(&mut self.words[at], bit, !to);
                }
                Some(Fault::Coupled {
                    from,
                    rising,
                    to,
                    level,
                }) if from.0 == at
                    && before >> from.1 & 1 != u32::from(rising)
                    && value >> from.1 & 1 == u32::from(rising) =>
                {
                    set(&mut self.words[to.0], to.1, level);
                }
                _ => {}
            }
        }
    }

    fn run(fault: Option<Fault>) -> Result<(), SelfTestFailure> {
        march(&mut Memory {
            words: [0xDEAD_BEEF; WORDS],
            fault,
        })
    }

    #[test]
    fn sound_memory_passes() {
        assert_eq!(run(None), Ok(()));
    }

    #[test]
    fn every_stuck_bit_every_bit_that_does_not_change_and_every_short_is_found() {
        for word in 0..WORDS {
            for bit in 0..32 {
                for level in [false, true] {
                    let stuck = Fault::Stuck { word, bit, level };
                    let found = run(Some(stuck));
                    let Err(SelfTestFailure::Memory {
                        address,
                        found,
                        expected,
                    }) = found
                    else {
                        panic!("{stuck:?}: {found:?}");
                    };
                    assert_eq!(address, 0x2000_0000 + 4 * word as u32);
                    assert_eq!(found ^ expected, 1 << bit);
                    let no_change = Fault::NoChange {
                        word,
                        bit,
                        to: level,
                    };
                    assert!(run(Some(no_change)).is_err(), "{no_change:?}");
                }
            }
            for bit in 0..31 {
                assert!(run(Some(Fault::Short { word, bit })).is_err());
            }
        }
    }

    #[test]
    fn every_coupling_between_words_and_every_shared_cell_is_found() {
        for from in 0..WORDS {
            for to in (0..WORDS).filter(|&to| to != from) {
                assert!(
                    run(Some(Fault::Shared {
                        address: from,
                        also: to
                    }))
                    .is_err()
                );
                for (rising, level) in [(false, false), (false, true), (true, false), (true, true)]
                {
                    for bits in [(0, 0), (0, 1), (5, 30), (31, 31)] {
                        let fault = Fault::Coupled {
                            from: (from, bits.0),
                            rising,
                            to: (to, bits.1),
                            level,
                        };
                        assert!(run(Some(fault)).is_err(), "{fault:?}");
                    }
                }
            }
        }
    }
}
