//! Running totals that contradict each other: a mistyped one must not keep a book from answering.

use std::collections::BTreeMap;

use super::row::Row;

/// Rows in their order, each pump's running totals reduced to the largest set that never falls; an event whose total is left
/// out stays. Of two equally large sets the one that ends lower is kept.
pub(crate) fn without_contradicting_totals(mut rows: Vec<Row>) -> Vec<Row> {
    let mut totals = BTreeMap::<String, Vec<(usize, f64)>>::new();
    for (at, row) in rows.iter().enumerate() {
        if let Some(total) = row.pump_m3 {
            totals.entry(row.pump.clone()).or_default().push((at, total));
        }
    }
    for told in totals.into_values() {
        let values: Vec<f64> = told.iter().map(|(_, total)| *total).collect();
        let kept = longest_rise(&values);
        for ((at, _), _) in told.iter().zip(&kept).filter(|(_, kept)| !**kept) {
            rows[*at].pump_m3 = None;
        }
    }
    rows
}

/// Marks a longest run of values, not necessarily side by side, that never falls.
pub(super) fn longest_rise(values: &[f64]) -> Vec<bool> {
    // ends[k]: where the rise of k + 1 values with the least last value ends.
    let mut ends = Vec::<usize>::new();
    let mut before = vec![None; values.len()];
    for (at, value) in values.iter().enumerate() {
        let rank = ends.partition_point(|&end| values[end] <= *value);
        before[at] = rank.checked_sub(1).map(|k| ends[k]);
        match ends.get_mut(rank) {
            Some(end) => *end = at,
            None => ends.push(at),
        }
    }
    let mut kept = vec![false; values.len()];
    let mut next = ends.last().copied();
    while let Some(at) = next {
        kept[at] = true;
        next = before[at];
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::longest_rise;
    use proptest::prelude::*;

    fn kept(values: &[f64]) -> Vec<f64> {
        values.iter().zip(longest_rise(values)).filter(|(_, kept)| *kept).map(|(value, _)| *value).collect()
    }

    #[test]
    fn one_mistyped_total_is_left_out_wherever_it_stands() {
        assert_eq!(kept(&[100.0, 150.0, 2000.0, 210.0, 260.0]), [100.0, 150.0, 210.0, 260.0]);
        assert_eq!(kept(&[100.0, 150.0, 15.0, 210.0]), [100.0, 150.0, 210.0]);
        assert_eq!(kept(&[9000.0, 100.0, 150.0]), [100.0, 150.0]);
        assert_eq!(kept(&[100.0, 100.0, 120.0]), [100.0, 100.0, 120.0]);
        assert!(kept(&[]).is_empty());
    }

    proptest! {
        #[test]
        fn prop_what_is_kept_never_falls_and_no_longer_rise_exists(values in prop::collection::vec(0_u8..20, 0..9)) {
            let values: Vec<f64> = values.into_iter().map(f64::from).collect();
            let kept = kept(&values);
            prop_assert!(kept.is_sorted());
            let best = (0_u32..1 << values.len())
                .map(|mask| (0..values.len()).filter(|i| mask >> i & 1 == 1).map(|i| values[i]).collect::<Vec<_>>())
                .filter(|some| some.is_sorted())
                .map(|some| some.len())
                .max()
                .unwrap_or(0);
            prop_assert_eq!(kept.len(), best);
        }
    }
}
