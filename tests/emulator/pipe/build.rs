//! Hands the linker its scripts.
use std::path::PathBuf;
use std::{env, error::Error, fs};

const MEMORY: &str = "MEMORY { FLASH : ORIGIN = 0x10000100, LENGTH = 2047K  RAM : ORIGIN = 0x20000000, LENGTH = 256K }\n";

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::write(out.join("memory.x"), MEMORY)?;
    println!("cargo:rustc-link-search={}", out.display());
    for argument in ["--nmagic", "-Tlink.x"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
    Ok(())
}
