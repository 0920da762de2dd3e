//! The state of a live view, its lines, and how it finds a tester again: without a terminal.

mod support;

use std::collections::VecDeque;
use std::io;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use slotwise::client::Client;
use slotwise::error::{Error, LinkError};
use slotwise::exit::Exit;
use slotwise::live::screen::key_of;
use slotwise::live::{
    Ask, Effect, Feed, Heard, History, Key, Line, LineWriter, Live, Standing, Trace, is_lit,
};
use slotwise::texts::English;
use slotwise::texts::live::Notice;
use slotwise::transport::MemoryLine;
use slotwise_core::lamps::Rhythm;
use slotwise_core::link::{Hello, Look, Phase, Refusal, Reply, Request, RequestEnvelope};
use slotwise_core::record::TesterId;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Millis;
use support::live::{found, heard, heard_at, look_of, watched};
use support::{OPEN_GROUND, REVERSED_AND_JOINED, SOUND, answer, frame, hello};

const T: Duration = Duration::from_secs(100);

fn seconds(more: u64) -> Duration {
    T + Duration::from_secs(more)
}

#[test]
fn lamps_on_the_screen_beat_as_the_firmware_beats_them() {
    for rhythm in [
        Rhythm::Off,
        Rhythm::Steady,
        Rhythm::SlowBlink,
        Rhythm::FastBlink,
        Rhythm::FastPulse,
    ] {
        for millis in 0..4000 {
            let now = Millis::new(millis);
            assert_eq!(
                is_lit(rhythm, now),
                slotwise_firmware::lamps::level(rhythm, now),
                "{rhythm:?} {millis}"
            );
        }
    }
}

#[test]
fn keys_are_told_apart_and_ctrl_c_ends() {
    let key = |code, modifiers| key_of(&KeyEvent::new(code, modifiers));
    let plain = |letter| key(KeyCode::Char(letter), KeyModifiers::NONE);
    assert_eq!(plain('t'), Some(Key::Test));
    assert_eq!(plain('w'), Some(Key::Watch));
    assert_eq!(plain('c'), Some(Key::Clip));
    assert_eq!(plain('q'), Some(Key::Quit));
    assert_eq!(
        key(KeyCode::Char('T'), KeyModifiers::SHIFT),
        Some(Key::Test)
    );
    assert_eq!(key(KeyCode::Esc, KeyModifiers::NONE), Some(Key::Quit));
    assert_eq!(
        key(KeyCode::Char('c'), KeyModifiers::CONTROL),
        Some(Key::Quit)
    );
    assert_eq!(plain('x'), None);
    assert_eq!(key(KeyCode::Char('t'), KeyModifiers::CONTROL), None);
    assert_eq!(key(KeyCode::Char('t'), KeyModifiers::ALT), None);
    let mut held = KeyEvent::new(KeyCode::Char('t'), KeyModifiers::NONE);
    held.kind = KeyEventKind::Repeat;
    assert_eq!(key_of(&held), None);
    held.kind = KeyEventKind::Release;
    assert_eq!(key_of(&held), None);
}

#[test]
fn the_clip_goes_round_and_is_told_with_the_next_test() {
    let mut live = found(ClipTarget::NotConnected);
    let test = |live: &mut Live| match live.key(Key::Test, T) {
        Some(Effect::Ask(Ask::Test(clip))) => clip,
        other => panic!("{other:?}"),
    };
    assert_eq!(test(&mut live), ClipTarget::NotConnected);
    for clip in [
        ClipTarget::ApplianceFrame,
        ClipTarget::IndependentEarth,
        ClipTarget::NotConnected,
    ] {
        assert_eq!(live.key(Key::Clip, T), None);
        assert_eq!(live.clip(), clip);
        assert_eq!(test(&mut live), clip);
    }
    assert_eq!(live.key(Key::Quit, T), Some(Effect::Quit));
}

#[test]
fn a_tester_that_takes_the_clip_to_hang_free_is_believed_not_what_was_said_before() {
    let told = |clip_target, window| {
        Heard::Look(Look {
            clip_target,
            ..look_of(&SOUND, window)
        })
    };
    let mut live = Live::new(String::new(), None);
    live.heard(&told(ClipTarget::IndependentEarth, 1), T);
    assert_eq!(live.clip(), ClipTarget::IndependentEarth);
    live.key(Key::Clip, T);
    live.key(Key::Clip, T);
    assert_eq!(live.clip(), ClipTarget::ApplianceFrame);
    live.heard(&told(ClipTarget::IndependentEarth, 2), T);
    assert_eq!(live.clip(), ClipTarget::ApplianceFrame);
    // Unplugged, and plugged in elsewhere.
    live.heard(&told(ClipTarget::NotConnected, 3), T);
    assert_eq!(live.clip(), ClipTarget::NotConnected);
}

