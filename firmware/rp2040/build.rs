//! Hands the linker its scripts when the image is built; does nothing for a desktop build.
//!
//! `memory.x` is copied to the output folder because the runtime crate's `link.x` includes it
//! by name. `DEFMT_LOG` is set here because without it only errors are logged.

use std::path::PathBuf;
use std::{env, error::Error, fs};

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=memory.x");
    println!("cargo:rerun-if-env-changed=DEFMT_LOG");
    if env::var("CARGO_CFG_TARGET_OS")? != "none" {
        return Ok(());
    }
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::write(out.join("memory.x"), include_bytes!("memory.x"))?;
    println!("cargo:rustc-link-search={}", out.display());
    // --nmagic: no page alignment between segments, so the image has no gaps.
    for argument in ["--nmagic", "-Tlink.x", "-Tdefmt.x"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
    let level = env::var("DEFMT_LOG").unwrap_or_else(|_| "info".to_owned());
    println!("cargo:rustc-env=DEFMT_LOG={level}");
    Ok(())
}
