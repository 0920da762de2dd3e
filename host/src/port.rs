//! Finding and opening the tester's serial port.
//!
//! USB product 1209:0001 of the pid.codes test range is what the tester names itself. The baud
//! rate means nothing on a USB serial port; some systems insist on one. Opening raises DTR,
//! which tells the tester that somebody listens; a pseudo-terminal has no such line, and that
//! is no error.

use std::io::ErrorKind as Io;
use std::time::Duration;

use serialport::{ErrorKind, SerialPortType};

use crate::error::PortError;
use crate::transport::SerialLine;

/// USB vendor and product number of the tester.
pub(crate) const USB: (u16, u16) = (0x1209, 0x0001);

/// A rate that every system accepts.
const BAUD: u32 = 115_200;

/// How long one read waits before anything else is set.
const WAIT: Duration = Duration::from_millis(100);

/// The serial ports of this computer now.
#[must_use]
pub fn candidates() -> Vec<String> {
    let mut names: Vec<String> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|port| port.port_name)
        .collect();
    names.sort();
    names
}

/// The ports of the testers that are plugged in, by what they name themselves.
#[must_use]
pub fn testers() -> Vec<String> {
    let mut testers: Vec<String> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .filter(|port| match &port.port_type {
            SerialPortType::UsbPort(usb) => (usb.vid, usb.pid) == USB,
            _ => false,
        })
        .map(|port| port.port_name)
        .collect();
    testers.sort();
    testers
}

/// The port of the only tester that is plugged in.
///
/// # Errors
/// [`PortError::NoTester`] and [`PortError::Several`].
pub fn find() -> Result<String, PortError> {
    let mut testers = testers();
    match testers.len() {
        0 => Err(PortError::NoTester {
            found: candidates(),
        }),
        1 => Ok(testers.remove(0)),
        _ => Err(PortError::Several { found: testers }),
    }
}

/// Opens the port called `name`.
///
/// # Errors
/// A [`PortError`] that says what to do.
pub fn open(name: &str) -> Result<SerialLine, PortError> {
    let mut port = serialport::new(name, BAUD)
        .timeout(WAIT)
        .open()
        .map_err(|error| explain(name, &error))?;
    // A pseudo-terminal answers ENOTTY: it has no DTR, and its other end needs none.
    let _ = port.write_data_terminal_ready(true);
    Ok(SerialLine::new(port, name.to_owned()))
}

fn explain(name: &str, error: &serialport::Error) -> PortError {
    let port = name.to_owned();
    match error.kind {
        ErrorKind::Io(Io::PermissionDenied) => PortError::NoRights { port },
        ErrorKind::Io(Io::NotFound) => PortError::NotThere {
            port,
            found: candidates(),
        },
        ErrorKind::Io(Io::WouldBlock | Io::ResourceBusy) => PortError::Busy { port },
        ErrorKind::NoDevice if std::path::Path::new(name).exists() => PortError::Busy { port },
        ErrorKind::NoDevice => PortError::NotThere {
            port,
            found: candidates(),
        },
        ErrorKind::Unknown | ErrorKind::InvalidInput | ErrorKind::Io(_)
            if std::fs::metadata(name).is_ok_and(|what| what.is_file() || what.is_dir()) =>
        {
            PortError::NotSerial {
                port,
                found: candidates(),
            }
        }
        _ => PortError::Other {
            port,
            reason: error.description.clone(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_that_is_not_there_is_said_so() {
        let error = open("/dev/no-such-slotwise-port")
            .err()
            .expect("no such port");
        assert!(matches!(error, PortError::NotThere { .. }), "{error}");
        assert!(error.to_string().contains("check the cable"));
    }

    #[cfg(unix)]
    #[test]
    fn a_plain_file_is_no_port() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let name = file.path().to_str().unwrap();
        let error = open(name).err().expect("not a port");
        assert!(matches!(error, PortError::NotSerial { .. }), "{error}");
    }

    #[cfg(unix)]
    #[test]
    fn a_port_in_use_is_said_to_be_busy() {
        use serialport::SerialPort as _;
        let (_far, near) = serialport::TTYPort::pair().unwrap();
        let name = near.name().unwrap();
        drop(near);
        let _mine = open(&name).unwrap();
        let error = open(&name).err().expect("in use");
        assert!(matches!(error, PortError::Busy { .. }), "{error}");
    }

    #[test]
    fn no_rights_names_the_group() {
        let denied = serialport::Error::new(ErrorKind::Io(Io::PermissionDenied), "denied");
        let error = explain("/dev/ttyACM0", &denied);
        assert!(error.to_string().contains("dialout"), "{error}");
    }
}
