//! Last words and running facts: what was written is read, anything else is not; and what each
//! kind of reset makes of them.

use slotwise_core::start::Stage;

use super::*;

fn panicked() -> Stopped {
    Stopped {
        boot: 41,
        at: Millis::new(0x1_0000_0007),
        how: Stop::Panic {
            file: FileName::new("firmware/src/journal/mod.rs"),
            line: 217,
        },
    }
}

fn faulted() -> Stopped {
    Stopped {
        boot: 0,
        at: Millis::new(12),
        how: Stop::Fault {
            pc: 0x1000_4a3c,
            lr: 0x1000_77f1,
            psr: 0x6100_001d,
        },
    }
}

fn running() -> Running {
    let mut done = Stages::NONE;
    done.add(Stage::Frames);
    done.add(Stage::Link);
    Running {
        boot: 9,
        at: 65_000,
        done,
    }
}

/// A generator of words that look like anything (xorshift, Marsaglia 2003).
fn noise(state: &mut u64) -> u32 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    (*state >> 16) as u32
}

#[test]
fn last_words_are_read_as_written() {
    for stopped in [panicked(), faulted()] {
        let words = encode(&stopped).expect("they can be said");
        assert_eq!(decode(&words), Some(stopped));
    }
    let how = Stop::Watchdog {
        missing: Stages::ALL,
    };
    assert_eq!(encode(&Stopped { how, ..faulted() }), None);
}

/// A CRC of 32 bits finds every error of up to three bits in so few (Koopman's table for
/// 0x04c11db7: Hamming distance 4 or more up to 91,607 bits).
#[test]
fn one_two_or_three_wrong_bits_are_no_last_words() {
    let words = encode(&panicked()).expect("they can be said");
    let bits = LAST_WORDS * 32;
    let flip = |words: &mut [u32; LAST_WORDS], bit: usize| words[bit / 32] ^= 1 << (bit % 32);
    let mut tried = 0_u32;
    for first in 0..bits {
        for second in first..bits {
            let mut wrong = words;
            flip(&mut wrong, first);
            if second != first {
                flip(&mut wrong, second);
            }
            assert_eq!(decode(&wrong), None, "bits {first} and {second}");
            // A third one, in some place after both.
            let third = second + 1 + (first * 31 + second * 17) % bits;
            if third < bits {
                flip(&mut wrong, third);
                assert_eq!(decode(&wrong), None, "bits {first}, {second}, {third}");
            }
            tried += 1;
        }
    }
    assert_eq!(tried, 115_440);
}

#[test]
fn whatever_memory_holds_after_power_on_is_no_reason() {
    let mut state = 0x9e37_79b9_7f4a_7c15;
    for _ in 0..200_000 {
        let words = core::array::from_fn(|_| noise(&mut state));
        assert_eq!(decode(&words), None);
        // With the right magic too.
        let mut words = words;
        words[0] = MAGIC;
        assert_eq!(decode(&words), None);
        let words = core::array::from_fn(|_| noise(&mut state));
        assert_eq!(Running::decode(&words), None);
    }
    for word in [0, u32::MAX, 0xa5a5_a5a5, 0x5555_5555, 0xaaaa_aaaa] {
        assert_eq!(decode(&[word; LAST_WORDS]), None);
        assert_eq!(Running::decode(&[word; RUNNING_WORDS]), None);
    }
    // A run that was written in part, on top of another.
    let (one, two) = (panicked(), faulted());
    let (one, two) = (encode(&one).expect("said"), encode(&two).expect("said"));
    for cut in 2..LAST_WORDS {
        let mut torn = one;
        torn[..cut].copy_from_slice(&two[..cut]);
        assert_eq!(decode(&torn), None, "{cut} words");
    }
}

#[test]
fn last_words_of_a_kind_that_is_not_known_are_none() {
    let mut words = encode(&faulted()).expect("they can be said");
    words[1] = 3;
    words[LAST_WORDS - 1] = check_word(&words);
    assert_eq!(decode(&words), None);
}

#[test]
fn running_facts_are_read_as_written_and_any_wrong_bit_unmakes_them() {
    let words = running().encode();
    assert_eq!(Running::decode(&words), Some(running()));
    for bit in 0..RUNNING_WORDS * 32 {
        let mut wrong = words;
        wrong[bit / 32] ^= 1 << (bit % 32);
        assert_eq!(Running::decode(&wrong), None, "bit {bit}");
    }
}

#[test]
fn every_kind_of_reset_has_its_cause() {
    let none = Signs::default();
    let timer = Signs {
        timer: true,
        mark: MARK_RUNNING,
        ..none
    };
    let missing = |stopped: Option<Stopped>| match stopped.map(|stopped| stopped.how) {
        Some(Stop::Watchdog { missing }) => missing.iter().collect(),
        _ => Vec::new(),
    };

    let (cause, stopped) = tell(timer, Some(panicked()), Some(running()));
    assert_eq!(cause, BootCause::Watchdog);
    assert_eq!(stopped.map(|stopped| stopped.boot), Some(9));
    let others = [Stage::Poll, Stage::Lamps, Stage::Stimulator];
    assert_eq!(missing(stopped), others);
    assert_eq!(tell(timer, None, None), (BootCause::Watchdog, None));

    for (timer, forced) in [(false, true), (true, false), (true, true)] {
        let stopping = Signs {
            timer,
            forced,
            mark: MARK_STOPPING,
            ..none
        };
        let judged = tell(stopping, Some(faulted()), Some(running()));
        assert_eq!(judged, (BootCause::Panic, Some(faulted())));
        // Last words that did not become whole: a program error, and no more.
        assert_eq!(tell(stopping, None, Some(running())).1, None);
        let another = Signs {
            mark: 0,
            ..stopping
        };
        let judged = tell(another, None, Some(running()));
        assert_eq!(judged, (BootCause::BootLoader, None));
    }

    let power = Signs {
        power: true,
        ..none
    };
    assert_eq!(tell(power, None, None), (BootCause::PowerOn, None));
    let dip = tell(power, None, Some(running()));
    assert_eq!(dip, (BootCause::PowerDip, None));
    let pin = Signs { pin: true, ..none };
    // Last words that the start before could not keep.
    let judged = tell(pin, Some(panicked()), Some(running()));
    assert_eq!(judged, (BootCause::ResetPin, Some(panicked())));
    let probe = Signs {
        probe: true,
        ..none
    };
    assert_eq!(tell(probe, None, None).0, BootCause::Debugger);
    assert_eq!(tell(none, None, None), (BootCause::PowerOn, None));
}
