//! What the image could do, read off its machine code: where it could panic, and whether the
//! sampling path could come to floating point.
//!
//! A panic in the tester would be a restart in the middle of a test. Our own code has none. Some
//! crates that we build on have checks that the compiler could not prove away; each is named in
//! [`ALLOWED`] with the reason why it cannot fail, and anything else fails this test.

mod image;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use image::{Image, Reference, call};
use slotwise_tests::emulator::image_or_word;
use slotwise_tests::outside::root;

/// A crate whose panics stay in the image, and why none of them can come.
struct Allowed {
    package: &'static str,
    why: &'static str,
}

const ALLOWED: [Allowed; 8] = [
    Allowed {
        package: "usb-device",
        why: "indexes into its control buffer and the descriptors being written, which it cuts \
              to length before; borrows that end within a call, by whoever holds the port",
    },
    Allowed {
        package: "rp2040-hal",
        why: "borrows of the USB bus end within a call, by whoever holds the port; a packet is \
              cut to the length of its endpoint, which this image sets; a core has the number 0 \
              or 1",
    },
    Allowed {
        package: "rp2040-pac",
        why: "registers of endpoints below the 16 that the bus hands out",
    },
    Allowed {
        package: "sequential-storage",
        why: "futures polled again after their end: `ready` polls once, and nothing below it \
              waits; items within the buffer whose length it checks; a CRC that is never zero",
    },
    Allowed {
        package: "cobs",
        why: "indexes below the end of the frame that the loop before has found",
    },
    Allowed {
        package: "defmt-rtt",
        why: "a message begun inside of another one: our formats call no logger, and messages \
              are made with interrupts off",
    },
    Allowed {
        package: "chrono",
        why: "its tables of the 400 years of a cycle and of the days of a year, by remainders \
              and by days that it has checked",
    },
    Allowed {
        package: "display-interface-i2c",
        why: "copies a command into a buffer of its own; those of the display have 7 bytes at most",
    },
];

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
    assert!(
        entries.len() > 3,
        "the panics were not found: {entries:?}; have they other names now?"
    );
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
fn no_code_of_ours_can_panic_and_others_only_as_listed() {
    let Some(elf) = image_or_word() else { return };
    let bytes = fs::read(&elf).expect("read the image");
    let image = Image::read(&bytes);
    let lines = addr2line::Loader::new(&elf).expect("debug information");
    let mut counts: BTreeMap<String, u32> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (function, reference) in panics(&image) {
        let site = responsible(&image, &lines, function, reference.at);
        *counts.entry(site.package.clone()).or_default() += 1;
        println!("{}", site.text);
        let is_allowed = ALLOWED
            .iter()
            .any(|allowed| allowed.package == site.package);
        if !is_allowed {
            wrong.push(site.text);
        }
    }
    println!("places that call a panic: {counts:?}");
    assert!(
        wrong.is_empty(),
        "these may panic:\n  {}\nTake the panic out (get, checked operations), or list the crate \
         with the reason why it cannot come",
        wrong.join("\n  ")
    );
    let budget = fs::read(root().join("firmware/rp2040/budget.json")).expect("the budget");
    let budget: serde_json::Value = serde_json::from_slice(&budget).expect("JSON");
    for Allowed { package, why } in ALLOWED {
        let count = counts.get(package).copied().unwrap_or(0);
        let most = budget["panicPlaces"][package].as_u64().unwrap_or(0);
        assert!(
            count > 0,
            "{package} has no panic in the image any more: take it off the list ({why})"
        );
        assert!(
            u64::from(count) <= most,
            "{package}: {count} places, {most} in firmware/rp2040/budget.json"
        );
    }
}

/// Not even one of those on the list: an interrupt has nobody above it.
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
    let panic = *before
        .named(|name| name.starts_with("core::panicking::panic"))
        .first()
        .expect("a panic");
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
