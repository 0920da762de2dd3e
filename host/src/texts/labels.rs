//! Headings, column names and names of values: what stands beside the sentences of a report.

/// Every label of a report in one language.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Labels {
    /// Title of the page of a tester's log.
    pub title_log: &'static str,
    /// Title of the page of computed receptacles.
    pub title_invented: &'static str,
    /// Title of the page of a recorded waveform.
    pub title_recording: &'static str,
    /// Before a waveform's file.
    pub recording: &'static str,
    /// Before a log's file.
    pub log: &'static str,
    /// Before the tester's number.
    pub tester: &'static str,
    /// Before the firmware's version.
    pub firmware: &'static str,
    /// Before the count of records.
    pub records: &'static str,
    /// Before whose verdicts these are.
    pub verdicts: &'static str,
    /// This program's.
    pub judged_again: &'static str,
    /// The tester's.
    pub as_said: &'static str,
    /// Before the band judged under.
    pub supply_band: &'static str,
    /// Before the default band's name, where the tester judged.
    pub own_band: &'static str,
    /// After a band that is the default.
    pub is_default: &'static str,
    /// Over the damages of a log.
    pub damaged: &'static str,
    /// Over the table.
    pub overview: &'static str,

    /// Column of the record's number.
    pub number: &'static str,
    /// Column of the place.
    pub receptacle: &'static str,
    /// Column of the outcome.
    pub answer: &'static str,
    /// Column of the finding, and before its number.
    pub finding: &'static str,
    /// Symbols of narrow to wide, ground to wide, narrow to ground.
    pub symbols: [&'static str; 3],
    /// Column of the clip.
    pub clip: &'static str,
    /// Column of the lamps.
    pub lamps_short: &'static str,
    /// Under the table: the symbols.
    pub legend: &'static str,
    /// Under the table: before the lamps' questions.
    pub legend_lamps: &'static str,
    /// Under the table: the lamps' letters.
    pub legend_letters: &'static str,
    /// A start of the tester.
    pub start: &'static str,
    /// A start after a stop that was not asked for.
    pub restart: &'static str,
    /// A test of the tester by itself that failed.
    pub self_test: &'static str,
    /// A calibration that was stored.
    pub calibrated: &'static str,
    /// A record that cannot be read.
    pub not_readable: &'static str,

    /// Before a record's number.
    pub record: &'static str,
    /// Before the wiring of a computed receptacle.
    pub wired_as: &'static str,
    /// Before when a record was made.
    pub made: &'static str,
    /// Before how a record hangs on the one before.
    pub chain: &'static str,
    /// Before the tester's own verdict where this program's is another.
    pub said_then: &'static str,
    /// Before the band, on a sheet.
    pub judged_under: &'static str,

    /// Before the severity.
    pub severity: &'static str,
    /// Before what it does to the appliance.
    pub appliance: &'static str,
    /// Over the wirings that read the same.
    pub rivals: &'static str,
    /// Before the next check; its place follows.
    pub next: &'static str,
    /// Before what is electrician's work.
    pub electrician: &'static str,
    /// Over what is not yet proven.
    pub unproven: &'static str,
    /// Over what this tester cannot see.
    pub cannot_see: &'static str,
    /// Over the cautions.
    pub cautions: &'static str,
    /// Over the lamps.
    pub lamps: &'static str,

    /// Over the measured values.
    pub measured: &'static str,
    /// Narrow to wide, ground to wide, narrow to ground.
    pub pairs: [&'static str; 3],
    /// All three, where they are missing.
    pub slot_voltages: &'static str,
    /// Line frequency.
    pub frequency: &'static str,
    /// Earth path.
    pub earth_path: &'static str,
    /// Hot conductor, source and earth path together.
    pub hot_and_ground: &'static str,
    /// Neutral and earth path together.
    pub neutral_and_ground: &'static str,
    /// Neutral to what the clip is on: an appliance with the power off, or an independent earth.
    pub neutral_to_clip: &'static str,
    /// Load steps.
    pub load_steps: &'static str,
    /// Load-cycle watch.
    pub watch: &'static str,
    /// What the clip was on.
    pub clip_on: &'static str,
    /// Clip to wide slot.
    pub clip_wide: &'static str,
    /// How much the voltages moved.
    pub moved: &'static str,
    /// Sum of the four inputs.
    pub sum: &'static str,
    /// The tester's own state.
    pub health: &'static str,

    /// Title of the drawing.
    pub waveform: &'static str,
    /// Where there is none.
    pub no_waveform: &'static str,
    /// Its time axis.
    pub time: &'static str,
    /// Line styles: solid, dashed, dotted.
    pub styles: [&'static str; 3],
}
