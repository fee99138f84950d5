//! Rows whose time lies before that of a row further up: a clock that was set back, or rows out of order.
//!
//! *Input*: times of rows in file order. *Output*: findings with the remedy that fits. Sorting puts rows right that were
//! written out of order; after a clock that was set back it would mix readings of two moments, so two depths, under one
//! time. The two are told apart by what the later rows cover: those after a step back of the clock run on over times that
//! earlier rows have already, those out of order fill a hole or lie before all others.

use crate::failure::Finding;
use crate::units_shown::{clock, count, duration};
use kerfwatch::align::{CELL_S, WAIT_CELLS};
use kerfwatch::job::significant;
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, nanos, seconds};

/// A step back by less is no clock that was set, but rows in a jumble.
const STEP_MIN: Nanos = 2 * NANOS_PER_SECOND;
/// A silence of so much ends a stretch: the hole may be filled by rows further down.
const HOLE_MIN: Nanos = 10 * NANOS_PER_SECOND;
/// Stretches kept; a table that steps back oftener is a jumble.
const STRETCHES_MAX: usize = 1000;
/// Steps of the clock told one by one.
const STEPS_SHOWN: usize = 3;
/// A clock that is set back again is told from rows in a jumble by running on for so many rows.
const ROWS_MIN: u64 = 10;

/// Rows in a row, without a step back and without a hole.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// Row at which it begins.
    line: u64,
    /// Time of the row before, where this one begins with a step back.
    back_from: Option<Nanos>,
    first: Nanos,
    last: Nanos,
    rows: u64,
    /// Of these, older than a row before, and so much older that the result leaves them out.
    older: u64,
    late: u64,
}

/// Looks at the time of every row.
#[derive(Debug, Default)]
pub(super) struct Order {
    stretches: Vec<Stretch>,
    newest: Option<Nanos>,
    before: Option<Nanos>,
    rows: u64,
}

impl Order {
    /// The next row, which stands in line `line`.
    pub(super) fn take(&mut self, at: Nanos, line: u64) {
        let wait = nanos(WAIT_CELLS as f64 * CELL_S).unwrap_or(0);
        let behind = self.newest.map_or(0, |newest| newest.saturating_sub(at));
        let step = self.before.map_or(0, |before| at.saturating_sub(before));
        let breaks = self.before.is_none() || !(-STEP_MIN..=HOLE_MIN).contains(&step);
        if breaks && self.stretches.len() < STRETCHES_MAX {
            self.stretches.push(Stretch {
                line,
                back_from: self.before.filter(|_| step < -STEP_MIN),
                first: at,
                last: at,
                rows: 0,
                older: 0,
                late: 0,
            });
        }
        if let Some(now) = self.stretches.last_mut() {
            now.first = now.first.min(at);
            now.last = now.last.max(at);
            now.rows += 1;
            now.older += u64::from(behind > 0);
            now.late += u64::from(behind > wait);
        }
        self.rows += 1;
        self.newest = Some(self.newest.map_or(at, |newest| newest.max(at)));
        self.before = Some(at);
    }

    /// What is wrong with the order of the rows of `file`.
    pub(super) fn findings(&self, file: &str) -> Vec<Finding> {
        let mut found = Vec::new();
        let jumble = self.stretches.len() >= STRETCHES_MAX;
        let set_back: Vec<usize> = (0..self.stretches.len())
            .filter(|&i| !jumble && self.is_set_back(i))
            .collect();
        for &i in set_back.iter().take(STEPS_SHOWN) {
            found.push(self.step_told(file, i));
        }
        if set_back.len() > STEPS_SHOWN {
            found.push(Finding::new(
                file,
                format!(
                    "time goes back {} more times over times that earlier rows have",
                    set_back.len() - STEPS_SHOWN
                ),
                "see above: each step is added to those before it",
            ));
        }
        // Rows after a step of the clock are old until it has caught up, stretches later too.
        let first_step = set_back.first().copied().unwrap_or(self.stretches.len());
        let (older, late) = (self.stretches.iter().take(first_step))
            .fold((0, 0), |(older, late), s| (older + s.older, late + s.late));
        if older > 0 {
            found.push(self.out_of_order(file, older, late));
        }
        found
    }

    /// A stretch that steps back and then covers times that those before it have.
    fn is_set_back(&self, i: usize) -> bool {
        let here = &self.stretches[i];
        let overlaps = |earlier: &Stretch| {
            let common = here.last.min(earlier.last) - here.first.max(earlier.first);
            common > STEP_MIN
        };
        here.back_from.is_some()
            && here.rows >= ROWS_MIN
            && self.stretches[..i].iter().any(overlaps)
    }

