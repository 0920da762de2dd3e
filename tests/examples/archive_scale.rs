//! The archive at the size of a large fleet, beside plain sqlite3 and DuckDB doing the same on the
//! same data in the same run.
//!
//! ```sh
//! cargo run --release -p slotwise-tests --example archive_scale -- --tests 10000,100000,1000000
//! ```
//!
//! Makes the log files of an invented fleet (`slotwise_tests::fleet`), imports them as `slotwise archive
//! import` does, says where every test was made, and measures. Each step runs in a process of its own, so
//! that its greatest memory is its own. Needs a Python with duckdb (`SLOTWISE_PYTHON`) for the
//! comparison, and about 5 kB of disk a test.

use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use axum::body::Body;
use axum::http::Request;
use http_body_util::BodyExt as _;
use serde_json::{Value, json};
use slotwise::archive::{Archive as _, SitesWanted, SqliteArchive, Wanted, batch_of};
use slotwise::export::{Form, export, export_parquet};
use slotwise::log_file;
use slotwise::serve::{Job, Office, router};
use slotwise::texts::English;
use slotwise_core::limits::BandSet;
use slotwise_core::units::UnixSeconds;
use slotwise_tests::fleet::{Fleet, SITES};
use slotwise_tests::outside::{python_with, root};
use tower::ServiceExt as _;

const SEED: u64 = 7;

/// Sites that are opened, and pages that are asked for.
const OPENED: usize = 200;

const HOST: &str = "127.0.0.1:8017";

/// 2025, UTC.
const YEAR: [UnixSeconds; 2] = [
    UnixSeconds::new(1_735_689_600),
    UnixSeconds::new(1_767_225_600),
];

/// The steps, in order.
const STEPS: [&str; 6] = ["make", "import", "place", "ask", "parquet", "csv"];

type Done = Result<Value, Box<dyn Error>>;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let of = |name: &str| {
        let place = arguments.iter().position(|argument| argument == name)?;
        arguments.get(place + 1).map(String::as_str)
    };
    let folder =
        of("--folder").map_or_else(|| std::env::temp_dir().join("archive-scale"), PathBuf::from);
    let mut sizes = Vec::new();
    for size in of("--tests").unwrap_or("10000,100000").split(',') {
        sizes.push(size.parse::<u64>()?);
    }
    if let (Some(step), [tests]) = (of("--step"), &*sizes) {
        println!("{}", run(step, &folder, *tests)?);
        return Ok(());
    }
    let mut columns = Vec::new();
    for tests in sizes {
        let within = folder.join(tests.to_string());
        // What an earlier run left would be imported a second time.
        let _ = fs::remove_dir_all(&within);
        fs::create_dir_all(within.join("logs"))?;
        columns.push((tests, measure(&within, tests)?));
        fs::remove_dir_all(&within)?;
    }
    print(&columns);
    Ok(())
}

/// One size: every step in a process of its own, then the others.
fn measure(folder: &Path, tests: u64) -> Result<BTreeMap<String, Value>, Box<dyn Error>> {
    let mut found = BTreeMap::new();
    for step in STEPS {
        let output = Command::new(std::env::current_exe()?)
            .args(["--step", step, "--tests", &tests.to_string(), "--folder"])
            .arg(folder)
            .output()?;
        if !output.status.success() {
            return Err(String::from_utf8_lossy(&output.stderr).into());
        }
        let value: Value = serde_json::from_slice(&output.stdout)?;
        eprintln!("{tests} tests, {step}: {value}");
        found.insert(step.to_owned(), value);
    }
    match python_with("duckdb") {
        None => eprintln!("no Python with duckdb: nothing to compare with"),
        Some(python) => {
            let output = Command::new(python)
                .arg(root().join("tests/oracle/archive_scale.py"))
                .arg(folder)
                .output()?;
            if !output.status.success() {
                return Err(String::from_utf8_lossy(&output.stderr).into());
            }
            let value: Value = serde_json::from_slice(&output.stdout)?;
            eprintln!("{tests} tests, others: {value}");
            let failing = &found["ask"]["failing"];
            if value["failing"] != *failing {
                return Err(format!(
                    "{failing} failing sites, the others say {}",
                    value["failing"]
                )
                .into());
            }
            found.insert("others".to_owned(), value);
        }
    }
    Ok(found)
}

