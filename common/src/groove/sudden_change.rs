//! Drag that falls or rises at once, up and down alike, over all of the pipe: a wheel lost or stuck, or set free again.
//!
//! A groove deepens and a wall splits place by place, over many strokes; what changes everywhere from one stroke to the
//! next is the tool. Beside it stands [`super::zero_step`], whose steps have opposite signs up and down.
//!
//! *Input*: rows of the ledger and which of them cut. *Output*: the first row after the clearest change, if any; how
//! the drag goes on across a pause. *Limits*: two strokes each way before it and after it must show a change, and
//! ten must have been made: the first passes change fast.

use super::drag_model::median;
use super::ledger::Row;
use std::ops::Range;

/// Strokes before a change, and those of them that are compared; as many after it.
const BEFORE: usize = 10;
const COMPARED: usize = 4;
/// Strokes that tell the usual change from one to the next.
const USUAL: usize = 12;
/// Least change, N, as a part of the drag before, and in terms of the usual change.
const LEAST_N: f64 = 40.0;
const PART: f64 = 0.1;
const CHANGES: f64 = 6.0;
/// By so much of it the ways may differ, and strokes one way before it or after it.
const APART: f64 = 0.35;
const STEADY: f64 = 0.3;
/// Part of the longest of the strokes that all of them must have in common.
const COMMON: f64 = 0.7;

/// Of a change across a pause, that is asked about: as a part of the drag before, and in terms of the usual change.
const ASKED_PART: f64 = 0.05;
const ASKED_CHANGES: f64 = 1.5;

/// How the drag goes on across a pause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Across {
    /// As before.
    AsBefore,
    /// It is more.
    Rises,
    /// It is less.
    Falls,
    /// The strokes are over other pipe, too few, or differ up and down.
    Unknown,
}

/// How the drag goes on between two of the rows that cut, of which `first` is the second.
pub(super) fn across(rows: &[Row], cut: &[usize], first: usize) -> Across {
    let before = &cut[first.saturating_sub(USUAL)..first];
    let after = &cut[first..cut.len().min(first + COMPARED)];
    let Some(seen) = Seen::across(rows, before, after) else {
        return Across::Unknown;
    };
    let changed = |up: bool| {
        let (old, new) = seen.levels(up);
        let least = (ASKED_CHANGES * seen.usual).max(ASKED_PART * old.abs());
        (new - old, (new - old).abs() >= least)
    };
    match (changed(false), changed(true)) {
        ((_, false), (_, false)) => Across::AsBefore,
        ((down, _), (up, _)) if down > 0.0 && up > 0.0 => Across::Rises,
        ((down, _), (up, _)) if down < 0.0 && up < 0.0 => Across::Falls,
        _ => Across::Unknown,
    }
}

/// The first row after the clearest change, and which way it goes; `cut`: rows that cut, in order.
pub(super) fn find(rows: &[Row], cut: &[usize]) -> Option<(usize, Across)> {
    let last = cut.len().checked_sub(COMPARED)?;
    let mut best: Option<(Clear, usize)> = None;
    for first in BEFORE..=last {
        if !is_worth_a_look(rows, cut, first) {
            continue;
        }
        // It may have come in the middle of a stroke.
        for between in 0..=1 {
            let before = &cut[first - USUAL.min(first - between)..first - between];
            let after = &cut[first..first + COMPARED];
            let clear = clearness(rows, before, after);
            let stands_out = |c: &Clear| best.is_none_or(|(most, _)| c.times > most.times);
            if let Some(clear) = clear.filter(stands_out) {
                best = Some((clear, cut[first]));
            }
        }
    }
    best.map(|(clear, row)| {
        let across = if clear.by_n > 0.0 {
            Across::Rises
        } else {
            Across::Falls
        };
        (row, across)
    })
}

/// Whole strokes, of which the mean is known already, show at least a part of a change.
fn is_worth_a_look(rows: &[Row], cut: &[usize], first: usize) -> bool {
    let sum = |of: &[usize]| -> f64 { of.iter().map(|&k| rows[k].mean_drag()).sum() };
    let half = COMPARED / 2;
    let changed =
        sum(&cut[first + half..first + COMPARED]) - sum(&cut[first - COMPARED..first - half]);
    changed.abs() >= 0.5 * LEAST_N * half as f64
}

/// A change that stands out.
#[derive(Debug, Clone, Copy)]
struct Clear {
    by_n: f64,
    /// How far, in terms of the least that is told.
    times: f64,
}

fn clearness(rows: &[Row], before: &[usize], after: &[usize]) -> Option<Clear> {
    let seen = Seen::across(rows, before, after)?;
    let by = |up: bool| {
        let [o0, o1, n0, n1] = seen.drags[usize::from(up)];
        let (old, new) = seen.levels(up);
        let by = new - old;
        let steady = |a: f64, b: f64| (a - b).abs() <= STEADY * by.abs();
        let least = LEAST_N.max(CHANGES * seen.usual).max(PART * old.abs());
        (steady(o0, o1) && steady(n0, n1) && by.abs() >= least).then_some((by, by.abs() / least))
    };
    let ((up, clear_up), (down, clear_down)) = (by(true)?, by(false)?);
    let alike = (up - down).abs() <= APART * 0.5 * (up + down).abs();
    alike.then_some(Clear {
        by_n: 0.5 * (up + down),
        times: clear_up.min(clear_down),
    })
}

