//! `calibrate`: a person at the bench, guided step by step in text or by JSON lines.

use std::io::BufRead as _;

use serde_json::json;
use slotwise_core::calibration::fit::{COVERAGE, Contribution, total};
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::raw::RawMeasure;
use slotwise_core::calibration::step::StepFault;
use slotwise_core::link::{WorkshopReply, WorkshopRequest};
use slotwise_core::units::{Amperes, Celsius, Ohms, Ratio, Volts};

use super::{now, out};
use crate::calibrate::{self, Bench, Ended, Given, Operator, Passing, Step};
use crate::cli::CalibrateArgs;
use crate::client::Client;
use crate::error::Error;
use crate::exit::Exit;
use crate::port;
use crate::texts::workshop as texts;

/// Runs `calibrate`.
///
/// # Errors
/// Port or link.
pub(super) fn run(args: &CalibrateArgs) -> Result<Exit, Error> {
    let name = match &args.port {
        Some(name) => name.clone(),
        None => port::find()?,
    };
    let mut client = Client::new(Box::new(port::open(&name)?));
    client.hello()?;
    let bench = Bench {
        u_meter: Ratio::new(args.meter_percent / 100.0),
        low: Ohms::new(args.low_ohms),
        high: Ohms::new(args.high_ohms),
        u_resistor: Ratio::new(args.resistor_percent / 100.0),
        temperature: Celsius::new(args.temperature),
        now: now(),
    };
    // The age of a calibration needs the time.
    if let WorkshopReply::About(about) = client.workshop(WorkshopRequest::About)?
        && about.clock.is_none()
    {
        match client.set_clock(bench.now)? {
            Ok(()) => say(
                args.json,
                "clock-set",
                "the tester had no time; it has it now",
            )?,
            Err(why) => say(args.json, "clock-not-set", texts::refused(why))?,
        }
    }
    let mut person = Person { json: args.json };
    let ended = calibrate::run(&mut client, &mut person, &bench)?;
    let (exit, event, text) = match &ended {
        Ended::Stored(_) => (
            Exit::Done,
            "stored",
            "stored twice; it holds for 12 months".to_owned(),
        ),
        Ended::Aborted => (
            Exit::CannotTell,
            "aborted",
            "ended; nothing in the tester was changed".to_owned(),
        ),
        Ended::LimiterFault(fault) => (
            Exit::CannotTell,
            "limiter-fault",
            texts::limiter_fault(*fault),
        ),
        Ended::NoFit(fault) => (Exit::CannotTell, "no-fit", texts::no_fit(*fault)),
        Ended::NotPassed(passing) => {
            person.show(passing)?;
            (
                Exit::CannotTell,
                "not-passed",
                "measured again it does not pass; nothing in the tester was changed".to_owned(),
            )
        }
        Ended::Refused(reason) => (
            Exit::CannotTell,
            "refused",
            texts::refused(*reason).to_owned(),
        ),
    };
    say(args.json, event, &text)?;
    Ok(exit)
}

fn say(as_json: bool, event: &str, text: &str) -> Result<(), Error> {
    if as_json {
        out(&format!("{}\n", json!({ "event": event, "text": text })))
    } else {
        out(&format!("{text}\n"))
    }
}

struct Person {
    json: bool,
}

impl Person {
    /// A line from standard input; `None` at its end, or for q.
    fn line() -> Option<String> {
        let mut line = String::new();
        match std::io::stdin().lock().read_line(&mut line) {
            Ok(0) | Err(_) => None,
            Ok(_) => {
                let line = line.trim().to_lowercase();
                (line != "q").then_some(line)
            }
        }
    }

    fn show(&self, passing: &Passing) -> Result<(), Error> {
        let worked = &passing.worked;
        if self.json {
            let line = |line: &Contribution| json!({ "from": texts::source(line.source), "u": line.u.get() });
            let document = json!({
                "event": "result",
                "coverage": COVERAGE,
                "volts": worked.volts.iter().map(line).collect::<Vec<_>>(),
                "volts_u": worked.calibration.u_gain.get(),
                "current": worked.current.iter().map(line).collect::<Vec<_>>(),
                "current_u": worked.calibration.drive.u_current.get(),
                "closure_ppm": worked.closure.get() * 1e6,
                "again": {
                    "volts": passing.volts.stated.get(),
                    "volts_known": passing.volts.known.get(),
                    "volts_within": passing.volts.most.get(),
                    "ohms": passing.ohms.stated.get(),
                    "ohms_known": passing.ohms.known.get(),
                    "ohms_within": passing.ohms.most.get(),
                    "passes": passing.passes(),
                },
            });
            return out(&format!("{document}\n"));
        }
        let budget = |title: &str, lines: &[Contribution]| {
            let mut text = format!("{title}, standard uncertainty:\n");
            for line in lines {
                text += &format!(
                    "  {:<32} {:.4} %\n",
                    texts::source(line.source),
                    line.u.get() * 100.0
                );
            }
            let all = total(lines).get() * 100.0;
            text + &format!(
                "  {:<32} {all:.4} %, U (k=2) {:.3} %\n",
                "together",
                all * COVERAGE
            )
        };
        let mut text = budget("Volts", &worked.volts);
        text += &budget("Current of the drive", &worked.current);
        text += &format!(
            "The gains close to {:.1} ppm.\n\
             Measured again: {:.3} V where the meter shows {:.3} V, within {:.3} V; \
             {:.3} ohm of {:.3} ohm, within {:.3} ohm.\n",
            worked.closure.get() * 1e6,
            passing.volts.stated.get(),
            passing.volts.known.get(),
            passing.volts.most.get(),
            passing.ohms.stated.get(),
            passing.ohms.known.get(),
            passing.ohms.most.get(),
        );
        out(&text)
    }
}

