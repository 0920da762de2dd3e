//! The networks of the first trials, solved here and by ngspice: how far the two are apart, and
//! how long each takes.
//!
//! One process of ngspice solves all of them, one after the other. Its clock runs from its start
//! to its end, less that of a run without a network; it reads each network as text, ours is
//! handed over as it was built. So the ratio is that of two programs at one job, not of two
//! factorisations.
//!
//! Limits: the state with the clip free, at the fundamental; ngspice 39 or later.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};
use std::{env, fs, io, process};

use slotwise_core::slots::{ClipTarget, Pair};
use slotwise_virtual::circuit::{Node, Phasor};
use slotwise_virtual::house::{Wired, bank};
use slotwise_virtual::trials::Draw;

use super::{Settings, stopped};
use crate::error::Error;

/// Below this a voltage is next to nothing, and what it is off is taken as a share of this.
const FLOOR_VOLTS: f64 = 1e-7;

/// What came of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Comparison {
    /// Networks that both solved.
    pub networks: usize,
    /// Voltages that were compared.
    pub voltages: usize,
    /// The largest difference, as a share of the voltage.
    pub largest: f64,
    /// All networks, solved here.
    pub here: Duration,
    /// All networks in ngspice, its start left out.
    pub there: Duration,
    /// The start of ngspice.
    pub start: Duration,
}

impl Comparison {
    /// How far the two may be apart.
    pub const ALLOWED: f64 = 1e-5;

    /// Whether the two agree. Written so that a NaN fails.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.largest <= Self::ALLOWED
    }

    /// How many times as long ngspice takes.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.there.as_secs_f64() / self.here.as_secs_f64()
    }
}

/// Solves the networks of `networks` trials of the run, class after class in turn, both ways.
///
/// # Errors
/// [`Error::NoNgspice`] if it does not start, [`Error::Ngspice`] if it does not answer;
/// [`Error::Bench`] when a drawn house has no solution.
pub fn against_ngspice(settings: Settings, networks: u64) -> Result<Comparison, Error> {
    let wired = drawn(settings, networks)?;
    let folder = Folder::new()?;
    let start = folder.run("empty", &[])?.0;
    let mut texts = Vec::new();
    for one in &wired {
        let text = one.circuit.netlist(one.hertz, &probes(one));
        texts.push(text.map_err(|error| Error::Bench(error.to_string()))?);
    }
    let (took, theirs) = folder.run("trials", &texts)?;

    let began = Instant::now();
    let mut ours = Vec::new();
    for one in &wired {
        let solution = one.circuit.solve(one.hertz);
        ours.push(solution.map_err(|error| Error::Bench(error.to_string()))?);
    }
    let here = began.elapsed();

    let ours: Vec<Phasor> = wired
        .iter()
        .zip(&ours)
        .flat_map(|(one, solution)| {
            probes(one).map(|[first, second]| solution.voltage(first, second))
        })
        .collect();
    if ours.len() != theirs.len() {
        let (wanted, got) = (ours.len(), theirs.len());
        return Err(Error::Ngspice(format!("{got} voltages of {wanted}")));
    }
    let largest = ours
        .iter()
        .zip(&theirs)
        .map(|(ours, theirs)| (ours - theirs).norm() / theirs.norm().max(FLOOR_VOLTS))
        // A NaN stays one, which `max` would pass over.
        .fold(0.0, |most, off| {
            if off > most || off.is_nan() {
                off
            } else {
                most
            }
        });
    Ok(Comparison {
        networks: wired.len(),
        voltages: ours.len(),
        largest,
        here,
        there: took.saturating_sub(start),
        start,
    })
}

/// The networks of the first trials: number 0 of each class, then number 1, and so on.
fn drawn(settings: Settings, networks: u64) -> Result<Vec<Wired>, Error> {
    let classes = bank().len() as u64;
    (0..networks)
        .map(|index| {
            let (number, place) = (index / classes, index % classes);
            let mut draw = Draw::new(settings.seed, place << 40 | number);
            let specimen = draw.specimen();
            draw.house_of(&bank()[place as usize].receptacle)
                .with_clip(ClipTarget::NotConnected)
                .fundamental_network(&specimen, true)
                .map_err(stopped)
        })
        .collect()
}

