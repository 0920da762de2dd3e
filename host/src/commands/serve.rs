//! `serve`: the office's pages on this computer.

use std::net::{Ipv4Addr, SocketAddr};

use slotwise_core::limits::BandSet;

use super::{note, out};
use crate::archive;
use crate::cli::ServeArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::serve::{Job, Office, serve};
use crate::texts::English;

/// Runs `serve` until it is told to stop.
///
/// # Errors
/// An archive that cannot be used, an address that cannot be had.
pub(super) fn run(args: &ServeArgs) -> Result<Exit, Error> {
    // Said now rather than on every page.
    drop(archive::open(&args.archive.archive)?);
    let address = args
        .listen
        .unwrap_or_else(|| SocketAddr::from((Ipv4Addr::LOCALHOST, args.port)));
    if !address.ip().is_loopback() {
        note(
            "everybody who can reach this address can read the archive: there is no password. Use \
             it inside a network that you trust",
        );
    }
    let office = Office {
        archive: args.archive.archive.clone(),
        band: BandSet::from(args.choice.band),
        prepared_by: args.choice.prepared_by.clone().unwrap_or_default(),
        ports: args.tester_port.clone(),
        job: Job::default(),
        hosts: args.host.clone(),
        language: &English,
    };
    serve(address, office, |bound| {
        // Nobody to tell is no reason not to serve.
        let _ = out(&format!(
            "the pages are at http://{bound}/ ; Ctrl-C ends them\n"
        ));
    })?;
    Ok(Exit::Done)
}
