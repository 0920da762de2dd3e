//! One visit: its report as a page, or on paper.

use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{Html, IntoResponse as _, Response};
use maud::html;
use serde::Deserialize;

use super::{Office, Refusal, Shared, made, pages, shown};
use crate::commands::Asked as Wanted;
use crate::document::{Document, html::blocks, pdf};
use crate::error::Error;

/// Which visit.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Asked {
    site: String,
    number: usize,
}

fn document(office: &Office, asked: &Asked) -> Result<Document, Error> {
    let archive = office.open()?;
    let wanted = Wanted {
        site: &asked.site,
        appliance: None,
        visit: Some(asked.number),
        band: office.band,
        prepared_by: &office.prepared_by,
    };
    Ok(wanted.make(archive.as_ref())?.document)
}

pub(super) async fn page(
    State(office): Shared,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, Refusal> {
    let page = made(office, move |office| {
        let document = document(office, &asked)?;
        let paper = format!(
            "/visit.pdf?site={}&number={}",
            pages::query(&asked.site),
            asked.number
        );
        let content = html! {
            p {
                a href={ "/site?name=" (pages::query(&asked.site)) } { (asked.site) } " "
                a href=(paper) { (office.language.office().paper) }
            }
            (blocks(&document.blocks))
        };
        Ok(pages::shell(office.language, &document.title, &content))
    })
    .await?;
    Ok(shown(page))
}

pub(super) async fn paper(
    State(office): Shared,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    let bytes = made(office, move |office| {
        Ok(pdf::sheets(&document(office, &asked)?)?)
    })
    .await?;
    let headers = [
        (header::CONTENT_TYPE, "application/pdf"),
        (
            header::CONTENT_DISPOSITION,
            "inline; filename=\"visit.pdf\"",
        ),
    ];
    Ok((headers, bytes).into_response())
}
