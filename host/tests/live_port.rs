//! `live` end to end over pseudo-terminals: the virtual tester behind one, and for the full
//! screen the program itself in another.
#![cfg(unix)]

mod support;

use std::fs::{self, OpenOptions};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::os::unix::fs::symlink;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

use assert_cmd::cargo::CommandCargoExt as _;
use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use serialport::{SerialPort as _, TTYPort};
use slotwise::bench::{LineWish, Pace, VirtualTester, terrace};
use slotwise::client::Client;
use slotwise::error::Error;
use slotwise::live::{Feed, Line, Live, screen};
use slotwise::texts::English;
use slotwise::transport::MemoryLine;
use slotwise_core::link::{Refusal, Reply, Request};
use support::live::look_of;
use support::{OPEN_GROUND, REVERSED_AND_JOINED, SOUND, answer, frame, hello, slotwise};

fn program() -> Command {
    let mut command = Command::cargo_bin("slotwise").unwrap();
    command.env_remove("NO_COLOR").env("TERM", "xterm");
    command
}

/// A running bench, and its port.
struct Bench(Child, String);

impl Bench {
    fn at(receptacle: &str) -> Self {
        let mut child = program()
            .args(["bench", "--receptacle", receptacle, "--seconds", "120"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        Self(child, line.trim().to_owned())
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn json_lines(text: &[u8]) -> Vec<serde_json::Value> {
    String::from_utf8(text.to_vec())
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).expect(line))
        .collect()
}

#[test]
fn the_virtual_tester_is_seen_as_json_lines() {
    let bench = Bench::at("1");
    let ran = slotwise()
        .args(["live", "--port", &bench.1, "--for", "5s"])
        .assert()
        .code(0);
    let output = ran.get_output();
    assert!(!output.stdout.contains(&0x1B));
    let lines = json_lines(&output.stdout);
    assert_eq!(lines[0]["event"], "found");
    assert_eq!(lines[0]["port"], bench.1.as_str());
    let looks: Vec<_> = lines
        .iter()
        .filter(|line| line["event"] == "look")
        .collect();
    assert!(looks.len() > 5, "{} looks", looks.len());
    let last = looks[looks.len() - 1];
    assert_eq!(last["answer"]["finding"]["code"], "reads-sound");
    assert!(last["windows"].as_u64() > looks[0]["windows"].as_u64());
    let volts = last["narrow_wide"]["value"].as_f64().unwrap();
    assert!((volts - 120.0).abs() < 6.0, "{volts}");
    assert!(last["narrow_wide"]["u"].as_f64().unwrap() > 0.0);
}

#[test]
fn a_watch_begins_when_the_test_is_over_and_counts_the_steps_of_the_load() {
    let named = terrace::named("sound-with-load").unwrap();
    let stop = terrace::Stop::from(named);
    let tester = VirtualTester::start(&stop.receptacle, Pace(10), LineWish::Best).unwrap();
    let mut child = program()
        .args(["live", "--json", "--watch", "--clip", "frame", "--port"])
        .arg(tester.port().unwrap())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let until = Instant::now() + Duration::from_secs(600);
    let mut phases = Vec::new();
    let mut begun = false;
    for line in lines {
        assert!(Instant::now() < until, "no steps after {phases:?}");
        let line: serde_json::Value = serde_json::from_str(&line.unwrap()).unwrap();
        begun |= line["event"] == "done" && line["ask"] == "start_watch";
        let Some(phase) = line["phase"].as_str() else {
            continue;
        };
        if phases.last().is_none_or(|last| last != phase) {
            phases.push(phase.to_owned());
        }
        // A watch is only seen once it was begun, and it knows what the clip is on.
        if line["watch"].is_null() {
            assert_ne!(phase, "load-cycle");
            continue;
        }
        assert_eq!(line["clip"], "appliance-frame");
        if line["watch"]["steps"].as_u64() >= Some(2) {
            break;
        }
    }
    let _ = child.kill();
    let _ = child.wait();
    assert!(begun, "{phases:?}");
    assert_eq!(phases.last().map(String::as_str), Some("load-cycle"));
    tester.stop().unwrap();
}

/// A tester on a pseudo-terminal that answers until it has given `looks` looks. The port is
/// gone then.
fn scripted(looks: u32, invented: support::Invented) -> String {
    let (mut master, port) = TTYPort::pair().unwrap();
    master.set_timeout(Duration::from_millis(50)).unwrap();
    let name = port.name().unwrap();
    thread::spawn(move || {
        let _port = port;
        let mut given = 0;
        answer(master, move |asked| {
            let reply = match asked.request {
                Request::Hello { .. } => Reply::Hello(hello(&[])),
                Request::Look => {
                    assert!(given < looks, "the cable is pulled");
                    given += 1;
                    Reply::Look(look_of(&invented, given))
                }
                _ => Reply::Refused(Refusal::Busy),
            };
            frame(asked.sequence, reply)
        });
    });
    name
}

#[test]
fn a_cable_that_is_pulled_is_said_waited_for_and_ends_with_the_code_of_the_link() {
    let began = Instant::now();
    let port = scripted(3, SOUND);
    let ran = slotwise()
        .args(["live", "--json", "--port", &port])
        .timeout(Duration::from_secs(600))
        .assert()
        .code(4)
        .stderr(contains("did not come back within 20.0 s").and(contains("check the cable")));
    let lines = json_lines(&ran.get_output().stdout);
    let events: Vec<_> = lines.iter().map(|line| line["event"].clone()).collect();
    assert_eq!(events, ["found", "look", "look", "look", "lost"]);
    assert!(began.elapsed() >= Duration::from_secs(20));
}

#[test]
fn a_tester_that_is_plugged_in_again_is_seen_again() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("tester");
    symlink(scripted(2, SOUND), &name).unwrap();
    let mut child = program()
        .args(["live", "--json", "--port"])
        .arg(&name)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut events = Vec::new();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let line: serde_json::Value = serde_json::from_str(&line.unwrap()).unwrap();
        events.push(line["event"].as_str().unwrap().to_owned());
        if line["event"] == "lost" {
            fs::remove_file(&name).unwrap();
            symlink(scripted(u32::MAX, OPEN_GROUND), &name).unwrap();
        }
        if line["answer"]["finding"]["code"] == "open-ground" {
            break;
        }
    }
    let _ = child.kill();
    let _ = child.wait();
    assert_eq!(events, ["found", "look", "look", "lost", "found", "look"]);
}

