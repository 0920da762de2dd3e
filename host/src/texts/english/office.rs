//! English words of the office's pages.

use crate::texts::OfficeTexts;

pub(super) const OFFICE: OfficeTexts = OfficeTexts {
    name: "Slotwise archive",
    to_content: "To the content",
    sites: "Sites",
    pull: "Pull a tester",
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
    begin: "Pull",
    running: "Pulling: record {done} of {of}. This page loads itself again.",
    done: "{records} records came in, {added} of them new. They are in the archive.",
    failed: "The pull ended early: {why}. What came before that is in the archive if it was whole; \
             pull again.",
    pull_note: "Pulling copies. It changes and erases nothing in the tester.",
    not_found: "There is no such page. The list of sites is at the top.",
    refused: "This did not come from these pages, so nothing was done.",
};
