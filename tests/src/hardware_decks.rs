//! Runs an ngspice deck of `hardware/spice/` and reads what it measured.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::process::{Command, Stdio};

/// Numbers of the lines `name = value` that ngspice prints for `deck`.
///
/// # Panics
/// If ngspice does not start or prints nothing of the kind; its own words are in the message.
#[must_use]
pub fn measured(deck: &str) -> BTreeMap<String, f64> {
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
        .write_all(deck.as_bytes())
        .expect("ngspice reads its deck");
    let output = ngspice.wait_with_output().expect("ngspice ends");
    let said = String::from_utf8_lossy(&output.stdout);
    let found: BTreeMap<String, f64> = said.lines().filter_map(number).collect();
    assert!(
        !found.is_empty(),
        "{said}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    found
}

/// `name = value` and whatever follows; commands within a deck do not look like that.
fn number(line: &str) -> Option<(String, f64)> {
    let (name, rest) = line.split_once('=')?;
    let name = name.trim();
    let is_name = name
        .chars()
        .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    let value = rest.split_whitespace().next()?.parse().ok()?;
    (is_name && !name.is_empty()).then(|| (name.to_owned(), value))
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn a_measurement_is_a_name_and_a_number() {
        let line = "rms_120_0           =  2.89356e-03 from=  1.66828e-02";
        assert_eq!(number(line), Some(("rms_120_0".to_owned(), 2.893_56e-3)));
        assert_eq!(number("Reference value :  3.37385e-02"), None);
        assert_eq!(number("n_star     -2.9e-06"), None);
    }
}