#[test]
fn a_danger_outranks_the_lost_tester() {
    let port = scripted(2, REVERSED_AND_JOINED);
    slotwise()
        .args(["live", "--json", "--port", &port, "--for", "2s"])
        .assert()
        .code(11);
}

#[test]
fn a_port_without_a_tester_ends_before_the_screen_is_taken() {
    slotwise()
        .args(["live", "--port", "/dev/no-such-port"])
        .assert()
        .code(3)
        .stdout("")
        .stderr(contains("check the cable"));
    slotwise()
        .args(["live", "--for", "soon"])
        .assert()
        .code(2)
        .stderr(contains("30s, 5m or 1h"));
}

/// A terminal, and a program on it.
struct Terminal {
    keys: TTYPort,
    name: String,
    /// Keeps the terminal and its settings while no program holds it.
    _held: TTYPort,
    screen: Receiver<Vec<u8>>,
    seen: Vec<u8>,
}

impl Terminal {
    fn new() -> Self {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_millis(50)).unwrap();
        let name = slave.name().unwrap();
        let mut reader = master.try_clone_native().unwrap();
        let (say, screen) = channel();
        thread::spawn(move || {
            let mut bytes = [0; 4096];
            loop {
                match reader.read(&mut bytes) {
                    Ok(0) => return,
                    Ok(count) => {
                        if say.send(bytes[..count].to_vec()).is_err() {
                            return;
                        }
                    }
                    Err(error) if error.kind() == std::io::ErrorKind::TimedOut => {}
                    Err(_) => return,
                }
            }
        });
        let terminal = Self {
            keys: master,
            name,
            _held: slave,
            screen,
            seen: Vec::new(),
        };
        terminal.stty(&["sane", "rows", "24", "cols", "80"]);
        terminal
    }

    fn stty(&self, wishes: &[&str]) -> String {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(&self.name)
            .unwrap();
        let output = Command::new("stty")
            .args(wishes)
            .stdin(file)
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    fn run(&self, port: &str) -> Child {
        let open = || {
            OpenOptions::new()
                .read(true)
                .write(true)
                .open(&self.name)
                .unwrap()
        };
        program()
            .args(["live", "--port", port])
            .stdin(open())
            .stdout(open())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }

    /// Waits until the screen has shown `text`.
    fn wait_for(&mut self, text: &str) {
        let until = Instant::now() + Duration::from_secs(300);
        while !String::from_utf8_lossy(&self.seen).contains(text) {
            let left = until.saturating_duration_since(Instant::now());
            match self.screen.recv_timeout(left) {
                Ok(bytes) => self.seen.extend(bytes),
                Err(_) => panic!("no {text:?} in {:?}", String::from_utf8_lossy(&self.seen)),
            }
        }
    }
}

