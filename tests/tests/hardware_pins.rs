//! The pin table of the hardware notes against the source of the board, and that a wrong pin is
//! noticed.

use slotwise_tests::hardware::{Table, text};
use slotwise_tests::hardware_pins::{claims, disagreements};
use slotwise_tests::outside::root;

fn board() -> String {
    let path = root().join("firmware/rp2040/src/board.rs");
    std::fs::read_to_string(path).expect("the board's source")
}

#[test]
fn the_table_and_the_board_agree() {
    assert!(claims(&board()).len() >= 20, "{:?}", claims(&board()));
    let found = disagreements(&Table::read("pins.csv"), &board());
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn a_wrong_pin_in_the_table_is_noticed() {
    let table = text("pins.csv");
    for (right, wrong) in [
        ("20,converter data ready", "23,converter data ready"),
        ("8,P1 relay A", "27,P1 relay A"),
        ("10,flash SPI1 SCK", "1,flash SPI1 SCK"),
    ] {
        assert!(table.contains(right), "{right}");
        let mutant = Table::parse(&table.replace(right, wrong));
        assert!(!disagreements(&mutant, &board()).is_empty(), "{wrong}");
    }
}

#[test]
fn pins_exchanged_in_the_source_are_noticed() {
    let source = board();
    for (one, other) in [
        ("pins.gpio19", "pins.gpio16"),
        ("pins.gpio2)", "pins.gpio7)"),
        ("pins.gpio17", "pins.gpio13"),
        ("pins.gpio20", "pins.gpio21"),
        ("pins.gpio0.", "pins.gpio1."),
    ] {
        assert!(source.contains(one) && source.contains(other), "{one}");
        let mutant = source
            .replace(one, "PLACE")
            .replace(other, one)
            .replace("PLACE", other);
        let found = disagreements(&Table::read("pins.csv"), &mutant);
        assert!(!found.is_empty(), "{one} for {other}");
    }
}
