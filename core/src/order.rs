//! Sorting by numbers. Each call of the standard sort brings a copy of it into the phone's library, 7 KB apiece: here it stands once.

/// Sorts `items` by one number each, ascending in IEEE 754's total order. Items with equal numbers keep their order.
pub(crate) fn by_number<T>(items: &mut [T], mut key: impl FnMut(&T) -> f64) {
    by_numbers(items, |item| [key(item), 0.0]);
}

/// As [`by_number`], by a second number where the first is equal.
pub(crate) fn by_numbers<T>(items: &mut [T], mut key: impl FnMut(&T) -> [f64; 2]) {
    let mut places: Vec<([f64; 2], usize)> = items.iter().enumerate().map(|(place, item)| (key(item), place)).collect();
    sort(&mut places);
    // Round each cycle of the permutation, one swap an item.
    for start in 0..places.len() {
        let mut to = start;
        loop {
            let from = std::mem::replace(&mut places[to].1, to);
            if from == start {
                break;
            }
            items.swap(to, from);
            to = from;
        }
    }
}

fn sort(places: &mut [([f64; 2], usize)]) {
    places.sort_by(|(a, _), (b, _)| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
}

/// Sorts pairs by the first number, then by the second.
pub(crate) fn pairs(pairs: &mut [(f64, f64)]) {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn prop_order_is_that_of_the_standard_stable_sort(keys in prop::collection::vec((0_u8..6, 0_u8..3), 0..40)) {
            let items: Vec<_> = keys.into_iter().enumerate().collect();
            let (mut by_one, mut by_two) = (items.clone(), items.clone());
            by_number(&mut by_one, |(_, (first, _))| f64::from(*first));
            by_numbers(&mut by_two, |(_, (first, second))| [f64::from(*first), f64::from(*second)]);
            let mut expected = items.clone();
            expected.sort_by_key(|(_, (first, _))| *first);
            prop_assert_eq!(by_one, expected);
            let mut expected = items;
            expected.sort_by_key(|(_, both)| *both);
            prop_assert_eq!(by_two, expected);
        }
    }

    #[test]
    fn numbers_that_are_none_go_last_and_nothing_is_lost() {
        let mut items = vec![f64::NAN, 2.0, f64::NEG_INFINITY, -0.0, 0.0];
        by_number(&mut items, |value| *value);
        assert_eq!(items[..4], [f64::NEG_INFINITY, -0.0, 0.0, 2.0]);
        assert!(items[4].is_nan() && items[1].is_sign_negative());
    }
}