fn run(step: &str, folder: &Path, tests: u64) -> Done {
    let began = Instant::now();
    let mut value = match step {
        "make" => make(folder, tests)?,
        "import" => import(folder)?,
        "place" => place(folder, tests)?,
        "ask" => ask(folder)?,
        "parquet" => {
            let archive = SqliteArchive::open(&folder.join("office.db"))?;
            let exported =
                export_parquet(&archive, &folder.join("tree"), "Tern & Fell", &mut |_| {})?;
            json!({"tests": exported.tests, "files": exported.files, "bytes": size_of(&folder.join("tree"))?})
        }
        "csv" => {
            let archive = SqliteArchive::open(&folder.join("office.db"))?;
            let file = std::io::BufWriter::new(fs::File::create(folder.join("tests.csv"))?);
            json!({"tests": export(&archive, &Wanted::default(), Form::Csv, file)?})
        }
        other => return Err(format!("no step {other}").into()),
    };
    value["seconds"] = json!(began.elapsed().as_secs_f64());
    value["peak_mb"] = json!(peak_memory());
    Ok(value)
}

fn fleet(tests: u64) -> Fleet {
    Fleet {
        seed: SEED,
        tests,
        sites: SITES,
    }
}

/// Every tester's log file; on two threads.
fn make(folder: &Path, tests: u64) -> Done {
    let fleet = fleet(tests);
    let bytes = std::thread::scope(|scope| {
        let hands = [0, 1].map(|hand| {
            scope.spawn(move || {
                let mut bytes = 0;
                for tester in (hand..fleet.testers()).step_by(2) {
                    let log = fleet.log(tester);
                    bytes += log.bytes.len();
                    fs::write(folder.join(format!("logs/{tester:06}.slotlog")), log.bytes)?;
                }
                Ok::<usize, std::io::Error>(bytes)
            })
        });
        let mut all = 0;
        for hand in hands {
            all += hand.join().map_err(|_| "a thread ended in a panic")??;
        }
        Ok::<usize, Box<dyn Error>>(all)
    })?;
    Ok(json!({"testers": fleet.testers(), "bytes": bytes}))
}

fn import(folder: &Path) -> Done {
    let mut archive = SqliteArchive::open_or_make(&folder.join("office.db"))?;
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in fs::read_dir(folder.join("logs"))? {
        files.push(entry?.path());
    }
    files.sort();
    let mut added = 0;
    for file in &files {
        let log = log_file::read(file)?;
        let batch = batch_of(&file.display().to_string(), log, YEAR[1])?;
        let imported = archive.import(&batch)?;
        if !imported.faults.is_empty() {
            return Err(format!("{}: {:?}", file.display(), imported.faults).into());
        }
        added += imported.added;
    }
    Ok(json!({"records": added}))
}

fn place(folder: &Path, tests: u64) -> Done {
    let mut archive = SqliteArchive::open(&folder.join("office.db"))?;
    let fleet = fleet(tests);
    let mut spent = 0.0;
    for tester in 0..fleet.testers() {
        let log = fleet.log(tester);
        let began = Instant::now();
        log.place(&mut archive)?;
        spent += began.elapsed().as_secs_f64();
    }
    let counts = archive.counts()?;
    drop(archive);
    let bytes = size_of(&folder.join("office.db"))?;
    Ok(json!({"placing": spent, "tests": counts.tests, "sites": counts.sites, "bytes": bytes}))
}

/// Opens sites, lists, asks for pages.
fn ask(folder: &Path) -> Done {
    let file = folder.join("office.db");
    let archive = SqliteArchive::open(&file)?;
    let all = archive.sites(&SitesWanted {
        most: u32::MAX - 1,
        ..SitesWanted::default()
    })?;
    let sites: Vec<&str> = (0..OPENED)
        .map(|n| &*all[n * 7919 % all.len()].name)
        .collect();
    fs::write(folder.join("sites.json"), serde_json::to_vec(&sites)?)?;
    let mut opened = Vec::new();
    for site in &sites {
        let wanted = Wanted {
            site: Some((*site).to_owned()),
            tester: None,
        };
        let mut rows = 0;
        opened.push(timed(|| {
            Ok(archive.each_test(&wanted, &mut |_| {
                rows += 1;
                Ok(())
            })?)
        })?);
        if rows == 0 {
            return Err(format!("no test at {site}").into());
        }
    }
    let failing = SitesWanted {
        failing: true,
        since: Some(YEAR[0]),
        before: Some(YEAR[1]),
        most: u32::MAX - 1,
        ..SitesWanted::default()
    };
    let mut found = 0;
    let failing_all = timed(|| {
        found = archive.sites(&failing)?.len();
        Ok(())
    })?;
    let pages = tokio::runtime::Runtime::new()?.block_on(pages(&file, &sites))?;
    Ok(json!({
        "site": median(opened), "failing": found, "failing_all": failing_all, "pages": pages,
    }))
}

