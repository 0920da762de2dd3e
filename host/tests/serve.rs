//! The office's pages: what they show, how much a page costs, and who is kept out.

mod support;

use std::path::Path;

use axum::body::Body as WebBody;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use slotwise::archive::{Archive, Batch, SqliteArchive};
use slotwise::log_file::KeptRecord;
use slotwise::serve::{Job, Office, router};
use slotwise::texts::English;
use slotwise_core::calibration::Calibration;
use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::raw::NOMINAL;
use slotwise_core::evidence::Measured;
use slotwise_core::limits::BandSet;
use slotwise_core::record::{Body, Digest, Record, RecordNumber, TesterId, Version};
use slotwise_core::units::{Millis, Ohms, UnixSeconds};
use support::{Invented, OPEN_GROUND, REVERSED, SOUND, bytes_of};
use tower::ServiceExt as _;

const HOST: &str = "127.0.0.1:8017";
const NOON: u64 = 1_772_460_000;
const YEAR: u64 = 31_557_600;

fn office(db: &Path) -> Office {
    Office {
        archive: db.to_owned(),
        band: BandSet::default(),
        prepared_by: "Tern & Fell Heating".to_owned(),
        ports: Vec::new(),
        job: Job::default(),
        hosts: vec![HOST.to_owned()],
        language: &English,
    }
}

/// Takes these records of a tester in, each with its clock.
fn take_in(archive: &mut SqliteArchive, tester: TesterId, bodies: Vec<(u64, Body)>) {
    let mut previous = Digest::default();
    let mut records = Vec::new();
    for (number, (clock, body)) in (1..).zip(bodies) {
        let number = RecordNumber::new(number);
        let bytes = bytes_of(&Record {
            number,
            previous,
            tester,
            firmware: Version {
                major: 0,
                minor: 1,
                patch: 0,
            },
            boot: number.get(),
            at: Millis::new(4000),
            clock: Some(UnixSeconds::new(clock)),
            body,
        });
        previous = slotwise::chain::digest(&bytes);
        records.push(KeptRecord {
            number,
            bytes,
            at_byte: 0,
        });
    }
    archive
        .import(&Batch {
            source: "test".to_owned(),
            tester,
            records,
            damages: 0,
            at: UnixSeconds::new(NOON),
        })
        .unwrap();
}

/// A site with these tests, each at its clock, with this earth path.
fn add(archive: &mut SqliteArchive, site: &str, tester: u64, tests: &[(Invented, u64, f32)]) {
    let tester = TesterId(tester);
    let last = RecordNumber::new(u32::try_from(tests.len()).unwrap());
    let bodies = tests.iter().map(|(invented, clock, ohms)| {
        let mut test = invented.test();
        test.evidence.earth_path = Measured::known(Ohms::new(*ohms), Ohms::new(0.05));
        (*clock, Body::Test(test))
    });
    take_in(archive, tester, bodies.collect());
    let site = archive.site(site).unwrap();
    let furnace = archive.appliance(site, "furnace").unwrap();
    archive
        .place(tester, RecordNumber::FIRST, last, site, Some(furnace))
        .unwrap();
}

fn terrace(db: &Path) {
    let mut archive = SqliteArchive::open_or_make(db).unwrap();
    let sound = [
        (SOUND, NOON - 2 * YEAR, 0.3),
        (SOUND, NOON - YEAR, 0.4),
        (SOUND, NOON, 0.7),
    ];
    add(&mut archive, "Larkfield Terrace 1", 1, &sound);
    add(
        &mut archive,
        "Larkfield Terrace 3",
        2,
        &[(OPEN_GROUND, NOON, 0.3)],
    );
    add(
        &mut archive,
        "Larkfield Terrace 5",
        3,
        &[(REVERSED, NOON - YEAR, 0.3)],
    );
}

struct Answer {
    status: StatusCode,
    policy: String,
    kind: String,
    bytes: Vec<u8>,
}

impl Answer {
    fn text(&self) -> String {
        String::from_utf8(self.bytes.clone()).unwrap()
    }
}

#[tokio::main(flavor = "current_thread")]
async fn send(db: &Path, request: Request<WebBody>) -> Answer {
    let response = router(office(db)).oneshot(request).await.unwrap();
    let of = |name: header::HeaderName| {
        response
            .headers()
            .get(name)
            .map(|value| value.to_str().unwrap().to_owned())
            .unwrap_or_default()
    };
    let (policy, kind) = (
        of(header::CONTENT_SECURITY_POLICY),
        of(header::CONTENT_TYPE),
    );
    Answer {
        status: response.status(),
        policy,
        kind,
        bytes: response
            .into_body()
            .collect()
            .await
            .unwrap()
            .to_bytes()
            .to_vec(),
    }
}

