//! `doctor`: whether computer, port and tester are fit for work, and what to do if not.
//!
//! Nothing is changed but the tester's clock, and that only with `--set-clock`.

use std::time::Duration;

use serde::Serialize;
use slotwise_core::calibration::validity::Validity;
use slotwise_core::link::{
    About, ClockChip, FirmwareReport, JournalState, PROTOCOL, WorkshopReply, WorkshopRequest,
};
use slotwise_core::record::{SCHEMA, Version};
use slotwise_core::units::UnixSeconds;

use super::now;
use super::out;
use crate::cli::DoctorArgs;
use crate::client::Client;
use crate::error::{Error, LinkError, PortError};
use crate::exit::Exit;
use crate::firmware_builds::{Compared, compare};
use crate::port;
use crate::report::start::StartEntry;
use crate::texts::workshop::{HOW_TO_FLASH, clock_chip, clock_chip_code, refused};
use crate::texts::{English, Language as _};
use crate::udev;

/// A clock that is off by more than this is said to be: seconds.
const CLOCK_WITHIN: u64 = 120;

/// How often a clock chip is asked that is about to be set, and how long between: the tester does
/// it within some milliseconds.
const SETTING_TRIES: u32 = 20;
const SETTING_PAUSE: Duration = Duration::from_millis(50);

const DAY: u64 = 86_400;

#[derive(Serialize)]
struct Diagnosis {
    format: &'static str,
    version: u32,
    ports: Vec<String>,
    /// A rule of udev that gives the right to the port, where there is one.
    udev_rule: Option<String>,
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
    /// `None`: it is no finished image, or too old to say.
    firmware_build: Option<String>,
    /// Against the builds that this program knows: older, same, newer or unknown.
    firmware_is: &'static str,
    /// `None`: the firmware is too old to say.
    start: Option<StartEntry>,
    #[serde(skip)]
    start_in_words: Option<String>,
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
    /// How the clock chip stands. `None`: the firmware is too old to say.
    clock_chip: Option<&'static str>,
}

