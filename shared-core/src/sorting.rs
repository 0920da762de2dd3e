//! Putting a few numbers in order, with no way to panic.
//!
//! The sorts of the standard library end in a panic when an order contradicts itself. An order
//! that is total never does, but the compiler does not know that, and the path stays in the
//! tester's image. Here a contradiction would give a wrong order and nothing else.
//!
//! Limits: meant for at most some hundred values. [`sort`] is a comb sort: `n log n` in practice,
//! `n^2` at worst. [`nth`] selects by parting in three: linear in practice, `n^2` at worst.

use core::cmp::Ordering;

/// Sorts `values`. The order of equal ones is not kept.
pub(crate) fn sort<T>(values: &mut [T], mut order: impl FnMut(&T, &T) -> Ordering) {
    let mut gap = values.len();
    // Passes at gap 1. A total order needs no more than there are values.
    let mut passes = 0;
    while passes <= values.len() {
        // The usual shrink factor of a comb sort, 1.3.
        gap = (gap * 10 / 13).max(1);
        let mut changed = false;
        for at in 0..values.len().saturating_sub(gap) {
            if let Ok([low, high]) = values.get_disjoint_mut([at, at + gap])
                && order(high, low).is_lt()
            {
                core::mem::swap(low, high);
                changed = true;
            }
        }
        if gap == 1 {
            if !changed {
                return;
            }
            passes += 1;
        }
    }
}

/// The value that would stand at `place` of `values` in order; changes their places. `None`
/// beyond the end.
pub(crate) fn nth<T: Copy>(
    values: &mut [T],
    mut place: usize,
    mut order: impl FnMut(&T, &T) -> Ordering,
) -> Option<T> {
    let mut part = values;
    loop {
        let pivot = *part.get(part.len() / 2)?;
        // Below the pivot up to `low`, equal to it up to `at`, not looked at up to `high`.
        let (mut low, mut at, mut high) = (0, 0, part.len());
        while at < high {
            match order(part.get(at)?, &pivot) {
                Ordering::Less => {
                    swap(part, low, at);
                    low += 1;
                    at += 1;
                }
                Ordering::Equal => at += 1,
                Ordering::Greater => {
                    high -= 1;
                    swap(part, at, high);
                }
            }
        }
        if low == part.len() || high == 0 {
            // The pivot is not equal to itself: not an order.
            return Some(pivot);
        }
        if place < low {
            part = part.get_mut(..low)?;
        } else if place < high {
            return Some(pivot);
        } else {
            part = part.get_mut(high..)?;
            place -= high;
        }
    }
}

/// Nothing if both are the same place.
#[inline]
fn swap<T>(values: &mut [T], one: usize, other: usize) {
    if let Ok([one, other]) = values.get_disjoint_mut([one, other]) {
        core::mem::swap(one, other);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        // Oracle: the standard library's own sort.
        #[test]
        fn the_order_is_that_of_the_standard_library(values: Vec<f32>, at: prop::sample::Index) {
            let mut expected = values.clone();
            expected.sort_by(f32::total_cmp);
            let bits = |values: &[f32]| values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            let mut sorted = values.clone();
            sort(&mut sorted, f32::total_cmp);
            prop_assert_eq!(bits(&sorted), bits(&expected));
            if !values.is_empty() {
                let place = at.index(values.len());
                let found = nth(&mut values.clone(), place, f32::total_cmp);
                prop_assert_eq!(found.map(f32::to_bits), Some(expected[place].to_bits()));
            }
        }

        #[test]
        fn few_different_values_are_parted_too(
            values in prop::collection::vec(-2_i32..3, 1..200),
            at: prop::sample::Index,
        ) {
            let mut expected = values.clone();
            expected.sort_unstable();
            let place = at.index(values.len());
            prop_assert_eq!(nth(&mut values.clone(), place, Ord::cmp), Some(expected[place]));
        }
    }

    #[test]
    fn beyond_the_end_there_is_none_and_an_order_of_nonsense_ends() {
        assert_eq!(nth(&mut [1, 2], 2, Ord::cmp), None);
        assert_eq!(nth::<u8>(&mut [], 0, Ord::cmp), None);
        // An order that is not total: any answer will do, a panic or a loop will not.
        let nonsense = |a: &i32, b: &i32| (a * 7 % 5).cmp(&(b * 3 % 4));
        for place in 0..40 {
            let mut values: Vec<i32> = (0..40).collect();
            let _ = nth(&mut values, place, nonsense);
            sort(&mut values, nonsense);
        }
    }
}
