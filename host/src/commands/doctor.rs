//! `doctor`: whether computer, port and tester are fit for work, and what to do if not.
//!
//! Nothing is changed but the tester's clock, and that only with `--set-clock`.

use serde::Serialize;
use slotwise_core::calibration::validity::Validity;
use slotwise_core::link::{About, JournalState, PROTOCOL, WorkshopReply, WorkshopRequest};
use slotwise_core::record::{SCHEMA, Version};
use slotwise_core::units::UnixSeconds;

use super::calibrate::now;
use super::out;
use crate::cli::DoctorArgs;
use crate::client::Client;
use crate::error::{Error, LinkError, PortError};
use crate::exit::Exit;
use crate::port;
use crate::texts::workshop::UDEV_RULE;

/// A clock that is off by more than this is said to be: seconds.
const CLOCK_WITHIN: u64 = 120;

const DAY: u64 = 86_400;

#[derive(Serialize)]
struct Diagnosis {
    format: &'static str,
    version: u32,
    ports: Vec<String>,
    host: Host,
    tester: Option<Found>,
    /// What is not as it should be, and what to do.
    advice: Vec<String>,
}

#[derive(Serialize)]
struct Host {
    version: &'static str,
    protocol: u16,
    schema: u16,
}

#[derive(Serialize)]
struct Found {
    port: String,
    tester: String,
    firmware: String,
    /// Against this program: older, same or newer.
    firmware_is: &'static str,
    protocol: u16,
    schema: u16,
    starts: u32,
    records: Option<[u32; 2]>,
    journal: &'static str,
    /// Parts of the log memory in use, of how many; `None`: the firmware is too old to say.
    journal_parts: Option<[u16; 2]>,
    /// Parts that could not be erased or written.
    journal_parts_worn: Option<u16>,
    /// `None`: the firmware is too old to say.
    calibration: Option<&'static str>,
    calibrated_unix: Option<u64>,
    calibration_age_days: Option<u64>,
    calibration_copies_sound: Option<bool>,
    clock_unix: Option<u64>,
}

/// Runs `doctor`.
///
/// # Errors
/// Only where the result cannot be printed, or the clock cannot be set.
pub(super) fn run(args: &DoctorArgs) -> Result<Exit, Error> {
    let mut diagnosis = Diagnosis {
        format: "slotwise-doctor",
        version: 1,
        ports: port::candidates(),
        host: Host {
            version: env!("CARGO_PKG_VERSION"),
            protocol: PROTOCOL,
            schema: SCHEMA,
        },
        tester: None,
        advice: Vec::new(),
    };
    let exit = match examine(args, &mut diagnosis) {
        Ok(exit) => exit,
        Err(error) => {
            diagnosis.advice.push(error.to_string());
            if let Error::Port(PortError::NoRights { .. }) = &error {
                diagnosis.advice.push(format!(
                    "or put this line into /etc/udev/rules.d/70-slotwise.rules and plug the \
                     tester in again: {UDEV_RULE}"
                ));
            }
            error.exit()
        }
    };
    if args.json {
        out(&format!("{}\n", serde_json::to_string_pretty(&diagnosis)?))?;
    } else {
        out(&in_words(&diagnosis))?;
    }
    Ok(exit)
}