    fn step_told(&self, file: &str, i: usize) -> Finding {
        let here = &self.stretches[i];
        let late: u64 = self.stretches[i..].iter().map(|s| s.late).sum();
        let back = here
            .back_from
            .unwrap_or(here.first)
            .saturating_sub(here.first);
        let pace = seconds(here.last.saturating_sub(here.first)) / here.rows.max(1) as f64;
        // To the tenth of a second above, so that no row comes to lie before the step.
        let add = (10.0 * (seconds(back) + pace)).ceil() / 10.0;
        Finding::new(
            file,
            format!(
                "time goes back by {} here, from {} to {}, and runs on over times that earlier rows have: the clock was set \
                 back or began anew. {} of {} rows ({:.0} %) come too late for it and are left out of the result",
                duration(seconds(back)),
                clock(here.back_from.map_or(0.0, seconds)),
                clock(seconds(here.first)),
                count(late),
                count(self.rows),
                100.0 * late as f64 / self.rows.max(1) as f64
            ),
            format!(
                "add {add:.1} s to the times of this row and of all below it, and of marks made after it (more, if the \
                 logger stood still meanwhile), and import again. Do not sort: that mixes two depths at one time. If these \
                 are rows of another table, or the same ones once more, import them by themselves or cut them off"
            ),
        )
        .at(here.line)
        .field("time_s")
    }

    fn out_of_order(&self, file: &str, older: u64, late: u64) -> Finding {
        let left_out = match late {
            0 => String::new(),
            _ => format!(
                ", {} of them so late that the result leaves them out ({:.0} % of all rows)",
                count(late),
                100.0 * late as f64 / self.rows.max(1) as f64
            ),
        };
        Finding::new(
            file,
            format!(
                "{} older than a row before {}; kept in file order{left_out}",
                match older {
                    1 => "1 row is".to_owned(),
                    n => format!("{} rows are", count(n)),
                },
                if older == 1 { "it" } else { "them" },
            ),
            format!(
                "sort the rows by time_s; what comes more than {} s late may be left out of the result and counted as late",
                significant(WAIT_CELLS as f64 * CELL_S)
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Findings of a table with these times, s, from line 2 on.
    fn told(times: impl IntoIterator<Item = f64>) -> String {
        let mut order = Order::default();
        for (line, s) in (2..).zip(times) {
            order.take(nanos(s).unwrap(), line);
        }
        let found = order.findings("s.csv");
        let lines: Vec<String> = found.iter().map(ToString::to_string).collect();
        lines.join("\n")
    }

    fn span(from: u32, to: u32) -> impl Iterator<Item = f64> + Clone {
        (from..to).map(|i| 0.1 * f64::from(i))
    }

    #[test]
    fn rows_in_order_are_told_nothing_also_after_a_silence() {
        assert_eq!(told(span(0, 900)), "");
        assert_eq!(told(span(0, 900).chain(span(9000, 9900))), "");
    }

    #[test]
    fn a_clock_that_was_set_back_is_told_with_row_and_step_and_not_to_be_sorted() {
        // Half an hour back after an hour, then another hour.
        let text = told(span(0, 36_000).chain(span(18_000, 54_000)));
        assert!(
            text.starts_with(
                "s.csv:36002: time_s: time goes back by 30 min 00 s here, from 1:00:00 to 0:30:00"
            ),
            "{text}"
        );
        assert!(
            text.contains("17 997 of 72 000 rows (25 %) come too late"),
            "{text}"
        );
        assert!(
            text.contains("add 1800.0 s to the times of this row"),
            "{text}"
        );
        assert!(text.contains("Do not sort"), "{text}");
        assert!(!text.contains("sort the rows"), "{text}");
        // A logger that began at zero again.
        let text = told(span(0, 9_000).chain(span(0, 3_000)));
        assert!(text.contains("add 900.0 s to"), "{text}");
        // Twice: each with its own step.
        let text = told(
            span(0, 9_000)
                .chain(span(3_000, 6_000))
                .chain(span(3_000, 9_000)),
        );
        assert_eq!(text.matches("time goes back by").count(), 2, "{text}");
    }

    #[test]
    fn rows_out_of_order_are_to_be_sorted() {
        // A block that was written after the one it comes before.
        let text = told(span(9_000, 18_000).chain(span(0, 9_000)));
        assert!(
            text.starts_with("s.csv: 9 000 rows are older than a row before them"),
            "{text}"
        );
        assert!(text.contains("sort the rows by time_s"), "{text}");
        // A block that fills the hole it left.
        let text = told(
            span(0, 900)
                .chain(span(1_800, 2_700))
                .chain(span(900, 1_800)),
        );
        assert!(
            text.contains("sort the rows") && !text.contains("goes back by"),
            "{text}"
        );
        // From the last row to the first; and one row astray.
        let reversed: Vec<f64> = span(0, 900).collect();
        let text = told(reversed.into_iter().rev());
        assert!(text.starts_with("s.csv: 899 rows are older"), "{text}");
        let text = told(span(0, 900).chain([45.0]).chain(span(900, 1_000)));
        assert!(
            text.starts_with("s.csv: 1 row is older than a row before it"),
            "{text}"
        );
    }
}
