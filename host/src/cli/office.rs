//! The command line of the office: archive, visits, notes, export.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{ArgGroup, Args, Subcommand};
use slotwise_core::record::TesterId;

use super::Band;
use crate::archive::Shown;
use crate::visits::{Bonds, Electrode, GroundWire, Inducer, Joined, Landing, shown_of};

/// An archive.
#[derive(Debug, Args)]
pub struct ArchiveFile {
    /// The archive: a file, or the address of a PostgreSQL server, `postgres://USER@HOST/DATABASE`,
    /// with the password in PGPASSWORD.
    #[arg(long, value_name = "FILE.db")]
    pub archive: PathBuf,
}

/// Commands on an archive.
#[derive(Debug, Subcommand)]
pub enum ArchiveCommand {
    /// Take log files in; the archive is made if it is not there.
    ///
    /// A record that is there already is not taken twice. One of the same number with other
    /// bytes is kept beside it and named. A file that cannot be used does not keep the others
    /// out.
    Import(ImportArgs),
    /// Check every record: its bytes, the chain, the stored values, the file itself.
    Verify(VerifyArgs),
    /// Copy the archive to a new file, also while records come in.
    Backup(BackupArgs),
    /// Copy the archive into a new one of either kind: a file, or a PostgreSQL server.
    Copy(CopyArgs),
    /// Say how much is in the archive.
    Info(VerifyArgs),
}

