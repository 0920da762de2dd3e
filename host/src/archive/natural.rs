//! The order of sites in a list: as a person would put them, "Unit 2" before "Unit 10", capitals and
//! accents beside their letters. It is the root order of Unicode's collation (UTS #10, CLDR) with
//! numbers by their value.
//!
//! The archive keeps a key beside each name, so that a page of the list is read from an index. Keys
//! of two versions of that order do not mix: a test holds them fast, and a change of it needs a step
//! of migration that empties them (`UPDATE site SET sort = NULL`); opening fills what is empty.

use std::sync::OnceLock;

use icu_collator::options::CollatorOptions;
use icu_collator::preferences::CollationNumericOrdering;
use icu_collator::{Collator, CollatorBorrowed, CollatorPreferences};
use rusqlite::{Connection, TransactionBehavior, params};

/// The key of a name: keys compare byte by byte as names do for a person.
#[must_use]
pub fn sort_key(name: &str) -> Vec<u8> {
    static COLLATOR: OnceLock<Option<CollatorBorrowed<'static>>> = OnceLock::new();
    let collator = COLLATOR.get_or_init(|| {
        let mut wishes = CollatorPreferences::default();
        wishes.numeric_ordering = Some(CollationNumericOrdering::True);
        Collator::try_new(wishes, CollatorOptions::default()).ok()
    });
    let mut key = Vec::new();
    match collator {
        Some(collator) => {
            let Ok(()) = collator.write_sort_key_to(name, &mut key);
        }
        // Its data are part of the program.
        None => key.extend_from_slice(name.as_bytes()),
    }
    key
}

/// Gives a key to the sites that have none.
pub(super) fn fill(connection: &mut Connection) -> rusqlite::Result<()> {
    let is_any: bool = connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM site WHERE sort IS NULL)",
        [],
        |row| row.get(0),
    )?;
    if !is_any {
        return Ok(());
    }
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    {
        let mut without = transaction.prepare("SELECT id, name FROM site WHERE sort IS NULL")?;
        let mut give = transaction.prepare("UPDATE site SET sort = ?2 WHERE id = ?1")?;
        let names: Vec<(i64, String)> = without
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<rusqlite::Result<_>>()?;
        for (id, name) in names {
            give.execute(params![id, sort_key(&name)])?;
        }
    }
    transaction.commit()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_count_by_their_value_and_letters_whatever_their_dress() {
        let order = [
            "",
            "7 Fell Lane",
            "12 Fell Lane",
            "Ærø 1",
            "Larkfield Terrace 2",
            "larkfield terrace 9",
            "Larkfield Terrace 10",
            "Larkfield Terrace 10a",
            "Larkfield Terrace 010b",
            "Larkfield Terrace 11",
            "Unit 2",
            "Unit 10",
            "Unit 18446744073709551616",
        ];
        let keys: Vec<Vec<u8>> = order.iter().map(|name| sort_key(name)).collect();
        for (pair, names) in keys.windows(2).zip(order.windows(2)) {
            assert!(pair[0] < pair[1], "{names:?}");
        }
    }

    /// Other bytes here mean that archives hold keys of another order: see above.
    #[test]
    fn keys_in_archives_stay_what_they_are() {
        let hex =
            |name: &str| -> String { sort_key(name).iter().map(|b| format!("{b:02x}")).collect() };
        assert_eq!(hex("Unit 10"), "53453b5104100c010a01dc09");
        assert_eq!(hex("Ærø 2"), "2b334d470410040170439e0601e0e209");
    }
}
