//! The real image in the emulator, with its serial port as a pseudo-terminal.
//!
//! Node runs `tests/emulator/run.mjs` with piped standard input and output; two threads copy
//! between the pipes and the master of a pseudo-terminal pair, whose slave is what the host
//! program opens, as it would open the port of a tester.

use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, SystemTime};

use serialport::{SerialPort, TTYPort};
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::frames_file::write_source;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::tester::{Specimen, Tolerance};

use crate::circuit_server::{Asked, CircuitServer};
use crate::outside::{not_checked, root};

/// Folder of build products, as cargo has it.
#[must_use]
pub fn target_folder() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}

/// The image, if `firmware/rp2040/build.sh` has made it from the sources as they are, and Node
/// with the emulator.
#[must_use]
pub fn image() -> Option<PathBuf> {
    let elf = target_folder().join("firmware/slotwise.elf");
    let built = fs::metadata(&elf).and_then(|found| found.modified()).ok()?;
    let sources = [
        "shared-core/src",
        "firmware/src",
        "firmware/rp2040",
        "firmware/patched",
    ];
    if sources
        .iter()
        .any(|folder| newest(&root().join(folder)) > Some(built))
    {
        eprintln!("{} is older than its sources", elf.display());
        return None;
    }
    let emulator = root().join("tests/emulator/node_modules/rp2040js");
    let node = Command::new("node").arg("--version").output();
    (elf.is_file() && emulator.is_dir() && node.is_ok_and(|output| output.status.success()))
        .then_some(elf)
}

/// As [`image`]; without one, says what was not checked and what to do.
#[must_use]
pub fn image_or_word() -> Option<PathBuf> {
    let elf = image();
    if elf.is_none() {
        not_checked(
            "no image made from these sources, or no emulator to run it in",
            "run tests/run, or firmware/rp2040/build.sh and npm ci --prefix tests/emulator",
        );
    }
    elf
}

/// When the newest file below `folder` was changed.
fn newest(folder: &Path) -> Option<SystemTime> {
    fs::read_dir(folder)
        .ok()?
        .flatten()
        .filter_map(|entry| {
            let path = entry.path();
            if path.is_dir() {
                newest(&path)
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                entry.metadata().and_then(|found| found.modified()).ok()
            } else {
                None
            }
        })
        .max()
}

/// The host program, built like the tests: with the features of the whole workspace, so that
/// nothing is compiled anew after `cargo test --workspace`. Ask for it before a board is started:
/// a board does not wait for a compiler.
///
/// # Panics
/// If it does not build.
#[must_use]
pub fn host_program() -> PathBuf {
    let status = Command::new(env!("CARGO"))
        .args(["build", "--quiet", "--workspace", "--bin", "slotwise"])
        .current_dir(root())
        .status()
        .expect("cargo starts");
    assert!(status.success(), "the host program builds");
    target_folder()
        .join("debug/slotwise")
        .with_extension(std::env::consts::EXE_EXTENSION)
}

/// What the converter of an emulated board sees.
#[derive(Clone, Copy, Debug)]
pub enum Feed<'a> {
    /// A file of frames, whatever the board drives.
    Frames(&'a Path),
    /// A receptacle that feels what the board drives.
    Circuit(&'a CircuitServer),
}

/// What an emulated board is given.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The image.
    pub elf: &'a Path,
    /// What its converter sees.
    pub feed: Feed<'a>,
    /// File of the flash's contents.
    pub nor: &'a Path,
    /// Where the counts go.
    pub report: &'a Path,
    /// Simulated seconds at most.
    pub seconds: u32,
    /// More arguments of `run.mjs`.
    pub more: &'a [&'a str],
}

/// A running emulated board.
#[derive(Debug)]
pub struct EmulatedBoard {
    child: Child,
    stdin: Option<Arc<Held>>,
    slave: TTYPort,
    stop: Arc<AtomicBool>,
    copiers: Vec<JoinHandle<()>>,
}

/// The child's standard input; dropped to end the run.
type Held = std::sync::Mutex<Option<ChildStdin>>;