fn get(db: &Path, address: &str) -> Answer {
    let request = Request::get(address)
        .header(header::HOST, HOST)
        .body(WebBody::empty())
        .unwrap();
    send(db, request)
}

#[test]
fn sites_are_listed_searched_and_filtered() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    terrace(&db);
    let listed = |address: &str| -> Vec<u32> {
        let page = get(&db, address);
        assert_eq!(page.status, StatusCode::OK);
        let text = page.text();
        [1, 3, 5]
            .into_iter()
            .filter(|number| text.contains(&format!(">Larkfield Terrace {number}</a>")))
            .collect()
    };
    assert_eq!(listed("/"), [1, 3, 5]);
    assert_eq!(listed("/?search=terrace%203"), [3]);
    assert_eq!(
        listed("/?search=%25"),
        [0; 0],
        "a sign of patterns is itself"
    );
    assert_eq!(listed("/?failing=1"), [3, 5]);
    // 2026 and 2025.
    assert_eq!(listed("/?failing=1&year=2026"), [3]);
    assert_eq!(listed("/?year=2025"), [1, 5]);
    assert_eq!(listed("/?year=soon"), [1, 3, 5]);
    assert_eq!(listed("/?page=1"), [0; 0]);
}

#[test]
fn many_sites_come_a_page_at_a_time_and_none_twice() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    let mut archive = SqliteArchive::open_or_make(&db).unwrap();
    for number in 0..120 {
        archive.site(&format!("House {number:03}")).unwrap();
    }
    drop(archive);
    let mut seen = Vec::new();
    for page in 0..3 {
        let text = get(&db, &format!("/?page={page}")).text();
        let names = text
            .split(">House ")
            .skip(1)
            .map(|rest| rest[..3].to_owned());
        seen.extend(names);
        assert_eq!(text.contains("rel=\"next\""), page < 2);
        assert_eq!(text.contains("rel=\"prev\""), page > 0);
    }
    let expected: Vec<String> = (0..120).map(|number| format!("{number:03}")).collect();
    assert_eq!(seen, expected);
}

#[test]
fn a_site_shows_visits_and_a_trend_and_a_visit_its_report() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    terrace(&db);
    let text = get(&db, "/site?name=Larkfield%20Terrace%201").text();
    assert!(text.contains("furnace, earth path: 3 values from 2024-03-02 to 2026-03-02"));
    assert!(text.contains("0.70 ± 0.10 ohm") && text.contains("number=3"));
    let text = get(&db, "/visit?site=Larkfield%20Terrace%203&number=1").text();
    assert!(text.contains("Open ground") && text.contains("Tern &amp; Fell Heating"));
    assert!(text.contains("Where every number is from"));
    let paper = get(&db, "/visit.pdf?site=Larkfield%20Terrace%203&number=1");
    assert_eq!(paper.kind, "application/pdf");
    assert!(paper.bytes.starts_with(b"%PDF-"));
    for (address, status) in [
        (
            "/visit?site=Larkfield%20Terrace%203&number=9",
            StatusCode::NOT_FOUND,
        ),
        (
            "/visit?site=Larkfield%20Terrace%203&number=0",
            StatusCode::NOT_FOUND,
        ),
        ("/site?name=Nowhere", StatusCode::NOT_FOUND),
        ("/nothing", StatusCode::NOT_FOUND),
        ("/site", StatusCode::BAD_REQUEST),
    ] {
        assert_eq!(get(&db, address).status, status, "{address}");
    }
}

