//! Pulling a tester from the office's pages: the virtual tester on a pseudo-terminal, asked for by
//! the form that the page shows. What the page may not open, and what it says when a pull fails.
#![cfg(unix)]

use std::path::Path;
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use slotwise::archive::{Archive as _, SqliteArchive};
use slotwise::bench::{LineWish, Pace, VirtualTester};
use slotwise::serve::{Job, Office, router};
use slotwise::texts::English;
use slotwise_core::limits::BandSet;
use slotwise_virtual::house::find;
use tower::ServiceExt as _;

const HOST: &str = "127.0.0.1:8017";

fn office(db: &Path, ports: &[&str]) -> Office {
    drop(SqliteArchive::open_or_make(db).unwrap());
    Office {
        archive: db.to_owned(),
        band: BandSet::default(),
        prepared_by: String::new(),
        ports: ports.iter().map(|&port| port.to_owned()).collect(),
        job: Job::default(),
        hosts: vec![HOST.to_owned()],
        language: &English,
    }
}

/// Status, whether the page loads itself again, text.
async fn ask(office: &Office, form: Option<&str>) -> (StatusCode, bool, String) {
    let request = Request::builder().uri("/pull").header(header::HOST, HOST);
    let request = match form {
        None => request.body(Body::empty()),
        Some(form) => request
            .method("POST")
            .header(header::ORIGIN, format!("http://{HOST}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.to_owned())),
    };
    let response = router(office.clone())
        .oneshot(request.unwrap())
        .await
        .unwrap();
    let (status, again) = (
        response.status(),
        response.headers().contains_key("refresh"),
    );
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    (status, again, String::from_utf8(bytes.to_vec()).unwrap())
}

/// The page when the pull has ended.
async fn ended(office: &Office) -> String {
    let deadline = Instant::now() + Duration::from_secs(120);
    loop {
        let (status, again, text) = ask(office, None).await;
        assert_eq!(status, StatusCode::OK);
        if !again {
            return text;
        }
        assert!(text.contains("<progress"), "{text}");
        assert!(Instant::now() < deadline, "{text}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

fn of(port: &str) -> String {
    format!("port={}", port.replace('/', "%2F"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tester_is_pulled_from_the_page_and_a_second_time_adds_nothing() {
    let receptacle = &find("reversed-polarity").expect("in the bank").receptacle;
    let tester = VirtualTester::start(receptacle, Pace(1000), LineWish::Best).expect("starts");
    let port = tester.port().expect("a pseudo-terminal").to_owned();
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    let office = office(&db, &[&port]);
    let (_, again, text) = ask(&office, None).await;
    assert!(!again && text.contains(&format!("<option value=\"{port}\">")));

    let (status, ..) = ask(&office, Some(&of(&port))).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let text = ended(&office).await;
    assert!(text.contains("records came in"), "{text}");
    let there = SqliteArchive::open(&db).unwrap().counts().unwrap().records;
    assert!(there > 0);

    ask(&office, Some(&of(&port))).await;
    ended(&office).await;
    let counts = SqliteArchive::open(&db).unwrap().counts().unwrap();
    // The tester may have written another record meanwhile; none is there twice.
    assert!(counts.records >= there && counts.conflicts == 0);
    tester.stop().expect("ran to the end");
}

#[tokio::test(flavor = "multi_thread")]
async fn only_ports_that_are_offered_are_opened_and_a_failed_pull_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    // The one that is offered is gone when it is asked for.
    let gone = folder.path().join("<b>tester</b>");
    let gone = gone.to_str().unwrap();
    let office = office(&db, &[gone]);
    for port in ["/etc/passwd", "/dev/null", "", "../o.db"] {
        let (status, _, text) = ask(&office, Some(&of(port))).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{port}");
        assert!(text.contains("No tester is at that port"), "{text}");
    }
    let form = format!(
        "port={}",
        gone.replace('/', "%2F")
            .replace('<', "%3C")
            .replace('>', "%3E")
    );
    let (status, ..) = ask(&office, Some(&form)).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let text = ended(&office).await;
    assert!(
        text.contains("The pull ended early") && text.contains("not there"),
        "{text}"
    );
    assert!(!text.contains("<b>tester"), "{text}");
    assert_eq!(
        SqliteArchive::open(&db).unwrap().counts().unwrap().records,
        0
    );
}
