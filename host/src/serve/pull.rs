//! Pulling a plugged-in tester from the page: one pull at a time, its progress on a page that
//! loads itself again.
//!
//! Only ports where a tester can be are asked: those that the system says are Slotwise testers,
//! and those named on the command line. A request cannot make this program open anything else.
//! The pull goes on when the page is closed.

use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Form, State};
use axum::http::HeaderName;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::{Office, Refusal, Shared, pages};
use crate::archive;
use crate::client::Client;
use crate::commands::now;
use crate::error::Error;
use crate::port;
use crate::pulling::{Progress, pull_into};

/// The page that shows a running pull asks for itself after so many seconds.
const AGAIN: &str = "1";

/// The pull of this office, and how the one before ended.
#[derive(Clone, Debug, Default)]
pub struct Job(Arc<Mutex<Stage>>);

#[derive(Clone, Debug, Default, PartialEq, Eq)]
enum Stage {
    #[default]
    Idle,
    Running(Progress),
    Done {
        records: u32,
        added: u64,
        /// Records that are not as they should be.
        wrong: usize,
    },
    Failed(String),
}

impl Job {
    fn stage(&self) -> Stage {
        self.lock().clone()
    }

    fn set(&self, stage: Stage) {
        *self.lock() = stage;
    }

    /// Whether the pull is this request's to run.
    fn begin(&self) -> bool {
        let mut stage = self.lock();
        let is_free = !matches!(*stage, Stage::Running(_));
        if is_free {
            *stage = Stage::Running(Progress::default());
        }
        is_free
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Stage> {
        // A stage is put whole: what a thread left that panicked is one.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What the form sends.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Asked {
    port: String,
}

pub(super) async fn page(State(office): Shared) -> Response {
    let stage = office.job.stage();
    let words = office.language.office();
    let content = content(&office, &stage, &ports(&office));
    let page = Html(pages::shell(office.language, words.pull, &content).into_string());
    if matches!(stage, Stage::Running(_)) {
        let refresh = HeaderName::from_static("refresh");
        return ([(refresh, AGAIN)], page).into_response();
    }
    page.into_response()
}

/// Begins a pull, if none runs and the port is one of those offered.
pub(super) async fn begin(
    State(office): Shared,
    Form(asked): Form<Asked>,
) -> Result<Response, Refusal> {
    if !ports(&office).contains(&asked.port) {
        let why = office.language.office().no_such_port;
        return Err(Refusal(axum::http::StatusCode::BAD_REQUEST, why.to_owned()));
    }
    if office.job.begin() {
        let running = Arc::clone(&office);
        tokio::task::spawn_blocking(move || {
            let job = running.job.clone();
            let ended = run(&running, &asked.port);
            job.set(ended.unwrap_or_else(|error| Stage::Failed(error.to_string())));
        });
    }
    // Elsewhere, so that loading again sends nothing again.
    Ok(Redirect::to("/pull").into_response())
}

fn run(office: &Office, port: &str) -> Result<Stage, Error> {
    let mut archive = archive::open(&office.archive)?;
    let mut client = Client::new(Box::new(port::open(port)?));
    let mut last = Progress::default();
    let job = office.job.clone();
    let arrived = pull_into(
        &mut client,
        archive.as_mut(),
        port,
        None,
        now(),
        &mut |progress| {
            last = progress;
            job.set(Stage::Running(progress));
        },
    )?;
    arrived.ended?;
    Ok(Stage::Done {
        records: last.done,
        added: arrived.imported.added,
        wrong: arrived.imported.conflicts.len()
            + arrived.imported.faults.len()
            + arrived.unreadable.len(),
    })
}

/// Where a tester may be: by name.
fn ports(office: &Office) -> Vec<String> {
    let mut ports = port::testers();
    for named in &office.ports {
        if !ports.contains(named) {
            ports.push(named.clone());
        }
    }
    ports
}

fn content(office: &Office, stage: &Stage, ports: &[String]) -> Markup {
    let words = office.language.office();
    html! {
        div aria-live="polite" {
            @match stage {
                Stage::Idle => {}
                Stage::Running(Progress { done, of }) => {
                    p {
                        (words.running
                            .replace("{done}", &done.to_string())
                            .replace("{of}", &of.to_string()))
                    }
                    progress max=(of.max(&1)) value=(done) { (done) " / " (of) }
                }
                Stage::Done { records, added, wrong } => {
                    p {
                        (words.done
                            .replace("{records}", &records.to_string())
                            .replace("{added}", &added.to_string()))
                        " " a href="/" { (words.sites) }
                    }
                    @if *wrong > 0 {
                        p class="caution" { (words.wrong.replace("{wrong}", &wrong.to_string())) }
                    }
                },
                Stage::Failed(why) => p class="caution" { (words.failed.replace("{why}", why)) },
            }
        }
        @if !matches!(stage, Stage::Running(_)) {
            @if ports.is_empty() { p { (words.no_port) } } @else {
                form action="/pull" method="post" {
                    label {
                        (words.port)
                        select name="port" { @for port in ports { option value=(port) { (port) } } }
                    }
                    button type="submit" { (words.begin) }
                }
                p class="soft" { (words.pull_note) }
            }
        }
    }
}