const TAKEN: &str = "\u{1b}[?1049h";
const GIVEN_BACK: &str = "\u{1b}[?1049l";

#[test]
fn the_terminal_is_taken_and_given_back_by_q_by_ctrl_c_and_by_a_signal() {
    let bench = Bench::at("1");
    for end in ["q", "\u{3}", "signal"] {
        let mut terminal = Terminal::new();
        let before = terminal.stty(&["-g"]);
        let mut child = terminal.run(&bench.1);
        terminal.wait_for(TAKEN);
        terminal.wait_for("Reads");
        assert_ne!(terminal.stty(&["-g"]), before, "raw mode");
        if end == "signal" {
            let killed = Command::new("kill").arg(child.id().to_string()).status();
            assert!(killed.unwrap().success());
        } else {
            terminal.keys.write_all(end.as_bytes()).unwrap();
        }
        terminal.wait_for(GIVEN_BACK);
        assert_eq!(child.wait().unwrap().code(), Some(0), "{end}");
        assert_eq!(terminal.stty(&["-g"]), before, "{end}");
    }
}

#[test]
fn a_danger_is_on_the_screen_and_in_the_exit_code_and_no_color_is_obeyed() {
    let port = scripted(u32::MAX, REVERSED_AND_JOINED);
    let mut terminal = Terminal::new();
    let mut child = terminal.run(&port);
    terminal.wait_for("HANDS OFF");
    // Red in the terminal's own palette: SGR 31, 38;5;1 or 91.
    let shown = String::from_utf8_lossy(&terminal.seen).into_owned();
    assert!(
        shown.contains("38;5;1;") || shown.contains("[31m"),
        "{shown:?}"
    );
    terminal.keys.write_all(b"q").unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(11));
    let mut terminal = Terminal::new();
    let open = || {
        OpenOptions::new()
            .read(true)
            .write(true)
            .open(&terminal.name)
            .unwrap()
    };
    let mut child = program()
        .env("NO_COLOR", "1")
        .args(["live", "--port", &scripted(u32::MAX, REVERSED_AND_JOINED)])
        .stdin(open())
        .stdout(open())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    terminal.wait_for("HANDS OFF");
    terminal.keys.write_all(b"q").unwrap();
    terminal.wait_for(GIVEN_BACK);
    assert_eq!(child.wait().unwrap().code(), Some(11));
    let shown = String::from_utf8_lossy(&terminal.seen).into_owned();
    assert!(!shown.contains("38;5;1;") && !shown.contains("[31m"));
}

/// The name of the test below, and the wish that lets it panic.
const PANICS: &str = "panics_on_a_terminal";

/// A line that opens once and comes to grief when it is to be opened again.
struct Once(Option<MemoryLine>);

impl Line for Once {
    fn open(&mut self) -> Result<Client, Error> {
        let line = self.0.take().expect("planted: this panic is wanted");
        Ok(Client::new(Box::new(line)))
    }
}

/// Run by the test after it, on a terminal of its own.
#[test]
#[ignore = "panics on purpose; a_panic_gives_the_terminal_back runs it"]
fn panics_on_a_terminal() {
    if std::env::var_os(PANICS).is_none() {
        return;
    }
    let (near, far) = MemoryLine::pair("memory");
    thread::spawn(move || {
        let mut looks = 0;
        answer(far, move |asked| {
            let reply = match asked.request {
                Request::Hello { .. } => Reply::Hello(hello(&[])),
                _ => {
                    looks += 1;
                    Reply::Look(look_of(&SOUND, looks))
                }
            };
            // The end of the line: an answer that is no frame, for good.
            if looks > 3 {
                vec![0x55; 8]
            } else {
                frame(asked.sequence, reply)
            }
        });
    });
    let feed = Feed::start(Once(Some(near))).unwrap();
    let mut live = Live::new("memory".to_owned(), None);
    let _ = screen::show(feed, &mut live, None, None, &English);
}

#[test]
fn a_panic_gives_the_terminal_back() {
    let mut terminal = Terminal::new();
    let before = terminal.stty(&["-g"]);
    let open = || {
        OpenOptions::new()
            .read(true)
            .write(true)
            .open(&terminal.name)
            .unwrap()
    };
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([PANICS, "--exact", "--ignored", "--nocapture"])
        .env(PANICS, "1")
        .env("TERM", "xterm")
        .stdin(open())
        .stdout(open())
        .stderr(open())
        .spawn()
        .unwrap();
    terminal.wait_for(TAKEN);
    terminal.wait_for(GIVEN_BACK);
    terminal.wait_for("planted: this panic is wanted");
    assert!(!child.wait().unwrap().success());
    assert_eq!(terminal.stty(&["-g"]), before);
}