impl EmulatedBoard {
    /// Starts the emulator.
    ///
    /// # Errors
    /// Those of the system: no Node, no pseudo-terminal.
    pub fn start(given: Given<'_>) -> io::Result<Self> {
        let mut command = Command::new("node");
        command
            .arg(root().join("tests/emulator/run.mjs"))
            .arg("--elf")
            .arg(given.elf);
        match given.feed {
            Feed::Frames(file) => command.arg("--frames").arg(file),
            Feed::Circuit(server) => command.args(["--circuit", &server.pipes()]),
        };
        let mut child = command
            .arg("--nor")
            .arg(given.nor)
            .arg("--report")
            .arg(given.report)
            .args(["--seconds", &given.seconds.to_string(), "--serial", "stdio"])
            .args(given.more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()?;
        let (mut master, slave) = TTYPort::pair().map_err(io::Error::other)?;
        master
            .set_timeout(Duration::from_millis(20))
            .map_err(io::Error::other)?;
        let to_host = master.try_clone_native().map_err(io::Error::other)?;
        let stop = Arc::new(AtomicBool::new(false));
        let stdin = Arc::new(Held::new(child.stdin.take()));
        let stdout = child
            .stdout
            .take()
            .ok_or_else(|| io::Error::other("no pipe"))?;
        let copiers = vec![
            copy_to_host(stdout, to_host),
            copy_to_board(master, Arc::clone(&stdin), Arc::clone(&stop)),
        ];
        Ok(Self {
            child,
            stdin: Some(stdin),
            slave,
            stop,
            copiers,
        })
    }

    /// Name of the port that the host program opens. Programs may open it one after another:
    /// each gives up its exclusive use when it ends.
    ///
    /// # Errors
    /// If the pseudo-terminal has no name.
    pub fn port(&self) -> io::Result<String> {
        self.slave
            .name()
            .ok_or_else(|| io::Error::other("the pseudo-terminal has no name"))
    }

    /// Ends the run and waits for the report. True if the emulator was content.
    ///
    /// # Errors
    /// Those of the system.
    pub fn finish(mut self) -> io::Result<bool> {
        self.end_input();
        let status = self.child.wait()?;
        for copier in self.copiers.drain(..) {
            let _ = copier.join();
        }
        Ok(status.success())
    }

    fn end_input(&mut self) {
        self.stop.store(true, Ordering::Release);
        if let Some(stdin) = self.stdin.take()
            && let Ok(mut held) = stdin.lock()
        {
            *held = None;
        }
    }
}

impl Drop for EmulatedBoard {
    fn drop(&mut self) {
        self.end_input();
        if matches!(self.child.try_wait(), Ok(None)) && thread::panicking() {
            let _ = self.child.kill();
        }
        let _ = self.child.wait();
    }
}

fn copy_to_host(mut from: impl Read + Send + 'static, mut to: TTYPort) -> JoinHandle<()> {
    thread::spawn(move || {
        let mut buffer = [0; 1024];
        while let Ok(count) = from.read(&mut buffer) {
            if count == 0 || write_all(&mut to, &buffer[..count]).is_err() {
                return;
            }
        }
    })
}

/// A pseudo-terminal whose other end reads slowly times out; the bytes are offered again.
fn write_all(to: &mut TTYPort, mut bytes: &[u8]) -> io::Result<()> {
    while !bytes.is_empty() {
        match to.write(bytes) {
            Ok(count) => bytes = &bytes[count..],
            Err(error) if error.kind() == io::ErrorKind::TimedOut => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

fn copy_to_board(mut from: TTYPort, to: Arc<Held>, stop: Arc<AtomicBool>) -> JoinHandle<()> {
    thread::spawn(move || {
        let mut buffer = [0; 1024];
        while !stop.load(Ordering::Acquire) {
            let count = match from.read(&mut buffer) {
                Ok(count) => count,
                Err(error) if error.kind() == io::ErrorKind::TimedOut => continue,
                Err(_) => return,
            };
            let Ok(mut held) = to.lock() else { return };
            let Some(stdin) = held.as_mut() else { return };
            if stdin
                .write_all(&buffer[..count])
                .and_then(|()| stdin.flush())
                .is_err()
            {
                return;
            }
        }
    })
}

/// The emulator's report.
///
/// # Panics
/// If there is none, or it is no JSON.
#[must_use]
pub fn report(path: &Path) -> serde_json::Value {
    let text = fs::read_to_string(path).expect("the emulator wrote its report");
    serde_json::from_str(&text).expect("the report is JSON")
}

/// Runs the image without a host in a receptacle of the bank. Leaves in `folder` the contents of
/// its flash (`nor.bin`, which it begins with if it is there), `report.json` and `log.bin`. What
/// the tester drives is not fed back.
///
/// # Errors
/// A sentence: no such receptacle, no room, no emulator, or a run that went wrong.
pub fn run_alone(
    elf: &Path,
    folder: &Path,
    receptacle: &str,
    seconds: u64,
    more: &[&str],
) -> Result<(), String> {
    let named = find(receptacle)
        .ok_or_else(|| format!("no receptacle is called {receptacle}; see `slotwise bench`"))?;
    let text = |error: io::Error| format!("emulated run: {error}");
    let path = |name: &str| folder.join(name);
    let specimen = Specimen::draw(51, &Tolerance::USUAL);
    if !path("nor.bin").is_file() {
        let contents = workshop_flash(&specimen).map_err(|error| error.to_string())?;
        fs::write(path("nor.bin"), contents).map_err(text)?;
    }
    let plan = [Stretch::plugged(named.receptacle.clone(), seconds * 1000)];
    let source = PhasorSource::new(&specimen, &plan).map_err(|error| error.to_string())?;
    let file = io::BufWriter::new(fs::File::create(path("frames.bin")).map_err(text)?);
    let mut front_end = FrontEnd::new(specimen, Box::new(source));
    write_source(file, &mut front_end, 4_000 * seconds).map_err(|error| error.to_string())?;
    let mut asked = vec!["--defmt", "log.bin"];
    asked.extend(more);
    run_from_frames(elf, folder, seconds, &asked)
}

/// Runs the image without a host, for this many simulated seconds, however long that takes. The
/// converter sees `frames.bin` of `folder`, and the flash is `nor.bin`; `report.json` comes to
/// lie beside them.
///
/// # Errors
/// A sentence: no emulator, or a run that went wrong.
pub fn run_from_frames(
    elf: &Path,
    folder: &Path,
    seconds: u64,
    more: &[&str],
) -> Result<(), String> {
    let elf = std::path::absolute(elf).map_err(|error| format!("{}: {error}", elf.display()))?;
    let status = Command::new("node")
        .current_dir(folder)
        .arg(root().join("tests/emulator/run.mjs"))
        .arg("--elf")
        .arg(elf)
        .args(["--frames", "frames.bin", "--nor", "nor.bin"])
        .args(["--report", "report.json"])
        .args(["--seconds", &seconds.to_string()])
        .args(more)
        .status()
        .map_err(|error| format!("emulated run: {error}"))?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("emulated run: it ended with {status}"))
    }
}

/// Runs the image without a host in receptacles that feel what it drives, with `contents` in its
/// flash, until so many conversions were asked for. Gives what it drove, and the report.
///
/// # Panics
/// Without room, pipes or emulator, or if something ends the run early.
#[must_use]
pub fn run_in_circuit(
    elf: &Path,
    specimen: Specimen,
    contents: &[u8],
    plan: &[Stretch],
    more: &[&str],
    conversions: u64,
) -> (Vec<Asked>, serde_json::Value) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    fs::write(path("nor.bin"), contents).expect("room for the flash's contents");
    let source = PhasorSource::new(&specimen, plan).expect("it is solved");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let circuit = CircuitServer::start(folder.path(), front_end).expect("pipes can be made");
    let board = EmulatedBoard::start(Given {
        elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        // It ends when it was asked for enough conversions.
        seconds: 3600,
        more,
    })
    .expect("the emulator starts");
    circuit.wait_for(conversions);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    let asked = circuit.finish().expect("the pipes held");
    let report = report(&path("report.json"));
    (asked, report)
}