/// Options of `archive import`.
#[derive(Debug, Args)]
pub struct ImportArgs {
    #[command(flatten)]
    /// Where to.
    pub archive: ArchiveFile,
    /// Logs that `slotwise pull` wrote, of any testers.
    #[arg(value_name = "FILE.slotlog", required = true)]
    pub files: Vec<PathBuf>,
    /// Print JSON instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Options of `archive verify` and `archive info`.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    #[command(flatten)]
    /// Which one.
    pub archive: ArchiveFile,
    /// Print JSON instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Options of `archive backup`.
#[derive(Debug, Args)]
pub struct BackupArgs {
    #[command(flatten)]
    /// Which one.
    pub archive: ArchiveFile,
    /// The new file.
    #[arg(long, value_name = "FILE.db")]
    pub out: PathBuf,
}

/// Options of `archive copy`.
#[derive(Debug, Args)]
pub struct CopyArgs {
    #[command(flatten)]
    /// Which one.
    pub archive: ArchiveFile,
    /// The new one: a file, or the address of a server's empty database.
    #[arg(long, value_name = "FILE.db")]
    pub to: PathBuf,
}

/// Commands on visits.
#[derive(Debug, Subcommand)]
pub enum VisitsCommand {
    /// List visits and notes.
    ///
    /// A visit is the tests of one tester at one place, each within four hours of the one
    /// before.
    List(VisitsListArgs),
    /// Say where tests were made.
    Place(PlaceArgs),
}

/// Options of `visits list`.
#[derive(Debug, Args)]
pub struct VisitsListArgs {
    #[command(flatten)]
    /// Of which archive.
    pub archive: ArchiveFile,
    /// Only this site.
    #[arg(long, value_name = "NAME")]
    pub site: Option<String>,
    /// Judge the readings of notes under this supply band.
    #[arg(long, default_value = "utilization")]
    pub band: Band,
    /// Print JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

/// Options of `visits place`.
#[derive(Debug, Args)]
pub struct PlaceArgs {
    #[command(flatten)]
    /// In which archive.
    pub archive: ArchiveFile,
    /// Name of the site.
    #[arg(long, value_name = "NAME")]
    pub site: String,
    /// Name of the appliance there.
    #[arg(long, value_name = "NAME")]
    pub appliance: Option<String>,
    /// Serial number of the tester, 16 digits.
    #[arg(long, value_name = "SERIAL", value_parser = tester)]
    pub tester: TesterId,
    /// Its records, such as 7 or 7-12.
    #[arg(long, value_name = "FROM-TO", value_parser = range)]
    pub records: (u32, u32),
}

/// Options of `note`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("what").required(true).multiple(true).args([
    "neutral_to_common", "neutral_to_burner", "hot_to_neutral", "hot_to_ground",
    "neutral_to_ground", "joined", "electrode", "bonds", "ground_wire", "landing", "inducer",
    "remark", "photo", "guide",
]))]
pub struct NoteArgs {
    #[command(flatten)]
    /// In which archive.
    pub archive: ArchiveFile,
    /// Name of the site.
    #[arg(long, value_name = "NAME")]
    pub site: String,
    /// Name of the appliance there.
    #[arg(long, value_name = "NAME")]
    pub appliance: Option<String>,
    /// When, such as 2026-03-02T14:00:00Z; without it, now.
    #[arg(long, value_name = "TIME")]
    pub at: Option<jiff::Timestamp>,
    /// Volts from neutral to the common of the 24 V side, appliance idle.
    #[arg(long, value_name = "V", value_parser = volts)]
    pub neutral_to_common: Option<Shown>,
    /// Ohms from neutral to burner, power off; OL where the meter shows that.
    #[arg(long, value_name = "OHM", value_parser = ohms)]
    pub neutral_to_burner: Option<Shown>,
    /// Volts from hot to neutral.
    #[arg(long, value_name = "V", value_parser = volts)]
    pub hot_to_neutral: Option<Shown>,
    /// Volts from hot to ground.
    #[arg(long, value_name = "V", value_parser = volts)]
    pub hot_to_ground: Option<Shown>,
    /// Volts from neutral to ground.
    #[arg(long, value_name = "V", value_parser = volts)]
    pub neutral_to_ground: Option<Shown>,
    /// Where neutral and ground meet.
    #[arg(long)]
    pub joined: Option<Joined>,
    /// The grounding electrode.
    #[arg(long)]
    pub electrode: Option<Electrode>,
    /// Whether every bond is tied to that one electrode.
    #[arg(long)]
    pub bonds: Option<Bonds>,
    /// What carries the ground from the receptacle to the panel.
    #[arg(long)]
    pub ground_wire: Option<GroundWire>,
    /// What the ground is landed on in the appliance.
    #[arg(long)]
    pub landing: Option<Landing>,
    /// Whether inducer and control board have the same ground.
    #[arg(long)]
    pub inducer: Option<Inducer>,
    /// Anything else, in your words.
    #[arg(long, value_name = "TEXT")]
    pub remark: Option<String>,
    /// Name of a photo; may be given again. The file stays where it is.
    #[arg(long, value_name = "FILE")]
    pub photo: Vec<String>,
    /// Ask the questions of the checklist that are not answered above, one by one.
    #[arg(long)]
    pub guide: bool,
    /// Judge the voltages under this supply band.
    #[arg(long, default_value = "utilization")]
    pub band: Band,
    /// Print JSON instead of words.
    #[arg(long)]
    pub json: bool,
}

/// What `report` and `serve` have in common.
#[derive(Debug, Args)]
pub struct ReportChoice {
    /// Name of the office, to stand on reports.
    #[arg(long, value_name = "NAME")]
    pub prepared_by: Option<String>,
    /// Judge tests and readings under this supply band.
    #[arg(long, default_value = "utilization")]
    pub band: Band,
}

/// Options of `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    #[command(flatten)]
    /// From which archive.
    pub archive: ArchiveFile,
    /// Name of the site.
    #[arg(long, value_name = "NAME")]
    pub site: String,
    /// Only visits to this appliance.
    #[arg(long, value_name = "NAME")]
    pub appliance: Option<String>,
    /// Which visit, counted from the oldest as `visits list --site` shows them; without it the
    /// newest.
    #[arg(long, value_name = "N")]
    pub visit: Option<usize>,
    /// The file to write, .html or .pdf; may be given again.
    #[arg(long, value_name = "FILE", required = true)]
    pub out: Vec<PathBuf>,
    #[command(flatten)]
    /// How to judge and sign.
    pub choice: ReportChoice,
    /// Replace files that are there.
    #[arg(long)]
    pub force: bool,
}