#[test]
fn a_watch_that_the_tester_is_too_busy_for_is_asked_again_until_it_begins() {
    let mut live = found(ClipTarget::ApplianceFrame);
    let ask = Ask::StartWatch(ClipTarget::ApplianceFrame);
    assert_eq!(live.key(Key::Watch, T), Some(Effect::Ask(ask)));
    // Nothing is asked twice while the answer is awaited.
    assert_eq!(live.tick(seconds(30)), None);
    live.heard(&Heard::Busy(ask), T);
    assert_eq!(live.notice(T), Some(Notice::Busy));
    assert_eq!(live.tick(T + Duration::from_millis(900)), None);
    assert_eq!(live.tick(seconds(1)), Some(Effect::Ask(ask)));
    assert_eq!(live.tick(seconds(1)), None);
    live.heard(&Heard::Busy(ask), seconds(1));
    assert_eq!(live.tick(seconds(2)), Some(Effect::Ask(ask)));
    live.heard(&Heard::Done(ask), seconds(2));
    assert_eq!(live.notice(seconds(2)), Some(Notice::WatchBegins));
    assert_eq!(live.tick(seconds(5)), None);
    assert_eq!(live.notice(seconds(9)), None);
}

#[test]
fn a_wish_is_taken_back_by_the_same_key_and_given_up_in_the_end() {
    let mut live = found(ClipTarget::ApplianceFrame);
    let ask = Ask::StartWatch(ClipTarget::ApplianceFrame);
    live.key(Key::Watch, T);
    live.heard(&Heard::Busy(ask), T);
    assert_eq!(live.key(Key::Watch, T), None);
    assert_eq!(live.notice(T), Some(Notice::TakenBack));
    assert_eq!(live.tick(seconds(5)), None);
    live.key(Key::Watch, T);
    live.heard(&Heard::Busy(ask), seconds(61));
    assert_eq!(live.tick(seconds(63)), None);
    assert_eq!(live.notice(seconds(63)), Some(Notice::GaveUp));
}

#[test]
fn a_running_watch_is_stopped_and_one_that_is_gone_is_not_asked_for_again() {
    let (mut live, now) = heard(ClipTarget::ApplianceFrame, 10, watched);
    assert_eq!(live.key(Key::Watch, now), Some(Effect::Ask(Ask::StopWatch)));
    live.heard(&Heard::Busy(Ask::StopWatch), now);
    assert_eq!(live.notice(now), Some(Notice::NoWatch));
    assert_eq!(live.tick(now + Duration::from_secs(9)), None);
}

#[test]
fn values_grow_old_and_a_lost_link_is_told_from_a_late_answer() {
    let mut live = found(ClipTarget::NotConnected);
    assert_eq!(live.standing(T), Standing::Nothing);
    live.heard(&Heard::Look(look_of(&SOUND, 5)), T);
    assert_eq!(
        live.standing(T + Duration::from_millis(900)),
        Standing::Current
    );
    assert_eq!(live.standing(seconds(3)), Standing::Quiet(3));
    live.heard(&Heard::Lost("broken".to_owned()), seconds(3));
    // A second report of the same loss does not restart the clock.
    live.heard(&Heard::Lost("broken".to_owned()), seconds(6));
    assert_eq!(live.standing(seconds(8)), Standing::Lost(5));
    assert_eq!(live.key(Key::Test, seconds(8)), None);
    assert_eq!(live.notice(seconds(8)), Some(Notice::NotSent));
    let back = Heard::Found {
        port: "/dev/ttyACM1".to_owned(),
        hello: hello(&[]),
    };
    live.heard(&back, seconds(9));
    assert_eq!(live.notice(seconds(9)), Some(Notice::Back));
    assert_eq!(live.port(), "/dev/ttyACM1");
    // Back, but what is held is still old.
    assert_eq!(live.standing(seconds(9)), Standing::Quiet(9));
    live.heard(&Heard::Look(look_of(&SOUND, 60)), seconds(10));
    assert_eq!(live.standing(seconds(10)), Standing::Current);
}

#[test]
fn what_another_tester_showed_is_forgotten() {
    let (mut live, now) = heard(ClipTarget::NotConnected, 10, |n| look_of(&SOUND, n));
    let other = Heard::Found {
        port: "/dev/ttyACM0".to_owned(),
        hello: Hello {
            tester: TesterId(7),
            ..hello(&[])
        },
    };
    live.heard(&other, now);
    assert_eq!(live.notice(now), Some(Notice::AnotherTester));
    assert!(live.look().is_none());
    assert_eq!(live.standing(now), Standing::Nothing);
    let columns = live
        .history()
        .columns(Trace::NarrowWide, Millis::new(2000), 10_000, 8);
    assert!(columns.iter().all(Option::is_none));
}

