//! What the image could do, read off its machine code: whether it could panic, and whether the
//! sampling path could come to floating point.
//!
//! A panic in the tester would be a restart in the middle of a test. There is none in the image, ours
//! or of a crate: the compiler proved every check away, and the functions that panics end in are
//! not even linked. What is left is the door that the panic handler would go through, kept for
//! the tests of restarts, and nothing leads to it.

mod image;

use std::collections::BTreeSet;
use std::fs;

use image::{Image, Reference, call};
use slotwise_tests::emulator::{image_or_word, target_folder};
use slotwise_tests::outside::not_checked;

/// Where the panic handler goes; a `#[used]` static keeps it in the image.
const DOOR: &str = "slotwise_panicked";

/// Names of the functions that panics end in, all in the core library or the logger.
fn is_panic_entry(name: &str) -> bool {
    let name = name.strip_prefix("__Thumbv6MABSLongThunk_").map_or_else(
        || name.to_owned(),
        |far| format!("{:#}", rustc_demangle::demangle(far)),
    );
    name.starts_with("core::panicking::")
        || [
            "core::option::unwrap_failed",
            "core::option::expect_failed",
            "core::result::unwrap_failed",
            "core::slice::index::slice_",
            "core::cell::panic_already",
            "core::str::slice_error_fail",
            "core::panic::",
            "_defmt_panic",
            "__defmt_default_panic",
        ]
        .iter()
        .any(|start| name.starts_with(start))
        || name.contains("panic_on_ord_violation")
        || name.contains("rust_begin_unwind")
        || name == DOOR
}

/// The compiler's routines for floating point, and the library's.
fn is_float(name: &str) -> bool {
    let routine = name.strip_prefix("__aeabi_").is_some_and(|rest| {
        let conversions = ["i2f", "i2d", "l2f", "l2d", "ui2", "ul2", "h2f"];
        let kinds = ["d", "f", "cd", "cf"];
        conversions.iter().any(|start| rest.starts_with(start))
            || kinds.iter().any(|start| {
                rest.strip_prefix(start).is_some_and(|rest| {
                    [
                        "add", "sub", "mul", "div", "neg", "cmp", "rsub", "2", "un", "eq", "lt",
                        "gt", "le", "ge",
                    ]
                    .iter()
                    .any(|what| rest.starts_with(what))
                })
            })
    });
    routine || name.starts_with("libm::") || name.contains("compiler_builtins::float")
}

/// Whose a file of the debug information is: `usb-device`, `slotwise`, `core`.
fn package(file: &str) -> String {
    let is_version =
        |text: &str| text.split('.').count() >= 3 && text.starts_with(|c: char| c.is_ascii_digit());
    // The last one: paths of crates stand behind that of the folder they were built in.
    let of_crate = file.split('/').rev().find_map(|part| {
        let (name, version) = part.rsplit_once('-')?;
        is_version(version).then(|| name.to_owned())
    });
    if file.contains("/library/") || file.contains("/rustc/") || file.starts_with("rust/") {
        "core".to_owned()
    } else {
        of_crate.unwrap_or_else(|| "slotwise".to_owned())
    }
}

/// A place that calls a panic.
#[derive(Debug)]
struct Site {
    package: String,
    text: String,
}

/// Who wrote it: whose source the panic names, if that is not the core library's; else the
/// innermost frame of the debug information that is not.
fn responsible(image: &Image, lines: &addr2line::Loader, function: &str, at: u32) -> Site {
    if let Some(place) = image.panic_place(at) {
        let package = package(&place);
        if package != "core" {
            let text = format!("{place}, in {function} at {at:#010x}");
            return Site { package, text };
        }
    }
    let mut found: Option<(String, String)> = None;
    if let Ok(mut frames) = lines.find_frames(u64::from(at)) {
        while let Ok(Some(frame)) = frames.next() {
            let Some(location) = frame.location else {
                continue;
            };
            let file = location.file.unwrap_or("?");
            let owner = package(file);
            let is_core = owner == "core";
            let line = location.line.unwrap_or(0);
            if found.is_none() || !is_core {
                found = Some((owner, format!("{file}:{line}")));
            }
            if !is_core {
                break;
            }
        }
    }
    let (package, place) = found.unwrap_or_else(|| ("?".to_owned(), "?".to_owned()));
    Site {
        text: format!("{place}, in {function} at {at:#010x}"),
        package,
    }
}