/// The slot voltages, the clip against wide, and the pins of the four channels.
fn probes(wired: &Wired) -> [[Node; 2]; 8] {
    let pair = |pair: Pair| {
        let (first, second) = pair.leads();
        [first, second].map(|lead| wired.slots[lead.channel()])
    };
    let [narrow, wide, ground, clip] = wired.pins;
    [
        pair(Pair::NarrowWide),
        pair(Pair::GroundWide),
        pair(Pair::NarrowGround),
        pair(Pair::ClipWide),
        narrow,
        wide,
        ground,
        clip,
    ]
}

/// A folder for the netlists, which goes when it is no longer needed.
struct Folder(std::path::PathBuf);

impl Drop for Folder {
    fn drop(&mut self) {
        // What stays behind in the system's own folder for such things does no harm.
        let _ = fs::remove_dir_all(&self.0);
    }
}

impl Folder {
    fn new() -> Result<Self, Error> {
        let name = format!("slotwise-ngspice-{}", process::id());
        let folder = Self(env::temp_dir().join(name));
        fs::create_dir_all(&folder.0).map_err(|error| folder.cannot_write(&error))?;
        Ok(folder)
    }

    fn cannot_write(&self, error: &io::Error) -> Error {
        Error::Ngspice(format!("{} cannot be written: {error}", self.0.display()))
    }

    fn write(&self, name: &str, text: &str) -> Result<(), Error> {
        fs::write(self.0.join(name), text).map_err(|error| self.cannot_write(&error))
    }

    /// Runs ngspice once over all of `netlists`; how long it took and what its probes showed,
    /// in their order.
    fn run(&self, name: &str, netlists: &[String]) -> Result<(Duration, Vec<Phasor>), Error> {
        let mut job =
            String::from("* the networks of some trials, one after the other\n.control\n");
        for (index, netlist) in netlists.iter().enumerate() {
            let file = format!("{name}{index}.cir");
            // Each is a job of its own, which would end the program.
            self.write(&file, &netlist.replace("quit 0\n", ""))?;
            let _ = writeln!(job, "source {file}\ndestroy all\nremcirc");
        }
        job.push_str("quit 0\n.endc\n.end\n");
        let main = format!("{name}.cir");
        self.write(&main, &job)?;
        let began = Instant::now();
        let output = Command::new("ngspice")
            .args([Path::new("-n"), Path::new("-b"), Path::new(&main)])
            .current_dir(&self.0)
            .output()
            .map_err(Error::NoNgspice)?;
        let took = began.elapsed();
        let said = String::from_utf8_lossy(&output.stdout);
        Ok((took, phasors(&said)))
    }
}

/// The phasors of `real(probe<i>) = <volts>`, `imag(probe<i>) = <volts>`, in their order.
fn phasors(said: &str) -> Vec<Phasor> {
    let part = |line: &str, part: &str| -> Option<f64> {
        let (_, value) = line.strip_prefix(part)?.split_once(") = ")?;
        value.trim().parse().ok()
    };
    let mut all = Vec::new();
    let mut real = None;
    for line in said.lines() {
        if let Some(value) = part(line, "real(probe") {
            real = Some(value);
        } else if let Some(imaginary) = part(line, "imag(probe")
            && let Some(real) = real.take()
        {
            all.push(Phasor::new(real, imaginary));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probes_are_read_in_their_order_and_other_lines_passed_over() {
        let said = "Circuit: a\nreal(probe0) = 1.5e+00\nimag(probe0) = -2\nDoing analysis\n\
                    real(probe1) = 3\nimag(probe1) = 4.0\nimag(probe2) = 4.0\n";
        assert_eq!(
            phasors(said),
            [Phasor::new(1.5, -2.0), Phasor::new(3.0, 4.0)]
        );
    }
}