#[test]
fn the_exit_code_is_the_answer_now_but_a_danger_seen_is_never_lost() {
    let live = found(ClipTarget::NotConnected);
    assert_eq!(live.exit(T), Exit::CannotTell);
    let (mut live, now) = heard(ClipTarget::NotConnected, 1, |n| look_of(&SOUND, n));
    assert_eq!(live.exit(now), Exit::Done);
    // An answer that is old is none.
    assert_eq!(live.exit(now + Duration::from_secs(2)), Exit::Link);
    let mut lost = live.clone();
    lost.heard(&Heard::Lost("broken".to_owned()), now);
    assert_eq!(lost.exit(now), Exit::Link);
    live.heard(&Heard::Look(look_of(&OPEN_GROUND, 2)), heard_at(2));
    assert_eq!(live.exit(heard_at(2)), Exit::Fault);
    live.heard(&Heard::Look(look_of(&REVERSED_AND_JOINED, 3)), heard_at(3));
    assert!(live.is_danger() && live.has_seen_danger());
    live.heard(&Heard::Look(look_of(&SOUND, 4)), heard_at(4));
    assert!(!live.is_danger());
    live.heard(&Heard::Lost("broken".to_owned()), heard_at(4));
    assert_eq!(live.exit(heard_at(9)), Exit::Danger);
}

#[test]
fn the_history_has_one_point_a_window_gaps_where_nothing_was_measured_and_marks_at_steps() {
    let mut history = History::default();
    for window in 1..=250 {
        let mut look = watched(window);
        if (50..100).contains(&window) {
            look.slots = Err(slotwise_core::evidence::Missing::NoVoltage);
        }
        history.take(&look);
        // The same measurement again, a little later.
        look.now = Millis::new(look.now.get() + 50);
        history.take(&look);
    }
    let now = Millis::new(50_000);
    let columns = history.columns(Trace::NarrowWide, now, 50_000, 50);
    assert!(columns[..9].iter().all(Option::is_some));
    assert!(columns[11..19].iter().all(Option::is_none));
    assert!(columns[21..].iter().all(Option::is_some));
    let before = columns[5].unwrap();
    let after = columns[25].unwrap();
    assert!(
        before.low > 119.3 && after.high < 118.1,
        "{before:?} {after:?}"
    );
    // Steps at 20 s and 40 s, both counters together one mark each, in the column that ends then.
    let marks = history.step_columns(now, 50_000, 50);
    assert_eq!(marks, [19, 39]);
    // A tester that starts anew has a clock that starts anew.
    history.take(&watched(1));
    let columns = history.columns(Trace::NarrowWide, Millis::new(200), 50_000, 50);
    assert_eq!(columns.iter().flatten().count(), 1);
}

