//! English words of the office's pages.

use crate::texts::OfficeTexts;

pub(super) const OFFICE: OfficeTexts = OfficeTexts {
    name: "Slotwise archive",
    to_content: "To the content",
    sites: "Sites",
    pull: "Pull a tester",
    testers: "Testers",
    tester_head: [
        "Tester",
        "Newest record (UTC)",
        "Calibrated",
        "Good until",
        "Largest change of gain",
        "Calibration",
    ],
    calibration_states: [
        "in date",
        "due within a month: plan it",
        "OUT OF DATE: calibrate before the next visit",
        "not known here: ask the tester with `slotwise doctor`",
    ],
    no_tester: "No tester yet. `slotwise pull --archive` or `slotwise archive import` takes its \
                records in.",
    tester_note: "From the calibrations that the pulled records tell of. The change is since the \
                  calibration before.",
    search: "Name has",
    only_failing: "only with a fault or danger found",
    year: "Tested in year",
    show: "Show",
    site_head: ["Site", "Tests", "Newest (UTC)", "Gravest so far"],
    no_site: "No site like that. `slotwise visits place` says where tests were made.",
    turn: ["Sites before", "More sites"],
    visits: "Visits",
    visit_head: [
        "No.",
        "When (UTC)",
        "Appliance",
        "Records",
        "Gravest",
        "Finding",
    ],
    trends: "Over the years",
    trend: "{name}: {count} values from {from} to {to}, the last {last}.",
    no_trend: "No earth path was measured here with the clock set.",
    paper: "As PDF",
    port: "Port of the tester",
    no_port: "No serial port is there. Plug the tester into this computer and load this page again.",
    no_such_port: "No tester is at that port. Load the page again and take one that it offers.",
    begin: "Pull",
    running: "Pulling: record {done} of {of}. This page loads itself again.",
    done: "{records} records came in, {added} of them new. They are in the archive.",
    wrong: "{wrong} places are not as they should be: another record of the same number, a gap, or a \
            record that the tester itself cannot read. `slotwise archive verify` names them.",
    failed: "The pull ended early: {why}. What came before that is in the archive if it was whole; \
             pull again.",
    pull_note: "Pulling copies. It changes and erases nothing in the tester.",
    not_found: "There is no such page. The list of sites is at the top.",
    refused: "This did not come from these pages, so nothing was done.",
};
