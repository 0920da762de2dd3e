//! The thread that speaks with the tester: asks what it sees, carries out what is asked of it,
//! and finds it again when the cable was pulled.

use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use slotwise_core::link::{Hello, Look, Refusal};

use super::model::Ask;
use super::{ASK_EVERY, COME_BACK_WITHIN};
use crate::client::Client;
use crate::error::{Error, LinkError};
use crate::port;

/// From one attempt to find a lost tester to the next.
const LOOK_FOR_IT_EVERY: Duration = Duration::from_millis(500);

/// How long a tester that may be back is waited for at a time.
const HELLO_WITHIN: Duration = Duration::from_millis(300);

/// What was heard.
#[derive(Clone, Debug)]
pub enum Heard {
    /// The tester answered on this port, for the first time or again.
    Found {
        /// The port.
        port: String,
        /// The tester.
        hello: Hello,
    },
    /// What it sees.
    Look(Look),
    /// It carries this out.
    Done(Ask),
    /// It cannot do this now.
    Busy(Ask),
    /// This was not sent: there is no link.
    NotSent(Ask),
    /// The link broke, for this reason. The tester is being looked for.
    Lost(String),
}

/// How the tester is found.
pub trait Line: Send + 'static {
    /// Opens the line.
    ///
    /// # Errors
    /// A port that cannot be opened.
    fn open(&mut self) -> Result<Client, Error>;
}

/// A port by its name, or whichever port the only tester is on.
impl Line for Option<String> {
    fn open(&mut self) -> Result<Client, Error> {
        let name = match self {
            Some(name) => name.clone(),
            None => port::find()?,
        };
        Ok(Client::new(Box::new(port::open(&name)?)))
    }
}

/// The thread and the ways to it.
pub struct Feed {
    heard: Receiver<Heard>,
    asks: Sender<Ask>,
    thread: JoinHandle<Error>,
}

impl Feed {
    /// Opens the line, says hello, and goes on asking in a thread of its own.
    ///
    /// # Errors
    /// A line that cannot be opened or on which no tester answers.
    pub fn start(line: impl Line) -> Result<Self, Error> {
        Self::with_patience(line, COME_BACK_WITHIN)
    }

    /// The same with another patience for a tester that went away.
    ///
    /// # Errors
    /// As [`Feed::start`].
    pub fn with_patience(mut line: impl Line, come_back_within: Duration) -> Result<Self, Error> {
        let mut client = line.open()?;
        let (hello, _) = client.hello()?;
        let (say, heard) = channel();
        let (asks, asked) = channel();
        let found = Heard::Found {
            port: client.name().to_owned(),
            hello,
        };
        // The receiver is alive: it is in this function.
        let _ = say.send(found);
        let thread = thread::Builder::new()
            .name("feed".to_owned())
            .spawn(move || run(client, &mut line, &say, &asked, come_back_within))
            .map_err(Error::Output)?;
        Ok(Self {
            heard,
            asks,
            thread,
        })
    }

    /// Asks something of the tester.
    pub fn ask(&self, ask: Ask) {
        // A thread that has ended is noticed by `next`.
        let _ = self.asks.send(ask);
    }

    /// The next thing heard within `wait`.
    ///
    /// # Errors
    /// [`Ended`] once there is nothing more to hear.
    pub fn next(&self, wait: Duration) -> Result<Option<Heard>, Ended> {
        match self.heard.recv_timeout(wait) {
            Ok(heard) => Ok(Some(heard)),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(Ended),
        }
    }