fn lines(heard: &[Heard]) -> Vec<serde_json::Value> {
    let mut out = Vec::new();
    let mut writer = LineWriter::new(&mut out, &English);
    for one in heard {
        writer.heard(one).unwrap();
    }
    let text = String::from_utf8(out).unwrap();
    assert!(!text.contains('\u{1b}'));
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

#[test]
fn a_line_holds_values_with_their_uncertainty_or_the_reason_why_not() {
    let all = lines(&[
        Heard::Found {
            port: "/dev/ttyACM0".to_owned(),
            hello: hello(&[]),
        },
        Heard::Look(watched(300)),
        Heard::Busy(Ask::StopWatch),
        Heard::Lost("the line broke".to_owned()),
    ]);
    for line in &all {
        assert_eq!(line["format"], "slotwise-live");
        assert_eq!(line["version"], 1);
    }
    let events: Vec<_> = all.iter().map(|line| line["event"].clone()).collect();
    assert_eq!(events, ["found", "look", "busy", "lost"]);
    let look = &all[1];
    assert_eq!(look["phase"], "load-cycle");
    assert_eq!(look["millis"], 60_000);
    assert_eq!(look["clip"], "appliance-frame");
    assert!(look["narrow_wide"]["u"].as_f64().unwrap() > 0.0);
    assert_eq!(look["earth_path"]["unit"], "ohm");
    assert_eq!(look["neutral_to_clip"]["missing"], "not-asked");
    assert_eq!(look["watch"]["steps"], 3);
    assert_eq!(look["load_steps"], 3);
    assert_eq!(look["lamps"].as_array().unwrap().len(), 6);
    assert!(look["answer"]["finding"]["next_text"].is_string());
    assert_eq!(all[2]["ask"], "stop_watch");
    assert_eq!(all[3]["reason"], "the line broke");
}

#[test]
fn an_unchanged_look_is_a_line_only_once_a_second() {
    let looks: Vec<Heard> = (0..26)
        .map(|n| {
            Heard::Look(Look {
                now: Millis::new(n * 100),
                ..Look::nothing_yet(Millis::new(0), Phase::Waiting, ClipTarget::NotConnected)
            })
        })
        .collect();
    let millis: Vec<_> = lines(&looks)
        .iter()
        .map(|line| line["millis"].as_u64().unwrap())
        .collect();
    assert_eq!(millis, [0, 1000, 2000]);
}

/// Lines in memory that are handed out one after another; an empty place is a port that is not
/// there.
struct Cables(VecDeque<Option<MemoryLine>>);

impl Line for Cables {
    fn open(&mut self) -> Result<Client, Error> {
        match self.0.pop_front().flatten() {
            Some(line) => {
                // It answers at once, but its thread may have to wait for its turn.
                let patience = Duration::from_secs(1);
                Ok(Client::new(Box::new(line)).with_patience(patience))
            }
            None => Err(Error::Output(io::ErrorKind::NotFound.into())),
        }
    }
}

/// A tester that answers until it has given `looks` looks; then its cable is pulled.
fn tester(looks: usize, refuse: bool) -> (MemoryLine, Arc<Mutex<Vec<Request>>>) {
    let (near, far) = MemoryLine::pair("memory");
    let asked = Arc::new(Mutex::new(Vec::new()));
    let seen = Arc::clone(&asked);
    thread::spawn(move || {
        let mut given = 0;
        let script = move |envelope: RequestEnvelope| {
            seen.lock().unwrap().push(envelope.request);
            let reply = match envelope.request {
                Request::Hello { .. } => Reply::Hello(hello(&[])),
                Request::Look => {
                    assert!(given < looks, "the cable is pulled");
                    given += 1;
                    Reply::Look(look_of(&SOUND, given as u32))
                }
                Request::StartWatch { .. } if refuse => Reply::Refused(Refusal::Busy),
                _ => Reply::Done,
            };
            frame(envelope.sequence, reply)
        };
        answer(far, script);
    });
    (near, asked)
}

/// Everything heard up to the end, in short, and why it ended.
fn hear_all(feed: Feed) -> (Vec<&'static str>, Error) {
    let mut all = Vec::new();
    while let Ok(heard) = feed.next(Duration::from_secs(60)) {
        let name = match heard.expect("something within a minute") {
            Heard::Found { .. } => "found",
            Heard::Look(_) => "look",
            Heard::Done(_) => "done",
            Heard::Busy(_) => "busy",
            Heard::NotSent(_) => "not sent",
            Heard::Lost(_) => "lost",
        };
        all.push(name);
    }
    (all, feed.reason())
}

#[test]
fn a_tester_that_comes_back_is_found_again_and_one_that_does_not_is_given_up() {
    let cables = Cables([Some(tester(2, false).0), None, Some(tester(1, false).0)].into());
    let feed = Feed::with_patience(cables, Duration::from_secs(6)).unwrap();
    let (heard, why) = hear_all(feed);
    assert_eq!(
        heard,
        ["found", "look", "look", "lost", "found", "look", "lost"]
    );
    assert!(matches!(why, Error::Link(LinkError::Gone { .. })), "{why}");
    assert_eq!(why.exit(), Exit::Link);
    assert!(why.to_string().contains("check the cable"));
}

#[test]
fn what_is_asked_reaches_the_tester_and_its_refusal_comes_back() {
    // Looks enough for the asking to come in between on a loaded machine, too.
    let (line, asked) = tester(20, true);
    let feed = Feed::with_patience(Cables([Some(line)].into()), Duration::ZERO).unwrap();
    let frame = ClipTarget::ApplianceFrame;
    for ask in [Ask::Test(frame), Ask::StartWatch(frame), Ask::StopWatch] {
        feed.ask(ask);
    }
    let (heard, _) = hear_all(feed);
    let answers: Vec<_> = heard
        .iter()
        .filter(|name| ["done", "busy"].contains(name))
        .collect();
    assert_eq!(answers, [&"done", &"busy", &"done"]);
    let asked = asked.lock().unwrap();
    assert!(asked.contains(&Request::StartTest { clip: frame }));
    assert!(asked.contains(&Request::StartWatch { clip: frame }));
    assert!(asked.contains(&Request::StopWatch));
}

#[test]
fn a_tester_without_looks_is_told_to_be_updated() {
    let (near, far) = MemoryLine::pair("memory");
    thread::spawn(move || {
        answer(far, |envelope| {
            frame(
                envelope.sequence,
                match envelope.request {
                    Request::Hello { .. } => Reply::Hello(hello(&[])),
                    _ => Reply::Refused(Refusal::NotUnderstood),
                },
            )
        });
    });
    let feed = Feed::with_patience(Cables([Some(near)].into()), Duration::from_secs(9)).unwrap();
    let (heard, why) = hear_all(feed);
    assert_eq!(heard, ["found"]);
    assert!(why.to_string().contains("update its firmware"), "{why}");
}