#[test]
fn testers_are_listed_with_their_calibration_and_visits_name_it() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    let mut archive = SqliteArchive::open_or_make(&db).unwrap();
    let done = |at: u64| Calibration {
        done: UnixSeconds::new(at),
        ..NOMINAL
    };
    let calibrated = |at: u64, before: Option<Calibration>| {
        let mut now = done(at);
        now.channels[2].gain = 1.002;
        (at, Body::Calibrated(CalibrationEvent { now, before }))
    };
    // Long ago, so that the day of this run changes nothing.
    let first = NOON - 5 * YEAR;
    let bodies = vec![
        calibrated(first, None),
        (first + 60, Body::Test(SOUND.test())),
        calibrated(first + 120, Some(done(first))),
        (first + 180, Body::Test(SOUND.test())),
    ];
    take_in(&mut archive, TesterId(0x51), bodies);
    let site = archive.site("Larkfield Terrace 1").unwrap();
    archive
        .place(
            TesterId(0x51),
            RecordNumber::FIRST,
            RecordNumber::new(4),
            site,
            None,
        )
        .unwrap();
    add(
        &mut archive,
        "Larkfield Terrace 3",
        0x52,
        &[(SOUND, NOON, 0.3)],
    );
    drop(archive);
    let list = get(&db, "/testers").text();
    let rows: Vec<&str> = list.split("<tr>").skip(2).collect();
    assert_eq!(rows.len(), 2);
    assert!(rows[0].contains("0000000000000051"), "{}", rows[0]);
    assert!(rows[0].contains("2021-03-02") && rows[0].contains("2022-03-02"));
    assert!(rows[0].contains("+0.200 %") && rows[0].contains("OUT OF DATE"));
    assert!(rows[1].contains("not known here") && !rows[1].contains('%'));
    // Both tests of the visit name what they were measured under.
    let visit = get(&db, "/visit?site=Larkfield%20Terrace%201&number=1").text();
    assert!(visit.contains("(record 1), good until") && visit.contains("(record 3), good until"));
    let visit = get(&db, "/visit?site=Larkfield%20Terrace%203&number=1").text();
    assert!(visit.contains("no record of the archive tells its day"));
}

#[test]
fn hostile_names_do_nothing_on_any_page() {
    let folder = tempfile::tempdir().unwrap();
    let hostile = [
        "<script>alert('1')</script><img src=x onerror=alert(1)>",
        "\"><svg onload=alert(1)>",
        "'; DROP TABLE site; --",
        "a&b=c#d%00 +?/../",
        "Łąkowa 7 \u{202e}工房 🔥",
    ];
    for (number, name) in hostile.into_iter().enumerate() {
        let db = folder.path().join(format!("{number}.db"));
        let mut archive = SqliteArchive::open_or_make(&db).unwrap();
        add(&mut archive, name, 7, &[(SOUND, NOON, 0.3)]);
        drop(archive);
        let list = get(&db, "/").text();
        // The page's own link leads to the site, whatever its name.
        let link = list
            .split("href=\"")
            .map(|rest| rest.split('"').next().unwrap())
            .find(|link| link.starts_with("/site?"))
            .unwrap()
            .replace("&amp;", "&");
        let site = get(&db, &link);
        assert_eq!(site.status, StatusCode::OK, "{name:?}");
        let visit = link.replace("/site?name=", "/visit?site=") + "&number=1";
        let visit = get(&db, &visit);
        assert_eq!(visit.status, StatusCode::OK, "{name:?}");
        let search = get(&db, &link.replace("/site?name=", "/?search="));
        assert!(search.text().contains("/site?name="), "{name:?}");
        for page in [&list, &site.text(), &visit.text(), &search.text()] {
            for tag in ["<script", "<img", "<svg onload"] {
                assert!(!page.contains(tag), "{name:?}");
            }
            assert!(
                !page.contains("http://") && !page.contains("https://"),
                "{name:?}"
            );
        }
    }
}

#[test]
fn strangers_are_refused_and_every_answer_forbids_scripts() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    terrace(&db);
    let from = |host: Option<&str>| {
        let mut request = Request::get("/");
        if let Some(host) = host {
            request = request.header(header::HOST, host);
        }
        send(&db, request.body(WebBody::empty()).unwrap())
    };
    for host in [
        None,
        Some("elsewhere.invalid"),
        Some("elsewhere.invalid:8017"),
        Some("127.0.0.1"),
    ] {
        let answer = from(host);
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{host:?}");
        assert!(!answer.text().contains("Larkfield"), "{host:?}");
    }
    assert_eq!(from(Some(HOST)).status, StatusCode::OK);
    for address in ["/", "/nothing", "/site?name=Nowhere"] {
        let policy = get(&db, address).policy;
        assert!(
            policy.starts_with("default-src 'none'") && !policy.contains("script"),
            "{address}"
        );
    }
    // A form of another site, and one without a sender.
    for origin in [Some("http://elsewhere.invalid"), Some("null"), None] {
        let mut request = Request::post("/").header(header::HOST, HOST);
        if let Some(origin) = origin {
            request = request.header(header::ORIGIN, origin);
        }
        let answer = send(&db, request.body(WebBody::empty()).unwrap());
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{origin:?}");
    }
}
