//! What README shows of the program is what the program has: the picture of the lamps and the
//! table of finding numbers. `SLOTWISE_WRITE_README=1 cargo test -p slotwise-tests --test readme`
//! makes both anew.

use std::fs;

use slotwise_tests::finding_table::rows;
use slotwise_tests::lamp_picture::svg;
use slotwise_tests::outside::root;

const HEAD: &str = "| number | finding |\n|---|---|\n";

fn write_anew() -> bool {
    std::env::var_os("SLOTWISE_WRITE_README").is_some()
}

#[test]
fn the_picture_of_the_lamps_is_up_to_date() {
    let file = root().join("host/pictures/lamps.svg");
    if write_anew() {
        fs::write(&file, svg()).expect("the picture can be written");
    }
    let kept = fs::read_to_string(&file).expect("the picture is there");
    assert_eq!(kept, svg(), "make it anew, see the top of this file");
}

#[test]
fn the_table_of_finding_numbers_is_up_to_date() {
    let file = root().join("README.md");
    let text = fs::read_to_string(&file).expect("README is there");
    let (before, rest) = text.split_once(HEAD).expect("README has the table");
    let end = rest.find("\n\n").map_or(rest.len(), |end| end + 1);
    let (kept, after) = rest.split_at(end);
    if write_anew() {
        let text = format!("{before}{HEAD}{}{after}", rows());
        fs::write(&file, text).expect("README can be written");
        return;
    }
    assert_eq!(kept, rows(), "make it anew, see the top of this file");
}