/// Drag over the same bins of the last strokes before a moment and the first after it.
struct Seen {
    /// Down and up: two strokes before, two after, N.
    drags: [[f64; 4]; 2],
    /// The usual change from a stroke to the next one that goes the same way, N.
    usual: f64,
}

impl Seen {
    /// `None` where the strokes have too little in common or are not two each way.
    fn across(rows: &[Row], before: &[usize], after: &[usize]) -> Option<Self> {
        let compared = before.get(before.len().checked_sub(COMPARED)?..)?;
        let all = compared.iter().chain(after).map(|&k| &rows[k]);
        let common = common_bins(all)?;
        let one_way = |of: &[usize], up: bool| -> Vec<f64> {
            let way = of.iter().filter(|&&k| rows[k].up == up);
            way.filter_map(|&k| mean_over(&rows[k], &common)).collect()
        };
        let mut changes: Vec<f64> = Vec::with_capacity(USUAL);
        for up in [false, true] {
            let drags = one_way(before, up);
            changes.extend(drags.windows(2).map(|w| (w[1] - w[0]).abs()));
        }
        if changes.is_empty() {
            return None;
        }
        let drags = |up: bool| -> Option<[f64; 4]> {
            let (old, new) = (one_way(compared, up), one_way(after, up));
            let ([o0, o1], [n0, n1]) = (old[..].try_into().ok()?, new[..].try_into().ok()?);
            Some([o0, o1, n0, n1])
        };
        Some(Self {
            drags: [drags(false)?, drags(true)?],
            usual: median(&mut changes),
        })
    }

    /// Before and after, N.
    fn levels(&self, up: bool) -> (f64, f64) {
        let [o0, o1, n0, n1] = self.drags[usize::from(up)];
        (0.5 * (o0 + o1), 0.5 * (n0 + n1))
    }
}

/// Bins that all of the rows have drag in.
fn common_bins<'r>(rows: impl Iterator<Item = &'r Row>) -> Option<Range<usize>> {
    let (mut first, mut end, mut longest) = (0, usize::MAX, 0);
    for row in rows {
        first = first.max(row.first);
        end = end.min(row.first + row.drag.len());
        longest = longest.max(row.drag.len());
    }
    (end > first && (end - first) as f64 >= COMMON * longest as f64).then_some(first..end)
}

fn mean_over(row: &Row, bins: &Range<usize>) -> Option<f64> {
    let drags = bins.clone().filter_map(|bin| row.at(bin));
    let (sum, n) = drags.fold((0.0, 0.0), |(sum, n), drag| (sum + drag, n + 1.0));
    (n >= 0.5 * bins.len() as f64).then(|| sum / n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::ledger::Ledger;

    /// Invented: a cut of which the drag falls, with `more` N added to a stroke.
    fn found(strokes: usize, more: impl Fn(usize) -> f32) -> Option<(usize, Across)> {
        let drag = |k: usize| {
            let jitter = if k % 4 < 2 { 3.0 } else { -3.0 };
            200.0 + 300.0 / (1.0 + k as f32 / 4.0) + jitter + more(k)
        };
        let rows: Vec<(f32, Option<bool>)> = (0..strokes).map(|k| (drag(k), Some(true))).collect();
        let ledger = Ledger::invented(&rows);
        let cut: Vec<usize> = (0..strokes).collect();
        find(&ledger.rows, &cut)
    }

    #[test]
    fn a_drop_from_one_stroke_to_the_next_both_ways_is_found() {
        assert_eq!(
            found(50, |k| if k < 30 { 0.0 } else { -70.0 }),
            Some((30, Across::Falls))
        );
        assert_eq!(
            found(50, |k| if k < 30 { 0.0 } else { 70.0 }),
            Some((30, Across::Rises))
        );
        // In the middle of a stroke.
        let half = |k: usize| [0.0, -35.0, -70.0][usize::from(k >= 30) + usize::from(k > 30)];
        assert_eq!(found(50, half), Some((31, Across::Falls)));
    }

    #[test]
    fn what_changes_over_many_strokes_or_one_way_only_is_none() {
        assert_eq!(found(50, |_| 0.0), None);
        let slow = |k: usize| -90.0 * (k as f32 - 20.0).clamp(0.0, 12.0) / 12.0;
        assert_eq!(found(50, slow), None);
        let opposite = |k: usize| {
            if k < 30 {
                0.0
            } else {
                70.0 * (1.0 - 2.0 * (k % 2) as f32)
            }
        };
        assert_eq!(found(50, opposite), None);
        // Too few strokes after it.
        assert_eq!(found(33, |k| if k < 30 { 0.0 } else { -70.0 }), None);
    }
}
