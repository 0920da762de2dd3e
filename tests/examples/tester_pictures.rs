//! Pictures of the tester's front: lamps and display.
//!
//! ```sh
//! cargo run -p slotwise-tests --example tester_pictures                      # host/pictures/
//! cargo run -p slotwise-tests --example tester_pictures -- --each FOLDER     # a file a state
//! cargo run -p slotwise-tests --example tester_pictures -- REPORT.json OUT.png
//! ```
//!
//! The last takes the report of an emulated run (`node tests/emulator/run.mjs --display --report`).

use std::error::Error;
use std::fs;
use std::path::Path;

use slotwise_tests::outside::root;
use slotwise_tests::tester_picture::{image, of_report};
use slotwise_tests::tester_states::states;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.as_slice() {
        [] => {
            let file = root().join("host/pictures/tester.png");
            fs::write(&file, image(&states()).png())?;
            println!("wrote {}", file.display());
        }
        [each, folder] if each == "--each" => {
            fs::create_dir_all(folder)?;
            for (number, front) in states().into_iter().enumerate() {
                let file = Path::new(folder).join(format!("{number:02}.png"));
                println!("{}: {}", file.display(), front.caption);
                fs::write(file, image(&[front]).png())?;
            }
        }
        [report, out] => {
            let report = serde_json::from_str(&fs::read_to_string(report)?)?;
            fs::write(out, image(&[of_report(&report)?]).png())?;
        }
        _ => return Err("give nothing, --each FOLDER, or REPORT.json OUT.png".into()),
    }
    Ok(())
}
