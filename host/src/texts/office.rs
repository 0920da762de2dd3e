//! Words of the office's pages.

/// The words around the pages of `slotwise serve` in one language. `{...}` is filled in.
#[derive(Clone, Copy, Debug)]
pub struct OfficeTexts {
    /// Name of the pages.
    pub name: &'static str,
    /// Jump over the links.
    pub to_content: &'static str,
    /// Link and heading: the list of sites.
    pub sites: &'static str,
    /// Link and heading: pull from a tester.
    pub pull: &'static str,
    /// Link and heading: the testers.
    pub testers: &'static str,
    /// Columns of the testers: number, newest record, calibrated on, good until, change of gain,
    /// state.
    pub tester_head: [&'static str; 6],
    /// How a calibration stands: it holds, it ends within a month, it ended, nothing is known.
    pub calibration_states: [&'static str; 4],
    /// Where the archive has no tester.
    pub no_tester: &'static str,
    /// Below the testers: where the days come from.
    pub tester_note: &'static str,
    /// Before the search field.
    pub search: &'static str,
    /// Beside the box: only failing sites.
    pub only_failing: &'static str,
    /// Before the year field.
    pub year: &'static str,
    /// The button.
    pub show: &'static str,
    /// Columns of the list: site, tests, newest, gravest so far.
    pub site_head: [&'static str; 4],
    /// Where no site fits.
    pub no_site: &'static str,
    /// Links to the pages before and after.
    pub turn: [&'static str; 2],
    /// Heading over the visits of a site.
    pub visits: &'static str,
    /// Columns of the visits: number, when, appliance, records, gravest, finding.
    pub visit_head: [&'static str; 6],
    /// Heading over the trends.
    pub trends: &'static str,
    /// What a trend shows.
    pub trend: &'static str,
    /// Where nothing was measured that a trend could show.
    pub no_trend: &'static str,
    /// Link to the visit on paper.
    pub paper: &'static str,
    /// Before the port.
    pub port: &'static str,
    /// Said where no port is there.
    pub no_port: &'static str,
    /// Said where a port is asked for that is not offered.
    pub no_such_port: &'static str,
    /// The button.
    pub begin: &'static str,
    /// While it runs.
    pub running: &'static str,
    /// When it is done.
    pub done: &'static str,
    /// Where records came that are not as they should be.
    pub wrong: &'static str,
    /// When it failed.
    pub failed: &'static str,
    /// Nothing in the tester is changed by it.
    pub pull_note: &'static str,
    /// There is no such page.
    pub not_found: &'static str,
    /// The request did not come from these pages.
    pub refused: &'static str,
}