/// Runs `doctor`.
///
/// # Errors
/// Only where the result cannot be printed, or the clock cannot be set.
pub(super) fn run(args: &DoctorArgs) -> Result<Exit, Error> {
    if args.udev_rule {
        out(&udev::file())?;
        return Ok(Exit::Done);
    }
    let mut diagnosis = Diagnosis {
        format: "slotwise-doctor",
        version: 1,
        ports: port::candidates(),
        udev_rule: cfg!(target_os = "linux")
            .then(|| udev::rule_in(&udev::FOLDERS))
            .flatten()
            .map(|file| file.display().to_string()),
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
                let advice = about_rule(diagnosis.udev_rule.as_deref());
                diagnosis.advice.push(advice);
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

/// What to do about a port that may not be opened.
fn about_rule(rule: Option<&str>) -> String {
    match rule {
        Some(file) => format!(
            "or, as {file} gives the port to whoever sits at this computer: run `sudo udevadm \
             control --reload`, plug the tester in again, and sit at this computer instead of \
             coming in over the network"
        ),
        None => format!(
            "or give the port to whoever sits at this computer: `slotwise doctor --udev-rule | sudo \
             tee {}`, then `sudo udevadm control --reload`, and plug the tester in again",
            udev::FILE
        ),
    }
}

fn examine(args: &DoctorArgs, diagnosis: &mut Diagnosis) -> Result<Exit, Error> {
    let name = match &args.port {
        Some(name) => name.clone(),
        None => port::find()?,
    };
    let mut client = Client::new(Box::new(port::open(&name)?));
    let (hello, _) = client.hello()?;
    let status = client.status()?;
    let firmware = ask_firmware(&mut client)?;
    let mut exit = Exit::Done;
    if args.set_clock
        && let Err(why) = client.set_clock(now())?
    {
        diagnosis.advice.push(refused(why).to_owned());
        exit = Exit::CannotTell;
    }
    let chip = chip(&mut client)?;
    let about = match client.workshop(WorkshopRequest::About) {
        Ok(WorkshopReply::About(about)) => Some(about),
        Ok(_) => return Err(client.does_not_fit("calibration and clock").into()),
        // A firmware that does not know the question.
        Err(LinkError::Refused { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let advice = &mut diagnosis.advice;
    if let Some(text) = chip.and_then(clock_chip) {
        advice.push(text.to_owned());
    }
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
    let firmware_is = compare(hello.firmware, firmware.as_ref());
    advice.extend(about_firmware(firmware_is, hello.firmware));
    if let Some(report) = &firmware
        && report.start.stopped.is_some()
    {
        advice.push(
            "its program stopped by itself before this start; the journal has it: pull it"
                .to_owned(),
        );
    }
    if hello.schema > SCHEMA {
        advice.push("its records are of a newer schema: update Slotwise".to_owned());
        exit = Exit::Newer;
    }
    let mut found = Found {
        port: name,
        tester: hello.tester.to_string(),
        firmware: hello.firmware.to_string(),
        firmware_build: firmware
            .as_ref()
            .and_then(|report| report.start.build)
            .map(|build| build.to_string()),
        firmware_is: firmware_is.name(),
        start: firmware
            .as_ref()
            .map(|report| StartEntry::of(&report.start)),
        start_in_words: firmware.as_ref().map(|report| English.start(&report.start)),
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
        clock_chip: chip.map(clock_chip_code),
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

/// What the tester says of its firmware, if it knows the question.
fn ask_firmware(client: &mut Client) -> Result<Option<FirmwareReport>, LinkError> {
    match client.firmware() {
        Ok(report) => Ok(Some(report)),
        Err(LinkError::Refused { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

/// What to do about the firmware.
fn about_firmware(compared: Compared, version: Version) -> Option<String> {
    match compared {
        Compared::Newest | Compared::SameVersion => None,
        Compared::Older(Some(behind)) => Some(format!(
            "the firmware {version} is {behind} release{} behind the newest that this program \
             knows: {HOW_TO_FLASH}",
            if behind == 1 { "" } else { "s" }
        )),
        Compared::Older(None) => Some(format!(
            "the firmware {version} is older than this program: {HOW_TO_FLASH}"
        )),
        Compared::Newer => Some(format!(
            "the firmware {version} is newer than this program: update Slotwise"
        )),
        Compared::Unknown => Some(format!(
            "this build of the firmware {version} is none that was released: whoever built it \
             knows what is in it. For a released one: {HOW_TO_FLASH}"
        )),
    }
}

/// How the clock chip stands, once it has been told what it is to be told. `None`: the firmware
/// does not know the question.
fn chip(client: &mut Client) -> Result<Option<ClockChip>, Error> {
    for attempt in 1.. {
        match client.workshop(WorkshopRequest::Clock) {
            Ok(WorkshopReply::Clock(report)) => {
                if report.chip != ClockChip::Setting || attempt == SETTING_TRIES {
                    return Ok(Some(report.chip));
                }
            }
            Ok(_) => return Err(client.does_not_fit("clock").into()),
            Err(LinkError::Refused { .. }) => break,
            Err(error) => return Err(error.into()),
        }
        std::thread::sleep(SETTING_PAUSE);
    }
    Ok(None)
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
    let mut text = format!("ports        {ports}\n");
    if cfg!(target_os = "linux") {
        let rule = diagnosis.udev_rule.as_deref();
        let none = "none; `slotwise doctor --udev-rule` prints one";
        text += &format!("udev rule    {}\n", rule.unwrap_or(none));
    }
    text += &format!(
        "program      {}, link protocol {}, record schema {}\n",
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
             firmware     {}, build {} ({}), link protocol {}, record schema {}\n\
             start        {}\n\
             journal      {}, {records}{parts}\n\
             calibration  {calibration}\n\
             clock        {}{}\n",
            found.tester,
            found.port,
            found.starts,
            found.firmware,
            found.firmware_build.as_deref().unwrap_or("not told"),
            match found.firmware_is {
                "same" => "as this program",
                "unknown" => "not one that this program knows",
                other => other,
            },
            found.protocol,
            found.schema,
            found.start_in_words.as_deref().unwrap_or("not told"),
            found.journal,
            if found.clock_unix.is_some() {
                "set"
            } else {
                "not set"
            },
            found
                .clock_chip
                .map_or_else(String::new, |chip| format!(", chip {chip}")),
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