/// Every call of a panic from outside of the panics themselves.
fn panics(image: &Image) -> Vec<(&str, Reference)> {
    let entries = image.named(is_panic_entry);
    assert!(!entries.is_empty(), "has the door another name now?");
    let functions = image.functions.iter();
    functions
        .filter(|(at, _)| !entries.contains(at))
        .flat_map(|(_, function)| function.to.iter().map(|to| (function.name(), *to)))
        .filter(|(_, reference)| entries.contains(&reference.to))
        .collect()
}

fn one(image: &Image, name: &str) -> BTreeSet<u32> {
    let found = image.named(|found| found == name);
    assert!(!found.is_empty(), "no function {name} in the image");
    found
}

/// The two interrupts.
fn handlers(image: &Image) -> BTreeSet<u32> {
    one(image, "IO_IRQ_BANK0")
        .union(&one(image, "DMA_IRQ_0"))
        .copied()
        .collect()
}

/// The frame's way that may have more to it than a sum: the end of a window, a path measured.
fn long_way(image: &Image) -> BTreeSet<u32> {
    let found = image.named(|name| name.contains("frame_the_long_way"));
    assert!(
        !found.is_empty(),
        "the long way of a frame has another name"
    );
    found
}

#[test]
fn nothing_in_the_image_can_panic() {
    let Some(elf) = image_or_word() else { return };
    let image = Image::read(&fs::read(&elf).expect("read the image"));
    let lines = addr2line::Loader::new(&elf).expect("debug information");
    let found: Vec<String> = panics(&image)
        .into_iter()
        .map(|(function, reference)| responsible(&image, &lines, function, reference.at).text)
        .collect();
    assert!(
        found.is_empty(),
        "these may panic:\n  {}\nTake the panic out (get, checked operations, a crate without it)",
        found.join("\n  ")
    );
    // Nor by a pointer that this test cannot follow: there is nothing that it could lead to.
    let linked: Vec<&str> = image
        .functions
        .values()
        .filter(|function| function.names.iter().any(|name| is_panic_entry(name)))
        .map(image::Function::name)
        .collect();
    assert_eq!(linked, [DOOR]);
}

/// The same search in a program of the same crates as they are published, which has panics.
#[test]
fn panics_are_found_where_there_are_some() {
    let elf = target_folder().join("pipe/thumbv6m-none-eabi/release/echo");
    let Ok(bytes) = fs::read(&elf) else {
        not_checked(
            "no bare USB program to look for panics in",
            "run tests/run, or node tests/emulator/pull-rate.mjs --build",
        );
        return;
    };
    let image = Image::read(&bytes);
    let lines = addr2line::Loader::new(&elf).expect("debug information");
    let owners: BTreeSet<String> = panics(&image)
        .into_iter()
        .map(|(function, reference)| responsible(&image, &lines, function, reference.at).package)
        .collect();
    for crate_with_panics in ["usb-device", "rp2040-hal"] {
        assert!(owners.contains(crate_with_panics), "{owners:?}");
    }
}

#[test]
fn the_interrupts_of_sampling_lead_to_no_panic_and_to_no_float() {
    let Some(elf) = image_or_word() else { return };
    let image = Image::read(&fs::read(elf).expect("read the image"));
    let from = image.reached(&handlers(&image), &BTreeSet::new());
    for at in from.keys() {
        let function = &image.functions[at];
        let is_bad = function
            .names
            .iter()
            .any(|name| is_panic_entry(name) || is_float(name));
        assert!(!is_bad, "{}", image.way(&from, *at));
        assert!(
            function.to_registers.is_empty() || function.name().contains("LongThunk"),
            "{} branches to a register at {:x?}: this test cannot follow it",
            image.way(&from, *at),
            function.to_registers
        );
    }
    println!("the interrupts lead to {} functions", from.len());
}

