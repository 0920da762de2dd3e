//! The virtual receptacle as a process of its own for the emulator: for every conversion it is
//! told what the image drives and answers what the converter sees.
//!
//! Two named pipes; what goes over them is said in `tests/emulator/live-codes.mjs`. The emulator
//! waits for every answer, so what comes of a run depends on the image alone.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use slotwise_virtual::front_end::FrameSource;
pub use slotwise_virtual::outputs::Levels;
use slotwise_virtual::outputs::Outputs;

/// One conversion that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Its number, from the converter's reset.
    pub row: u64,
    /// What the image drove during it.
    pub levels: Levels,
}

/// A receptacle that waits for an emulator.
#[derive(Debug)]
pub struct CircuitServer {
    requests: PathBuf,
    answers: PathBuf,
    rows: Arc<AtomicU64>,
    thread: JoinHandle<io::Result<Vec<Asked>>>,
}

impl CircuitServer {
    /// Makes the pipes in `folder` and serves `source` until the emulator shuts them.
    ///
    /// # Errors
    /// If the pipes cannot be made (`mkfifo`).
    pub fn start(folder: &Path, source: impl FrameSource + 'static) -> io::Result<Self> {
        Self::start_with(folder, source, Outputs::new())
    }

    /// The same behind these outputs: a relay of theirs may be stuck.
    ///
    /// # Errors
    /// If the pipes cannot be made (`mkfifo`).
    pub fn start_with(
        folder: &Path,
        mut source: impl FrameSource + 'static,
        outputs: Outputs,
    ) -> io::Result<Self> {
        let [requests, answers] = ["requests", "answers"].map(|name| folder.join(name));
        let status = Command::new("mkfifo")
            .args([&requests, &answers])
            .status()?;
        if !status.success() {
            return Err(io::Error::other("mkfifo made no pipes"));
        }
        let rows = Arc::new(AtomicU64::new(0));
        let (from, to, count) = (requests.clone(), answers.clone(), Arc::clone(&rows));
        let thread = thread::spawn(move || {
            // The emulator opens its ends in the same order.
            let from = File::open(from)?;
            let to = OpenOptions::new().write(true).open(to)?;
            serve(&mut source, &outputs, from, to, &count)
        });
        Ok(Self {
            requests,
            answers,
            rows,
            thread,
        })
    }

    /// What `run.mjs --circuit` is given.
    #[must_use]
    pub fn pipes(&self) -> String {
        format!("{},{}", self.requests.display(), self.answers.display())
    }

    /// Conversions asked for so far.
    #[must_use]
    pub fn rows(&self) -> u64 {
        self.rows.load(Ordering::Acquire)
    }

    /// Waits until so many conversions were asked for, however slow the machine is.
    ///
    /// # Panics
    /// If not one is asked for in five minutes: the emulator stands still, or has ended.
    pub fn wait_for(&self, rows: u64) {
        let (mut seen, mut since) = (self.rows(), Instant::now());
        while seen < rows {
            thread::sleep(Duration::from_millis(20));
            let now = self.rows();
            if now != seen {
                (seen, since) = (now, Instant::now());
            }
            assert!(
                since.elapsed() < Duration::from_secs(300),
                "{seen} of {rows} conversions, and no other for five minutes"
            );
        }
    }

    /// Everything that was asked, after the emulator has ended.
    ///
    /// # Errors
    /// Those of the pipes.
    ///
    /// # Panics
    /// If the receptacle panicked.
    pub fn finish(self) -> io::Result<Vec<Asked>> {
        self.thread.join().expect("the receptacle answers")
    }
}

fn serve(
    source: &mut dyn FrameSource,
    outputs: &Outputs,
    mut from: impl Read,
    mut to: impl Write,
    rows: &AtomicU64,
) -> io::Result<Vec<Asked>> {
    source.connect(outputs);
    let mut asked = Vec::new();
    let mut request = [0; 8];
    loop {
        match from.read_exact(&mut request) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(asked),
            Err(error) => return Err(error),
        }
        let [a, b, c, d, bits, ..] = request;
        let row = u64::from(u32::from_le_bytes([a, b, c, d]));
        let levels = core::array::from_fn(|pin| bits >> pin & 1 == 1);
        outputs.set_during(row, levels);
        asked.push(Asked { row, levels });
        let mut answer = [0; 16];
        for (place, code) in answer.chunks_exact_mut(4).zip(source.frame(row).codes) {
            place.copy_from_slice(&code.get().to_le_bytes());
        }
        match to.write_all(&answer) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(asked),
            Err(error) => return Err(error),
        }
        rows.store(row + 1, Ordering::Release);
    }
}