fn examine(args: &DoctorArgs, diagnosis: &mut Diagnosis) -> Result<Exit, Error> {
    let name = match &args.port {
        Some(name) => name.clone(),
        None => port::find()?,
    };
    let mut client = Client::new(Box::new(port::open(&name)?));
    let (hello, _) = client.hello()?;
    let status = client.status()?;
    if args.set_clock {
        client.workshop(WorkshopRequest::SetClock { clock: now() })?;
    }
    let about = match client.workshop(WorkshopRequest::About) {
        Ok(WorkshopReply::About(about)) => Some(about),
        Ok(_) => return Err(client.does_not_fit("calibration and clock").into()),
        // A firmware that does not know the question.
        Err(LinkError::Refused { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let advice = &mut diagnosis.advice;
    let mut exit = Exit::Done;
    let (journal, journal_advice) = match status.journal {
        JournalState::Writable => ("writable", None),
        JournalState::Full => ("full", Some("the journal is full: pull it")),
        JournalState::Failed => (
            "failed",
            Some("the journal's memory does not answer: records are lost, have it repaired"),
        ),
    };
    if let Some(text) = journal_advice {
        advice.push(text.to_owned());
        exit = Exit::CannotTell;
    }
    let firmware_is = compare(hello.firmware);
    match firmware_is {
        "older" => advice.push(format!(
            "the firmware {} is older than this program: update the tester",
            hello.firmware
        )),
        "newer" => advice.push(format!(
            "the firmware {} is newer than this program: update Slotwise",
            hello.firmware
        )),
        _ => {}
    }
    if hello.schema > SCHEMA {
        advice.push("its records are of a newer schema: update Slotwise".to_owned());
        exit = Exit::Newer;
    }
    let mut found = Found {
        port: name,
        tester: hello.tester.to_string(),
        firmware: hello.firmware.to_string(),
        firmware_is,
        protocol: hello.protocol,
        schema: hello.schema,
        starts: hello.boot,
        records: hello
            .records
            .map(|(oldest, newest)| [oldest.get(), newest.get()]),
        journal,
        journal_parts: None,
        journal_parts_worn: None,
        calibration: None,
        calibrated_unix: None,
        calibration_age_days: None,
        calibration_copies_sound: None,
        clock_unix: None,
    };
    match client.journal() {
        Ok(report) => {
            let (used, of) = report.sectors;
            found.journal_parts = Some([used, of]);
            found.journal_parts_worn = Some(report.passed_over);
            if report.passed_over > 0 {
                advice.push(format!(
                    "{} of {of} parts of its log memory are worn out and passed over; no record is \
                     lost by it, but pull often and have the memory replaced if they grow",
                    report.passed_over
                ));
            }
        }
        // A firmware that does not know the question.
        Err(LinkError::Refused { .. }) => {}
        Err(error) => return Err(error.into()),
    }
    match about {
        Some(about) => {
            if !look_at(&about, now(), &mut found, advice) {
                exit = Exit::CannotTell;
            }
        }
        None => advice.push(
            "the firmware is too old to tell its calibration and clock: update the tester"
                .to_owned(),
        ),
    }
    diagnosis.tester = Some(found);
    Ok(exit)
}

fn compare(firmware: Version) -> &'static str {
    let mut parts = env!("CARGO_PKG_VERSION")
        .split(['.', '-'])
        .map(|part| part.parse::<u8>().unwrap_or(0));
    let mut next = || parts.next().unwrap_or(0);
    let host = (next(), next(), next());
    match (firmware.major, firmware.minor, firmware.patch).cmp(&host) {
        std::cmp::Ordering::Less => "older",
        std::cmp::Ordering::Equal => "same",
        std::cmp::Ordering::Greater => "newer",
    }
}

/// Whether the tester may answer.
fn look_at(about: &About, now: UnixSeconds, found: &mut Found, advice: &mut Vec<String>) -> bool {
    found.clock_unix = about.clock.map(UnixSeconds::get);
    found.calibration_copies_sound = about.copies;
    match about.clock {
        None => advice.push(
            "the tester has no time, so its records have none: `slotwise doctor --set-clock`"
                .to_owned(),
        ),
        Some(clock) if clock.get().abs_diff(now.get()) > CLOCK_WITHIN => advice.push(
            "the tester's clock and this computer's differ: `slotwise doctor --set-clock`"
                .to_owned(),
        ),
        Some(_) => {}
    }
    let (name, text) = match about.calibration {
        Validity::Holds(_) => ("holds", None),
        Validity::NoClock(_) => ("age-unknown", None),
        Validity::ClockBefore(_) => (
            "clock-before",
            Some("the clock stands before the day of the calibration: set the clock"),
        ),
        Validity::Expired(_) => (
            "expired",
            Some("the calibration is older than 12 months, so there is no answer: calibrate"),
        ),
        Validity::Missing => (
            "missing",
            Some("there is no calibration, so there is no answer: `slotwise calibrate`"),
        ),
    };
    found.calibration = Some(name);
    if let Some(text) = text {
        advice.push(text.to_owned());
    }
    if let Some(stamp) = about.calibration.stamp() {
        found.calibrated_unix = Some(stamp.done.get());
        found.calibration_age_days = about
            .clock
            .and_then(|clock| clock.get().checked_sub(stamp.done.get()))
            .map(|seconds| seconds / DAY);
    }
    if about.calibration.stamp().is_some() && about.copies == Some(false) {
        advice.push(
            "one of the two copies of the calibration is damaged: calibrate again".to_owned(),
        );
    }
    about.calibration.may_answer()
}

fn in_words(diagnosis: &Diagnosis) -> String {
    let ports = if diagnosis.ports.is_empty() {
        "none".to_owned()
    } else {
        diagnosis.ports.join(", ")
    };
    let host = &diagnosis.host;
    let mut text = format!(
        "ports        {ports}\nprogram      {}, link protocol {}, record schema {}\n",
        host.version, host.protocol, host.schema
    );
    if let Some(found) = &diagnosis.tester {
        let records = found.records.map_or_else(
            || "no records".to_owned(),
            |[oldest, newest]| format!("records {oldest} to {newest}"),
        );
        let calibration = match (found.calibration, found.calibration_age_days) {
            (None, _) => "not told".to_owned(),
            (Some(state), Some(days)) => format!("{state}, {days} days old"),
            (Some(state), None) => state.to_owned(),
        };
        let parts = found.journal_parts.map_or_else(String::new, |[used, of]| {
            format!(", {used} of {of} parts in use")
        });
        text += &format!(
            "tester       {} on {}, started {} times\n\
             firmware     {} ({} as this program), link protocol {}, record schema {}\n\
             journal      {}, {records}{parts}\n\
             calibration  {calibration}\n\
             clock        {}\n",
            found.tester,
            found.port,
            found.starts,
            found.firmware,
            found.firmware_is,
            found.protocol,
            found.schema,
            found.journal,
            if found.clock_unix.is_some() {
                "set"
            } else {
                "not set"
            },
        );
    }
    for line in &diagnosis.advice {
        text += &format!("- {line}\n");
    }
    if diagnosis.advice.is_empty() {
        text += "everything is as it should be\n";
    }
    text
}