    /// Why there is nothing more to hear. Call it after [`Ended`].
    #[must_use]
    pub fn reason(self) -> Error {
        drop(self.heard);
        drop(self.asks);
        match self.thread.join() {
            Ok(error) => error,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

/// The feed has ended; [`Feed::reason`] says why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended;

/// Why a round of asking ended.
enum Round {
    /// Nobody listens any more.
    Unheard,
    /// The link did not do.
    Link(LinkError),
}

impl From<LinkError> for Round {
    fn from(error: LinkError) -> Self {
        Self::Link(error)
    }
}

fn run(
    mut client: Client,
    line: &mut impl Line,
    say: &Sender<Heard>,
    asked: &Receiver<Ask>,
    come_back_within: Duration,
) -> Error {
    loop {
        let error = match go_on(&mut client, say, asked) {
            // Nobody will read this.
            Round::Unheard => return Error::Output(std::io::ErrorKind::BrokenPipe.into()),
            Round::Link(error) => error,
        };
        if !may_come_back(&error) {
            return error.into();
        }
        let name = client.name().to_owned();
        // The port must be free before it can be opened again.
        drop(client);
        if say.send(Heard::Lost(error.to_string())).is_err() {
            return error.into();
        }
        match find_again(line, say, asked, come_back_within) {
            Some(Ok(back)) => client = back,
            Some(Err(error)) => return error,
            None => {
                return LinkError::Gone {
                    line: name,
                    waited: come_back_within,
                }
                .into();
            }
        }
    }
}

/// Asks until something is wrong.
fn go_on(client: &mut Client, say: &Sender<Heard>, asked: &Receiver<Ask>) -> Round {
    loop {
        let began = Instant::now();
        match one_look(client, say) {
            Ok(()) => {}
            Err(round) => return round,
        }
        loop {
            let left = ASK_EVERY.saturating_sub(began.elapsed());
            match asked.recv_timeout(left) {
                Ok(ask) => {
                    if let Err(round) = carry_out(client, ask, say) {
                        return round;
                    }
                }
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return Round::Unheard,
            }
        }
    }
}

fn one_look(client: &mut Client, say: &Sender<Heard>) -> Result<(), Round> {
    let look = client.look()?;
    say.send(Heard::Look(look)).map_err(|_| Round::Unheard)
}

fn carry_out(client: &mut Client, ask: Ask, say: &Sender<Heard>) -> Result<(), Round> {
    let answer = match ask {
        Ask::Test(clip) => client.start_test(clip),
        Ask::StartWatch(clip) => client.start_watch(clip),
        Ask::StopWatch => client.stop_watch(),
    };
    let heard = match answer {
        Ok(()) => Heard::Done(ask),
        Err(LinkError::Refused {
            reason: Refusal::Busy,
            ..
        }) => Heard::Busy(ask),
        Err(error) => return Err(error.into()),
    };
    say.send(heard).map_err(|_| Round::Unheard)
}

/// Whether it helps to look for the tester again.
const fn may_come_back(error: &LinkError) -> bool {
    match error {
        LinkError::Silent { .. }
        | LinkError::Garbage { .. }
        | LinkError::Broken { .. }
        | LinkError::Unexpected { .. } => true,
        LinkError::Protocol { .. }
        | LinkError::Refused { .. }
        | LinkError::Stopped { .. }
        | LinkError::Gone { .. }
        | LinkError::Journal { .. } => false,
    }
}

/// The tester, once it answers again; [`None`] if it does not in time.
fn find_again(
    line: &mut impl Line,
    say: &Sender<Heard>,
    asked: &Receiver<Ask>,
    within: Duration,
) -> Option<Result<Client, Error>> {
    let began = Instant::now();
    while began.elapsed() < within {
        if let Ok(client) = line.open() {
            let mut client = client.with_patience(HELLO_WITHIN);
            match client.hello() {
                Ok((hello, _)) => {
                    let port = client.name().to_owned();
                    let back = client.with_usual_patience();
                    return match say.send(Heard::Found { port, hello }) {
                        Ok(()) => Some(Ok(back)),
                        Err(_) => None,
                    };
                }
                Err(error) if !may_come_back(&error) => return Some(Err(error.into())),
                Err(_) => {}
            }
        }
        let until = Instant::now() + LOOK_FOR_IT_EVERY;
        loop {
            match asked.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(ask) => say.send(Heard::NotSent(ask)).ok()?,
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return None,
            }
        }
    }
    None
}