/// Options of `serve`.
#[derive(Debug, Args)]
pub struct ServeArgs {
    #[command(flatten)]
    /// Which archive.
    pub archive: ArchiveFile,
    /// Port on this computer; 0 takes a free one.
    #[arg(long, value_name = "PORT", default_value_t = 8017)]
    pub port: u16,
    /// Another address, for a network that you trust: there is no password.
    #[arg(long, value_name = "ADDRESS:PORT", conflicts_with = "port")]
    pub listen: Option<SocketAddr>,
    /// Another port that a tester may be pulled from on the page, such as one of `slotwise bench`;
    /// testers that are plugged in are offered anyway. May be given again.
    #[arg(long, value_name = "PORT")]
    pub tester_port: Vec<String>,
    /// Another name that browsers ask under, such as office-pc:8017; may be given again.
    #[arg(long, value_name = "NAME:PORT")]
    pub host: Vec<String>,
    #[command(flatten)]
    /// How to judge and sign.
    pub choice: ReportChoice,
}

/// Forms of `export`; one is wanted.
#[cfg(feature = "parquet")]
const FORMS: [&str; 4] = ["csv", "json", "parquet", "schema"];
#[cfg(not(feature = "parquet"))]
const FORMS: [&str; 3] = ["csv", "json", "schema"];

/// Options of `export`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("form").required(true).multiple(false).args(FORMS))]
pub struct ExportArgs {
    /// The archive.
    #[arg(long, value_name = "FILE.db", required_unless_present = "schema")]
    pub archive: Option<PathBuf>,
    /// Write CSV.
    #[arg(long)]
    pub csv: bool,
    /// Write JSON.
    #[arg(long)]
    pub json: bool,
    /// Write Parquet for a whole fleet's questions, DIR/office=NAME/month=YYYY-MM/part-0.parquet,
    /// typed columns with the SHA-256 of every record. What this office has in DIR is replaced,
    /// other offices' folders stay; so every test goes, not those of one site or tester. Columns
    /// and queries: host/fleet.md.
    #[cfg(feature = "parquet")]
    #[arg(long, value_name = "DIR", conflicts_with_all = ["site", "tester", "out", "force"])]
    pub parquet: Option<PathBuf>,
    /// Name of the office for --parquet. An archive does not know whose it is; name every office
    /// whose tests go into one DIR differently. May stand in the settings as `office`.
    #[cfg(feature = "parquet")]
    #[arg(long, value_name = "NAME")]
    pub office: Option<String>,
    /// Print the schema of the JSON and end.
    #[arg(long, conflicts_with_all = ["archive", "site", "tester", "out"])]
    pub schema: bool,
    /// Only this site.
    #[arg(long, value_name = "NAME")]
    pub site: Option<String>,
    /// Only this tester.
    #[arg(long, value_name = "SERIAL", value_parser = tester)]
    pub tester: Option<TesterId>,
    /// The file to write; without it, standard output.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace the file if it is there.
    #[arg(long, requires = "out")]
    pub force: bool,
}

fn tester(text: &str) -> Result<TesterId, String> {
    let is_serial = text.len() == 16 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    match u64::from_str_radix(text, 16) {
        Ok(number) if is_serial => Ok(TesterId(number)),
        _ => Err("a serial number has 16 digits, 0-9 and a-f".to_owned()),
    }
}

fn range(text: &str) -> Result<(u32, u32), String> {
    let (from, to) = text.split_once('-').unwrap_or((text, text));
    match (from.parse(), to.parse()) {
        (Ok(from), Ok(to)) if from <= to => Ok((from, to)),
        _ => Err("records such as 7 or 7-12, please".to_owned()),
    }
}

fn volts(text: &str) -> Result<Shown, String> {
    shown_of(text, false)
}

fn ohms(text: &str) -> Result<Shown, String> {
    shown_of(text, true)
}