/// Four currents of a line, typed in milliamperes; signs do not count.
fn four_currents(line: &str) -> Option<[Amperes; 4]> {
    let numbers: Vec<f32> = line
        .split(|c: char| c.is_whitespace() || c == ',' || c == ';')
        .filter(|word| !word.is_empty() && *word != "ma")
        .map(|word| word.trim_end_matches("ma").parse().ok())
        .collect::<Option<_>>()?;
    let four: [f32; 4] = numbers.try_into().ok()?;
    four.iter()
        .all(|milliamperes| milliamperes.is_finite())
        .then(|| four.map(|milliamperes| Amperes::new(milliamperes.abs() * 1e-3)))
}

impl Operator for Person {
    fn limiters(&mut self) -> Result<Option<Limiters>, Error> {
        say(self.json, "limiters", texts::LIMITERS)?;
        loop {
            say(
                self.json,
                "ask",
                "Type the four currents in mA, such as 2.54 2.55 2.53 2.54, or q to end:",
            )?;
            let Some(line) = Self::line() else {
                return Ok(None);
            };
            if let Some([out, back, clip_out, clip_back]) = four_currents(&line) {
                return Ok(Some(Limiters {
                    to_ground: [out, back],
                    to_clip: [clip_out, clip_back],
                }));
            }
            say(self.json, "again", "these are not four numbers")?;
        }
    }

    fn connect(&mut self, step: Step) -> Result<Given, Error> {
        say(self.json, "connect", &texts::step(step))?;
        loop {
            let ask = if step.wants_voltage() {
                "Type what the meter shows in volts, or q to end:"
            } else {
                "Enter when it is done, q to end:"
            };
            say(self.json, "ask", ask)?;
            let Some(line) = Self::line() else {
                return Ok(Given::Abort);
            };
            if !step.wants_voltage() {
                return Ok(Given::Ready);
            }
            match line.trim_end_matches('v').trim().parse::<f32>() {
                Ok(volts) if volts.is_finite() && volts > 0.0 => {
                    return Ok(Given::Voltage(Volts::new(volts)));
                }
                _ => say(
                    self.json,
                    "again",
                    "that is no voltage; a number such as 119.87",
                )?,
            }
        }
    }

    fn measuring(&mut self, how: RawMeasure) -> Result<(), Error> {
        let text = match how {
            RawMeasure::Rest => "measuring, 2 s",
            RawMeasure::Probe => "measuring by the probe, 4 to 16 s",
            RawMeasure::Drive(_) => "measuring by the drive, 17 s",
        };
        say(self.json, "measuring", text)
    }

    fn right(&mut self, _: Step) -> Result<(), Error> {
        say(self.json, "right", "good")
    }

    fn wrong(&mut self, step: Step, fault: &StepFault) -> Result<(), Error> {
        say(self.json, "again", &texts::wrong(step, fault))
    }

    fn confirm(&mut self, passing: &Passing) -> Result<bool, Error> {
        self.show(passing)?;
        say(
            self.json,
            "confirm",
            "It passes. Type store to put it into the tester, anything else to leave it:",
        )?;
        Ok(Self::line().as_deref() == Some("store"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_currents_are_read_however_they_are_parted() {
        for line in [
            "2.5 -2.6 2.7 2.8",
            "2.5,2.6, 2.7;2.8",
            "2.5ma 2.6 ma 2.7ma -2.8 ma",
        ] {
            let read = four_currents(line).expect(line);
            let expected = [2.5e-3, 2.6e-3, 2.7e-3, 2.8e-3];
            for (read, expected) in read.iter().zip(expected) {
                assert!((read.get() - expected).abs() < 1e-7, "{line}");
            }
        }
        for line in [
            "",
            "2.5 2.6 2.7",
            "2.5 2.6 2.7 2.8 2.9",
            "2.5 2.6 x 2.8",
            "2.5 nan 2.7 2.8",
        ] {
            assert_eq!(four_currents(line), None, "{line}");
        }
    }
}
