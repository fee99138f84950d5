//! Body of the fuzz target of the CSV import: an ordinary function that must return, whatever the bytes.

use super::{marks, samples};

/// Reads `data` as samples and as marks. Rows that were taken are counted, times and values are numbers.
///
/// # Panics
/// When a row is neither used nor set aside, or a value is not finite.
pub fn csv_text(data: &[u8]) {
    let mut taken = 0;
    let read = samples::read_samples("a.csv", data, 0.0, |row, line| {
        taken += 1;
        assert!(line > 0);
        assert!(row.load_n.is_some() || row.depth_m.is_some());
        assert!(
            [row.load_n, row.depth_m]
                .iter()
                .flatten()
                .all(|value| value.is_finite())
        );
        Ok(())
    });
    match read {
        Ok(aside) => {
            assert!(taken > 0 && aside.used == taken);
            // A cell may be set aside while its row is used: never fewer rows than accounted for.
            assert!(aside.used + aside.without_value <= aside.rows);
            assert!(aside.used + aside.without_value + aside.count() >= aside.rows);
            for finding in aside.findings("a.csv") {
                assert!(!finding.to_string().is_empty());
            }
        }
        Err(failure) => assert!(!failure.to_string().is_empty()),
    }
    match marks::read_marks("m.csv", data, 0.0) {
        Ok((marks, aside)) => {
            assert!(marks.is_sorted_by_key(|(at, _)| *at));
            assert_eq!(marks.len() as u64 + aside.count(), aside.rows);
        }
        Err(failure) => assert!(!failure.to_string().is_empty()),
    }
}
