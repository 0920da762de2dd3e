//! One site: its visits, and what was measured there over the years.

use axum::extract::{Query, State};
use axum::response::Html;
use maud::{Markup, html};
use serde::Deserialize;
use slotwise_core::evidence::Reading;
use slotwise_core::limits::Limits;
use slotwise_core::units::Ohms;

use super::{Office, Refusal, Shared, made, pages, shown};
use crate::archive::{Cell, QUANTITIES};
use crate::commands::visits_of;
use crate::document::{Block, html::blocks};
use crate::error::Error;
use crate::report::trend::{self, Point, day};
use crate::report::{finding_title, outcome_badge};
use crate::texts::Language;
use crate::visits::Visit;

/// Which site.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Asked {
    name: String,
}

pub(super) async fn page(
    State(office): Shared,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, Refusal> {
    let page = made(office, move |office| {
        let content = content(office, &asked.name)?;
        Ok(pages::shell(office.language, &asked.name, &content))
    })
    .await?;
    Ok(shown(page))
}

fn content(office: &Office, name: &str) -> Result<Markup, Error> {
    let language = office.language;
    let words = language.office();
    let archive = office.open()?;
    let visits = visits_of(archive.as_ref(), Some(name))?;
    let trends = trends(office, &visits);
    Ok(html! {
        h2 { (words.visits) }
        table class="list" {
            thead { tr { @for name in words.visit_head { th scope="col" { (name) } } } }
            tbody {
                // The newest first: it is what is looked for.
                @for (number, visit) in (1..).zip(&visits).collect::<Vec<_>>().into_iter().rev() {
                    (row(language, name, number, visit))
                }
            }
        }
        h2 { (words.trends) }
        @if trends.is_empty() { p { (words.no_trend) } } @else { (blocks(&trends)) }
    })
}

fn row(language: &dyn Language, site: &str, number: usize, visit: &Visit) -> Markup {
    let [_, when, appliance, records, gravest, finding] = language.office().visit_head;
    let worst = visit.gravest();
    html! {
        tr {
            td { a href={ "/visit?site=" (pages::query(site)) "&number=" (number) } { (number) } }
            td data-name=(when) {
                (visit.clocks().map_or_else(
                    || language.visits().no_clock.to_owned(),
                    |(from, _)| day(from),
                ))
            }
            td data-name=(appliance) {
                (visit.place.as_ref().and_then(|place| place.appliance.as_deref()).unwrap_or_default())
            }
            td data-name=(records) {
                @for test in &visit.tests { (test.number.get()) " " }
            }
            td data-name=(gravest) {
                @if let Some(test) = worst { (outcome_badge(language, &test.test.outcome)) }
            }
            td data-name=(finding) {
                @if let Some(finding) = worst.and_then(|test| test.test.finding.as_deref()) {
                    (finding_title(language, finding))
                }
            }
        }
    }
}

/// The earth path of every appliance over time.
fn trends(office: &Office, visits: &[Visit]) -> Vec<Block> {
    let language = office.language;
    let Some(place) = QUANTITIES
        .iter()
        .position(|(name, _)| *name == "earth_path")
    else {
        return Vec::new();
    };
    let mut appliances: Vec<(Option<&str>, Vec<Point>)> = Vec::new();
    for visit in visits {
        let appliance = visit.place.as_ref().and_then(|p| p.appliance.as_deref());
        for test in &visit.tests {
            let (Some(Cell::Known { value, u: Some(u) }), Some(clock)) =
                (test.test.cells.get(place), test.made.clock)
            else {
                continue;
            };
            let point = (
                clock,
                Reading {
                    value: Ohms::new(*value),
                    u: Ohms::new(*u),
                },
            );
            match appliances.iter_mut().find(|(known, _)| *known == appliance) {
                Some((_, points)) => points.push(point),
                None => appliances.push((appliance, vec![point])),
            }
        }
    }
    let limit = Limits::with_band(office.band).earth_path_sound;
    appliances
        .into_iter()
        .filter_map(|(appliance, mut points)| {
            points.sort_by_key(|(clock, _)| clock.get());
            let earth_path = language.labels().earth_path;
            let name = match appliance {
                Some(appliance) => format!("{appliance}, {earth_path}"),
                None => earth_path.to_owned(),
            };
            trend::figure(language, &name, &points, limit).map(Block::Figure)
        })
        .collect()
}
