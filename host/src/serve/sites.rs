//! The list of sites: search, filter, a page at a time.

use axum::extract::{Query, State};
use axum::response::Html;
use maud::{Markup, html};
use serde::Deserialize;
use slotwise_core::units::UnixSeconds;

use super::{Refusal, Shared, made, pages, shown};
use crate::archive::{SiteRow, SitesWanted};
use crate::report::outcome_badge;
use crate::report::trend::day;
use crate::texts::Language;
use crate::visits::worst;

/// Sites on a page.
const MOST: u32 = 50;

/// What is asked for.
#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    search: String,
    failing: Option<String>,
    /// As typed; what is no year filters nothing.
    #[serde(default)]
    year: String,
    #[serde(default)]
    page: u32,
}

impl Asked {
    fn wanted(&self) -> SitesWanted {
        let first_of = |year: i16| {
            jiff::tz::TimeZone::UTC
                .to_timestamp(jiff::civil::date(year, 1, 1).at(0, 0, 0, 0))
                .ok()
                .and_then(|time| u64::try_from(time.as_second()).ok())
                .map(UnixSeconds::new)
        };
        let year = self
            .year
            .trim()
            .parse::<i16>()
            .ok()
            .filter(|year| (1970..9999).contains(year));
        SitesWanted {
            search: self.search.trim().to_owned(),
            failing: self.failing.is_some(),
            since: year.and_then(first_of),
            before: year.and_then(|year| first_of(year + 1)),
            skip: self.page.saturating_mul(MOST),
            most: MOST,
        }
    }

    /// The same list, another page of it.
    fn address(&self, page: u32) -> String {
        let failing = if self.failing.is_some() {
            "&failing=1"
        } else {
            ""
        };
        format!(
            "/?search={}&year={}{failing}&page={page}",
            pages::query(&self.search),
            pages::query(&self.year)
        )
    }
}

pub(super) async fn page(
    State(office): Shared,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, Refusal> {
    let language = office.language;
    let wanted = asked.wanted();
    let found = made(office, move |office| Ok(office.open()?.sites(&wanted)?)).await?;
    Ok(shown(pages::shell(
        language,
        language.office().sites,
        &list(language, &asked, &found),
    )))
}

fn list(language: &dyn Language, asked: &Asked, found: &[SiteRow]) -> Markup {
    let words = language.office();
    let more = found.len() > MOST as usize;
    let [before, after] = words.turn;
    html! {
        form action="/" method="get" role="search" {
            label { (words.search) input type="search" name="search" value=(asked.search); }
            label {
                (words.year)
                input type="text" inputmode="numeric" name="year" size="5" value=(asked.year);
            }
            label class="box" {
                input type="checkbox" name="failing" value="1" checked[asked.failing.is_some()];
                (words.only_failing)
            }
            button type="submit" { (words.show) }
        }
        @if found.is_empty() { p { (words.no_site) } } @else {
            table class="list" {
                thead { tr { @for name in words.site_head { th scope="col" { (name) } } } }
                tbody { @for site in found.iter().take(MOST as usize) { (row(language, site)) } }
            }
        }
        p class="turn" {
            @if asked.page > 0 { a rel="prev" href=(asked.address(asked.page - 1)) { (before) } }
            @if more { a rel="next" href=(asked.address(asked.page + 1)) { (after) } }
        }
    }
}

fn row(language: &dyn Language, site: &SiteRow) -> Markup {
    let [_, tests, newest, gravest] = language.office().site_head;
    let outcome = site.outcomes.iter().max_by_key(|outcome| worst(outcome));
    html! {
        tr {
            td { a href={ "/site?name=" (pages::query(&site.name)) } { (site.name) } }
            td data-name=(tests) { (site.tests) }
            td data-name=(newest) {
                (site.newest.map_or_else(|| language.visits().no_clock.to_owned(), day))
            }
            td data-name=(gravest) {
                @if let Some(outcome) = outcome { (outcome_badge(language, outcome)) }
            }
        }
    }
}
