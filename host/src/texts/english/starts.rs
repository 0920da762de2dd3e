//! A start of the tester in words: why, which build, how the run before ended, what to do.

use slotwise_core::record::BootCause;
use slotwise_core::start::{Stage, Start, Stop, Stopped};

use super::values::boot;

/// After a stop of the program.
const TEST_AGAIN: &str = "A test that was running then has no verdict: test again. If it comes \
                          again, update the firmware (`slotwise doctor`); if it still does, do not \
                          use the tester";

/// The whole line.
pub(super) fn start(start: &Start) -> String {
    let mut text = boot(start.cause).to_owned();
    if let Some(build) = start.build {
        text += &format!(" (firmware build {build})");
    }
    match (&start.stopped, start.cause) {
        (Some(stopped), _) => text += &format!(". {}. {TEST_AGAIN}", how_it_stopped(stopped)),
        (None, BootCause::Watchdog | BootCause::Panic) => {
            text += &format!(". Where it stopped is not known. {TEST_AGAIN}");
        }
        (None, BootCause::PowerDip) => text += ". Check its cable and its battery",
        (None, _) => {}
    }
    text
}

/// Which run stopped, when, and where.
pub(super) fn how_it_stopped(stopped: &Stopped) -> String {
    let millis = stopped.at.get();
    let run = match stopped.boot {
        0 => "While it was starting".to_owned(),
        boot => format!(
            "Start {boot} ended after {}.{} s",
            millis / 1000,
            millis % 1000 / 100
        ),
    };
    match stopped.how {
        Stop::Panic { file, line } => {
            format!("{run}: its program found an error in itself ({file}, line {line})")
        }
        Stop::Fault { pc, lr, psr } => {
            let place = match psr & 0x1ff {
                0 => String::new(),
                number => format!(", in interrupt {number}"),
            };
            format!(
                "{run}: its processor could not go on (at {pc:08x}, called from {lr:08x}{place})"
            )
        }
        Stop::Watchdog { missing } => {
            let missing: Vec<_> = missing.iter().map(stage).collect();
            let what = if missing.len() == Stage::ALL.len() {
                "the whole of its program stood still".to_owned()
            } else {
                format!("a part of its program stood still ({})", missing.join(", "))
            };
            format!("{run}: {what}")
        }
    }
}

const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Frames => "taking readings",
        Stage::Poll => "records and button",
        Stage::Lamps => "lamps",
        Stage::Link => "link",
        Stage::Stimulator => "its own currents",
    }
}

#[cfg(test)]
mod tests {
    use slotwise_core::record::BootCause;
    use slotwise_core::start::{BuildId, FileName, Stages, Start, Stop, Stopped};
    use slotwise_core::units::Millis;

    use super::start;

    fn after(cause: BootCause, how: Option<Stop>) -> String {
        start(&Start {
            cause,
            build: Some(BuildId([0xab; 8])),
            stopped: how.map(|how| Stopped {
                boot: 12,
                at: Millis::new(65_432),
                how,
            }),
        })
    }

    #[test]
    fn every_stop_says_where_and_what_to_do() {
        let panic = Stop::Panic {
            file: FileName::new("firmware/src/journal/mod.rs"),
            line: 7,
        };
        let said = after(BootCause::Panic, Some(panic));
        assert_eq!(
            said,
            "tester restarted after an error of its program (firmware build abababababababab). \
             Start 12 ended after 65.4 s: its program found an error in itself \
             (firmware/src/journal/mod.rs, line 7). A test that was running then has no verdict: \
             test again. If it comes again, update the firmware (`slotwise doctor`); if it still \
             does, do not use the tester"
        );
        let fault = Stop::Fault {
            pc: 0x1000_4a3c,
            lr: 0x1000_77f1,
            psr: 0x6100_001d,
        };
        let said = after(BootCause::Panic, Some(fault));
        assert!(said.contains("(at 10004a3c, called from 100077f1, in interrupt 29). A test"));
        let missing = Stages::of_bits(0b1_0001).expect("stages");
        let said = after(BootCause::Watchdog, Some(Stop::Watchdog { missing }));
        assert!(said.contains("stood still (taking readings, its own currents). A test"));
        let missing = Stages::ALL;
        let said = after(BootCause::Watchdog, Some(Stop::Watchdog { missing }));
        assert!(said.contains("the whole of its program stood still. A test"));
    }

    #[test]
    fn a_stop_that_memory_forgot_is_not_guessed_at() {
        for cause in [BootCause::Watchdog, BootCause::Panic] {
            assert!(after(cause, None).contains("Where it stopped is not known. A test"));
        }
        let quiet = [
            BootCause::PowerOn,
            BootCause::ResetPin,
            BootCause::Debugger,
            BootCause::BootLoader,
        ];
        for cause in quiet {
            assert!(after(cause, None).ends_with("(firmware build abababababababab)"));
        }
        assert!(after(BootCause::PowerDip, None).ends_with("Check its cable and its battery"));
    }
}