/// Seconds of a page in the middle, by kind.
async fn pages(file: &Path, sites: &[&str]) -> Done {
    let pages = router(Office {
        archive: file.to_owned(),
        band: BandSet::default(),
        prepared_by: String::new(),
        ports: Vec::new(),
        job: Job::default(),
        hosts: vec![HOST.to_owned()],
        language: &English,
    });
    let mut seconds = BTreeMap::new();
    let names = sites.iter().take(50).map(|site| site.replace(' ', "%20"));
    let each: Vec<String> = names.map(|site| format!("/site?name={site}")).collect();
    let lists = |address: &str| vec![address.to_owned(); 20];
    for (kind, addresses) in [
        ("site", each),
        ("sites", lists("/")),
        ("failing of a year", lists("/?failing=1&year=2025")),
        ("failing of an empty year", lists("/?failing=1&year=1999")),
        ("search", lists("/?search=terrace%2012")),
        ("testers", lists("/testers")),
    ] {
        let mut spent = Vec::new();
        for address in addresses {
            let request = Request::get(&address)
                .header("Host", HOST)
                .body(Body::empty())?;
            let began = Instant::now();
            let answer = pages.clone().oneshot(request).await?;
            let status = answer.status();
            answer.into_body().collect().await?;
            spent.push(began.elapsed().as_secs_f64());
            if !status.is_success() {
                return Err(format!("{address}: {status}").into());
            }
        }
        seconds.insert(kind, median(spent));
    }
    Ok(json!(seconds))
}

fn timed(work: impl FnOnce() -> Result<(), Box<dyn Error>>) -> Result<f64, Box<dyn Error>> {
    let began = Instant::now();
    work()?;
    Ok(began.elapsed().as_secs_f64())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Bytes of a file, or of all below a folder.
fn size_of(path: &Path) -> std::io::Result<u64> {
    if !path.is_dir() {
        return Ok(fs::metadata(path)?.len());
    }
    let mut all = 0;
    for entry in fs::read_dir(path)? {
        all += size_of(&entry?.path())?;
    }
    Ok(all)
}

/// The most memory that this process had, in megabytes, where the system says it.
fn peak_memory() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kilobytes: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1024)
}

/// The table: a column a size.
fn print(columns: &[(u64, BTreeMap<String, Value>)]) {
    let number = |value: &Value| value.as_f64().unwrap_or(f64::NAN);
    let row = |name: &str, of: &dyn Fn(u64, &BTreeMap<String, Value>) -> String| {
        print!("| {name} |");
        for (tests, found) in columns {
            print!(" {} |", of(*tests, found));
        }
        println!();
    };
    let other = |found: &BTreeMap<String, Value>, name: &str| {
        found
            .get("others")
            .map_or(f64::NAN, |others| number(&others["seconds"][name]))
    };
    row("tests", &|tests, _| tests.to_string());
    row("import, tests a second", &|tests, found| {
        format!("{:.0}", tests as f64 / number(&found["import"]["seconds"]))
    });
    row("archive, bytes a test", &|tests, found| {
        format!("{:.0}", number(&found["place"]["bytes"]) / tests as f64)
    });
    row("Parquet, bytes a test", &|tests, found| {
        format!("{:.0}", number(&found["parquet"]["bytes"]) / tests as f64)
    });
    for (what, ours, theirs) in [
        ("import", ["import", "seconds"], "import"),
        ("open a site", ["ask", "site"], "site"),
        (
            "failing sites of a year, all",
            ["ask", "failing_all"],
            "failing",
        ),
        ("export to Parquet", ["parquet", "seconds"], "parquet"),
    ] {
        for engine in ["sqlite", "duckdb"] {
            row(&format!("{what}, times {engine}"), &|_, found| {
                let ours = number(&found[ours[0]][ours[1]]);
                format!("{:.2}", ours / other(found, &format!("{engine}_{theirs}")))
            });
        }
    }
    for kind in [
        "site",
        "sites",
        "failing of a year",
        "failing of an empty year",
        "search",
        "testers",
    ] {
        row(&format!("page, {kind}, ms"), &|_, found| {
            format!("{:.2}", 1e3 * number(&found["ask"]["pages"][kind]))
        });
    }
    for step in ["import", "ask", "parquet", "csv"] {
        row(&format!("most memory, {step}, MB"), &|_, found| {
            format!("{:.0}", number(&found[step]["peak_mb"]))
        });
    }
}
