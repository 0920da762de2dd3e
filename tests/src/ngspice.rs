//! Runs a netlist of the virtual house in ngspice and reads what its probes showed.

use crate::outside::not_checked;
use slotwise_virtual::circuit::Phasor;
use std::io::Write as _;
use std::process::{Command, Stdio};

/// Whether there is an ngspice. Where there is none it says so, or fails under `tests/run`.
#[must_use]
pub fn is_ngspice_here() -> bool {
    let is_here = Command::new("ngspice")
        .arg("--version")
        .output()
        .is_ok_and(|output| output.status.success());
    if !is_here {
        not_checked(
            "no network was held against ngspice: there is none",
            "install the Debian package ngspice",
        );
    }
    is_here
}

/// Runs a netlist of [`slotwise_virtual::circuit::Circuit::netlist`]; what its first `probes`
/// probes showed, in volts.
///
/// # Panics
/// If ngspice does not start, or prints no number for a probe; its own words are in the
/// message.
#[must_use]
pub fn probed(netlist: &str, probes: usize) -> Vec<Phasor> {
    let mut ngspice = Command::new("ngspice")
        .args(["-n", "-b"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("ngspice starts");
    ngspice
        .stdin
        .take()
        .expect("piped")
        .write_all(netlist.as_bytes())
        .expect("ngspice reads its netlist");
    let output = ngspice.wait_with_output().expect("ngspice ends");
    let said = String::from_utf8_lossy(&output.stdout);
    let part = |part: &str, index: usize| -> f64 {
        let label = format!("{part}(probe{index}) = ");
        said.lines()
            .find_map(|line| line.strip_prefix(&label)?.trim().parse().ok())
            .unwrap_or_else(|| {
                panic!(
                    "ngspice printed no {label}\n{said}\n{}\n{netlist}",
                    String::from_utf8_lossy(&output.stderr)
                )
            })
    };
    (0..probes)
        .map(|index| Phasor::new(part("real", index), part("imag", index)))
        .collect()
}
