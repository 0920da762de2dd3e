//! What a program leaves behind for the next start, and what the next start makes of it.
//!
//! Two things stand in memory that a reset does not touch (a board says where):
//! - **last words**, written on the way out of a program error, once: which start it was, how long
//!   it had run, and where it ended. A check word over all of it;
//! - **the running facts**, written all the time while the program runs: which start, how long,
//!   which stages have run since the watchdog was last fed. Each word stands beside its complement.
//!
//! After power comes on memory holds anything, so nothing is believed without its check: 32 bits
//! over the last words; 80 bits over the running facts ([`Running`]).
//!
//! Which of the two is believed is decided by what the chip says of its reset ([`Signs`]) and by a
//! mark that the program leaves in a register that only a reset from outside clears:
//! [`MARK_RUNNING`] from its start on, [`MARK_STOPPING`] on the way out. Without a mark of ours a
//! watchdog's reset was another program's: the boot loader restarts the chip so after an update.
//! A debug probe that resets the processor alone leaves all signs as they were: such a start is
//! told as the one before it.

use crc::{CRC_32_ISO_HDLC, Crc};
use slotwise_core::record::BootCause;
use slotwise_core::start::{FileName, Stages, Stop, Stopped};
use slotwise_core::units::Millis;

/// Left in a register that survives the watchdog: the program runs.
pub const MARK_RUNNING: u32 = 0x536c_5055;

/// The program stopped itself, and has left its last words.
pub const MARK_STOPPING: u32 = 0x536c_5057;

/// Words that the last words take.
pub const LAST_WORDS: usize = 15;

/// Words that the running facts take.
pub const RUNNING_WORDS: usize = 5;

/// First of the last words; changes with their layout.
const MAGIC: u32 = 0x4c57_0001;

const PANIC: u32 = 1;
const FAULT: u32 = 2;

/// High half of the word with the stages.
const FLOW: u32 = 0xf10e_0000;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Last words as they stand in memory. `None` for a watchdog's stop: nobody was there to speak.
///
/// Words: magic, kind, start, milliseconds low and high, eight of payload, line, check.
#[must_use]
pub fn encode(stopped: &Stopped) -> Option<[u32; LAST_WORDS]> {
    let mut words = [0; LAST_WORDS];
    let at = stopped.at.get();
    let [magic, kind, boot, low, high, payload @ .., line, _] = &mut words;
    *magic = MAGIC;
    *boot = stopped.boot;
    *low = at as u32;
    *high = (at >> 32) as u32;
    match stopped.how {
        Stop::Panic {
            file,
            line: at_line,
        } => {
            *kind = PANIC;
            *line = at_line;
            let (bytes, _) = file.bytes().as_chunks::<4>();
            for (word, four) in payload.iter_mut().zip(bytes) {
                *word = u32::from_le_bytes(*four);
            }
        }
        Stop::Fault { pc, lr, psr } => {
            *kind = FAULT;
            for (word, value) in payload.iter_mut().zip([pc, lr, psr]) {
                *word = value;
            }
        }
        Stop::Watchdog { .. } => return None,
    }
    words[LAST_WORDS - 1] = check_word(&words);
    Some(words)
}

/// Reads last words; `None` for anything that is not whole.
#[must_use]
pub fn decode(words: &[u32; LAST_WORDS]) -> Option<Stopped> {
    let [magic, kind, boot, low, high, payload @ .., line, check] = words;
    if *magic != MAGIC || *check != check_word(words) {
        return None;
    }
    let how = match (*kind, payload) {
        (PANIC, payload) => {
            let mut file = [0; FileName::BYTES];
            let (places, _) = file.as_chunks_mut::<4>();
            for (four, word) in places.iter_mut().zip(payload) {
                *four = word.to_le_bytes();
            }
            Stop::Panic {
                file: FileName::of_bytes(&file),
                line: *line,
            }
        }
        (FAULT, [pc, lr, psr, ..]) => Stop::Fault {
            pc: *pc,
            lr: *lr,
            psr: *psr,
        },
        _ => return None,
    };
    Some(Stopped {
        boot: *boot,
        at: Millis::new(u64::from(*high) << 32 | u64::from(*low)),
        how,
    })
}

/// Over all words but the last.
fn check_word(words: &[u32; LAST_WORDS]) -> u32 {
    let mut digest = CHECK.digest();
    for word in words.iter().take(LAST_WORDS - 1) {
        digest.update(&word.to_le_bytes());
    }
    digest.finalize()
}

/// The word that keeps which stages have run.
#[must_use]
pub const fn flow_word(done: Stages) -> u32 {
    let bits = done.bits();
    FLOW | (!bits as u32) << 8 | bits as u32
}

/// What the program noted while it ran.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Running {
    /// Which start.
    pub boot: u32,
    /// How long it had run, in milliseconds: 49 days, then from zero again.
    pub at: u32,
    /// Which stages had run since the last feed.
    pub done: Stages,
}

impl Running {
    /// As it stands in memory. Each half may be written at another time.
    #[must_use]
    pub const fn encode(&self) -> [u32; RUNNING_WORDS] {
        let Self { boot, at, done } = *self;
        [boot, !boot, at, !at, flow_word(done)]
    }

    /// Reads it; `None` for anything that is not whole.
    #[must_use]
    pub fn decode(words: &[u32; RUNNING_WORDS]) -> Option<Self> {
        let [boot, not_boot, at, not_at, flow] = *words;
        let done = Stages::of_bits(flow as u8)?;
        let whole = boot == !not_boot && at == !not_at && flow == flow_word(done);
        whole.then_some(Self { boot, at, done })
    }
}

/// What the chip says of its reset.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Signs {
    /// The watchdog ran out.
    pub timer: bool,
    /// The watchdog was triggered by a program.
    pub forced: bool,
    /// The mark in the register that survives the watchdog.
    pub mark: u32,
    /// Power came on or was too low.
    pub power: bool,
    /// The reset pin was low.
    pub pin: bool,
    /// A debug probe restarted the chip.
    pub probe: bool,
}

/// Why the program starts, and how the run before ended, if memory knows.
#[must_use]
pub fn tell(
    signs: Signs,
    last_words: Option<Stopped>,
    running: Option<Running>,
) -> (BootCause, Option<Stopped>) {
    let watchdogs_stop = |running: Running| Stopped {
        boot: running.boot,
        at: Millis::new(u64::from(running.at)),
        how: Stop::Watchdog {
            missing: running.done.others(),
        },
    };
    if signs.timer || signs.forced {
        return match signs.mark {
            // Older last words that no journal took give way to what happened now.
            MARK_RUNNING if signs.timer => (
                BootCause::Watchdog,
                running.map(watchdogs_stop).or(last_words),
            ),
            // Also when the watchdog ended what could not end itself.
            MARK_STOPPING => (BootCause::Panic, last_words),
            _ => (BootCause::BootLoader, last_words),
        };
    }
    let cause = if signs.power {
        // Memory that still holds was without power for moments only.
        if running.is_some() {
            BootCause::PowerDip
        } else {
            BootCause::PowerOn
        }
    } else if signs.pin {
        BootCause::ResetPin
    } else if signs.probe {
        BootCause::Debugger
    } else {
        // The chip does not say.
        BootCause::PowerOn
    };
    (cause, last_words)
}

#[cfg(test)]
mod tests;
