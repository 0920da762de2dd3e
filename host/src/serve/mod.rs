//! The office's pages, served on this computer.
//!
//! Plain pages with links and forms, no script, nothing from elsewhere: they work by keyboard,
//! on a telephone, and with a screen reader, and a page is as old as its last load. Without
//! `--listen` only this computer can ask (loopback).
//!
//! What keeps strangers out. A page of another site in the same browser may send requests here:
//! a request whose `Host` is not one of ours (a name that was pointed at this address) and a form
//! that was not sent from our own pages are refused. Answers forbid scripts, frames and foreign
//! content by a content security policy, so a name in the archive that slipped through the
//! escaping would still do nothing. Whoever can reach the address can read the archive: there is
//! no password.

mod guard;
mod pages;
mod pull;
mod site;
mod sites;
mod testers;
mod visit;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};
use slotwise_core::limits::BandSet;

pub use pull::Job;

use crate::archive::{self, Archive, ArchiveError};
use crate::error::Error;
use crate::texts::Language;

/// What the pages are made from.
#[derive(Clone, Debug)]
pub struct Office {
    /// The archive.
    pub archive: PathBuf,
    /// The band that tests and notes are judged under.
    pub band: BandSet,
    /// Name of the office, for reports; may be empty.
    pub prepared_by: String,
    /// Ports that testers are pulled from, besides those that name themselves.
    pub ports: Vec<String>,
    /// The pull that runs, or ran last.
    pub job: Job,
    /// Hosts and ports that the pages are asked under, such as `127.0.0.1:8017`.
    pub hosts: Vec<String>,
    /// The language.
    pub language: &'static dyn Language,
}

impl Office {
    fn open(&self) -> Result<Box<dyn Archive>, ArchiveError> {
        archive::open(&self.archive)
    }
}

/// All pages.
pub fn router(office: Office) -> Router {
    let office = Arc::new(office);
    Router::new()
        .route("/", get(sites::page))
        .route("/site", get(site::page))
        .route("/testers", get(testers::page))
        .route("/pull", get(pull::page).post(pull::begin))
        .route("/visit", get(visit::page))
        .route("/visit.pdf", get(visit::paper))
        .fallback(not_found)
        .layer(axum::middleware::from_fn_with_state(
            Arc::clone(&office),
            guard::guard,
        ))
        .with_state(office)
}

/// Serves the pages until the program is told to stop; `ready` hears the address.
///
/// # Errors
/// An address that cannot be had.
pub fn serve(
    address: SocketAddr,
    office: Office,
    ready: impl FnOnce(SocketAddr),
) -> Result<(), Error> {
    let cannot = |source| Error::CannotListen { address, source };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_io()
        .build()
        .map_err(cannot)?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(address)
            .await
            .map_err(cannot)?;
        let bound = listener.local_addr().map_err(cannot)?;
        let mut office = office;
        office.hosts.extend(names_of(bound));
        ready(bound);
        axum::serve(listener, router(office))
            .with_graceful_shutdown(async {
                // Without a handler the program ends at once, which is as good.
                let _ = tokio::signal::ctrl_c().await;
            })
            .await
            .map_err(cannot)
    })
}

/// The names under which an address is asked from this computer, and by itself.
fn names_of(address: SocketAddr) -> Vec<String> {
    let port = address.port();
    let mut names = vec![address.to_string()];
    if address.ip().is_loopback() {
        names.extend(["localhost", "127.0.0.1", "[::1]"].map(|name| format!("{name}:{port}")));
    }
    names
}

type Shared = State<Arc<Office>>;

/// Reads the archive on a thread that may wait, and makes the page.
async fn made<T: Send + 'static>(
    office: Arc<Office>,
    make: impl FnOnce(&Office) -> Result<T, Error> + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(move || make(&office))
        .await
        .map_err(|error| Refusal(StatusCode::INTERNAL_SERVER_ERROR, error.to_string()))?
        .map_err(Refusal::from)
}

/// Why there is no page.
struct Refusal(StatusCode, String);

impl From<Error> for Refusal {
    fn from(error: Error) -> Self {
        let status = match &error {
            Error::NoSuchVisit { .. } | Error::Archive(ArchiveError::NoSuchSite(_)) => {
                StatusCode::NOT_FOUND
            }
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self(status, error.to_string())
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let language: &dyn Language = &crate::texts::English;
        let page = pages::shell(
            language,
            language.office().name,
            &html! { p class="caution" { (self.1) } },
        );
        (self.0, Html(page.into_string())).into_response()
    }
}

async fn not_found(State(office): Shared) -> Response {
    let words = office.language.office();
    let page = pages::shell(
        office.language,
        words.name,
        &html! { p { (words.not_found) } },
    );
    (StatusCode::NOT_FOUND, shown(page)).into_response()
}

fn shown(page: Markup) -> Html<String> {
    Html(page.into_string())
}