#[test]
fn a_frame_on_its_short_way_comes_to_no_float() {
    let Some(elf) = image_or_word() else { return };
    let image = Image::read(&fs::read(elf).expect("read the image"));
    let roots = one(&image, "slotwise_take_frames");
    let door = long_way(&image);
    let from = image.reached(&roots, &door);
    let sums = image.named(|name| name.contains("Summing::add"));
    assert!(
        sums.iter().any(|at| from.contains_key(at)),
        "the sums are not on the way: {:?}",
        from.keys()
            .filter_map(|at| Some(image.functions.get(at)?.name()))
            .collect::<Vec<_>>()
    );
    for at in from.keys() {
        let function = &image.functions[at];
        assert!(
            !function
                .names
                .iter()
                .any(|name| is_float(name) || is_panic_entry(name)),
            "{}",
            image.way(&from, *at)
        );
        assert!(
            function.to_registers.is_empty() || function.name().contains("LongThunk"),
            "{} branches to a register: this test cannot follow it",
            image.way(&from, *at)
        );
    }
    // The long way ends windows, in floating point: a search that finds none there finds nothing.
    let from = image.reached(&roots, &BTreeSet::new());
    let floats = image.named(is_float);
    assert!(floats.iter().any(|at| from.contains_key(at)));
}

#[test]
fn a_planted_panic_is_found() {
    let Some(elf) = image_or_word() else { return };
    let bytes = fs::read(&elf).expect("read the image");
    let before = Image::read(&bytes);
    let known: BTreeSet<u32> = panics(&before).iter().map(|(_, to)| to.at).collect();
    let panic = *one(&before, DOOR).first().expect("the door");
    // A call of ours in flash, made to lead to a panic.
    let (name, planted) = before
        .functions
        .values()
        .filter(|function| {
            function
                .name()
                .starts_with("<slotwise_firmware::tester::Tester")
                || function.name().contains("slotwise_firmware::tester")
        })
        .find_map(|function| {
            let call = function
                .to
                .iter()
                .find(|to| to.at < 0x2000_0000 && !known.contains(&to.at))?;
            Some((function.name().to_owned(), *call))
        })
        .expect("a call");
    let changed = patched(&bytes, planted.at, panic);
    let after = Image::read(&changed);
    let found: Vec<_> = panics(&after)
        .into_iter()
        .filter(|(_, to)| !known.contains(&to.at))
        .collect();
    assert_eq!(
        found,
        [(
            name.as_str(),
            Reference {
                at: planted.at,
                to: panic
            }
        )]
    );
    let lines = addr2line::Loader::new(&elf).expect("debug information");
    let site = responsible(&before, &lines, &name, planted.at);
    assert_eq!(site.package, "slotwise", "{}", site.text);
}

/// The file with the call at `at` leading to `to`.
fn patched(bytes: &[u8], at: u32, to: u32) -> Vec<u8> {
    use object::{Object, ObjectSection};
    let file = object::File::parse(bytes).expect("an ELF file");
    let place = file
        .sections()
        .find_map(|section| {
            let inside = u64::from(at).checked_sub(section.address())?;
            let (from, size) = section.file_range()?;
            (section.address() != 0 && inside < size).then_some((from + inside) as usize)
        })
        .expect("a section");
    let mut changed = bytes.to_vec();
    let [high, low] = call(at, to);
    changed[place..place + 2].copy_from_slice(&high.to_le_bytes());
    changed[place + 2..place + 4].copy_from_slice(&low.to_le_bytes());
    changed
}

#[test]
fn names_are_sorted_right() {
    for name in [
        "__aeabi_dadd",
        "__aeabi_fcmplt",
        "__aeabi_ui2d",
        "__aeabi_cdcmple",
        "libm::math::sqrt",
    ] {
        assert!(is_float(name), "{name}");
    }
    for name in [
        "__aeabi_memcpy4",
        "__aeabi_lmul",
        "__aeabi_uidiv",
        "slotwise_accumulate",
    ] {
        assert!(!is_float(name), "{name}");
    }
    assert_eq!(
        package("slotwise/crates/index-1/usb-device-0.3.2/src/bus.rs"),
        "usb-device"
    );
    assert_eq!(package("slotwise/firmware/src/link.rs"), "slotwise");
    assert_eq!(package("/rustc/0123/library/core/src/panic.rs"), "core");
}
