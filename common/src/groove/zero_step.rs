//! Steps of the load cell's zero, told by the strokes before and after.
//!
//! What cutting, friction and speed change, they change alike up and down. A zero that steps adds to the drag of strokes
//! up what it takes from that of strokes down; so do weight that is gained or lost, and pressure that comes or goes
//! in the well.
//!
//! *Input*: rows of the ledger. *Output*: [`ZeroStep`], once two strokes each way have shown it. *Limits*: steps of less than
//! 60 N, or within the scatter of strokes, are left to the drift of the fit.

use super::drag_model::median;
use super::engagement::mean_drag;
use super::ledger::Row;

/// Least step that is told, N.
const LEAST_N: f64 = 60.0;
/// In terms of the usual change from a stroke to the next one that goes the same way.
const CHANGES: f64 = 6.0;
/// By so much of it the ways may differ, and strokes one way before it or after it.
const APART: f64 = 0.35;
const STEADY: f64 = 0.3;
/// Strokes that show it, and that have to come before it.
const AFTER: usize = 4;
const BEFORE: usize = 6;
/// Strokes that are looked at: those that show it, the one that it fell into, and twelve before.
const LOOKED_AT: usize = AFTER + 1 + 12;

/// A step of the zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroStep {
    /// First stroke that began after it.
    pub row: usize,
    /// The stroke that it fell into, and the part of it after the step.
    pub within: Option<(usize, f64)>,
    /// So much more the cell reads since, N.
    pub by_n: f64,
}

/// A step before the newest four strokes over the interval, if they show one; rows before `from` are not looked at.
pub fn find(rows: &[Row], from: usize) -> Option<ZeroStep> {
    let newest = rows.last()?;
    let mut recent: Vec<Stroke> = Vec::with_capacity(LOOKED_AT);
    for k in (from..rows.len()).rev() {
        let row = &rows[k];
        // Wheels that go out or in change much else.
        if row.marked_out != newest.marked_out || recent.len() == LOOKED_AT {
            break;
        }
        recent.extend(Stroke::of(row, k));
    }
    // It may have come in the middle of a stroke.
    [0, 1].into_iter().find_map(|between| {
        let after = recent.get(..AFTER)?;
        let before = recent.get(AFTER + between..)?;
        let by_n = step(before, after)?;
        let within = recent[AFTER..AFTER + between].first().map(|s| {
            let last = before.iter().find(|b| b.up == s.up);
            let part = last.map_or(0.5, |last| (s.tension - last.tension) / by_n);
            (s.row, part.clamp(0.0, 1.0))
        });
        Some(ZeroStep {
            row: after[AFTER - 1].row,
            within,
            by_n,
        })
    })
}

/// Takes a step out of the drag of the strokes since.
pub fn take_out(rows: &mut [Row], step: &ZeroStep) {
    for row in &mut rows[step.row..] {
        take_from(row, step.by_n);
    }
    if let Some((k, part)) = step.within {
        take_from(&mut rows[k], part * step.by_n);
    }
}

fn take_from(row: &mut Row, tension: f64) {
    let drag = -way(row) * tension / row.gain;
    row.drag.raise(drag as f32);
}

/// Drag adds to the tension of a stroke up.
fn way(row: &Row) -> f64 {
    if row.up { 1.0 } else { -1.0 }
}

/// A stroke over the interval.
#[derive(Debug, Clone, Copy)]
struct Stroke {
    row: usize,
    up: bool,
    /// Tension at the surface by its drag, N.
    tension: f64,
}

impl Stroke {
    fn of(row: &Row, k: usize) -> Option<Self> {
        Some(Self {
            row: k,
            up: row.up,
            tension: way(row) * row.gain * mean_drag(row)?,
        })
    }
}

/// The step, N, between strokes of which the newest come first.
fn step(before: &[Stroke], after: &[Stroke]) -> Option<f64> {
    if before.len() < BEFORE {
        return None;
    }
    let mut changes: Vec<f64> = [true, false]
        .into_iter()
        .flat_map(|up| {
            let levels: Vec<f64> = one_way(before, up).collect();
            levels
                .windows(2)
                .map(|w| (w[1] - w[0]).abs())
                .collect::<Vec<_>>()
        })
        .collect();
    if changes.len() < BEFORE - 2 {
        return None;
    }
    let least = LEAST_N.max(CHANGES * median(&mut changes));
    let by = |up: bool| {
        let (mut old, mut new) = (one_way(before, up), one_way(after, up));
        let (old, new) = ([old.next()?, old.next()?], [new.next()?, new.next()?]);
        let by = 0.5 * (new[0] + new[1] - old[0] - old[1]);
        let is_steady = |pair: [f64; 2]| (pair[0] - pair[1]).abs() <= STEADY * by.abs();
        (by.abs() >= least && is_steady(old) && is_steady(new)).then_some(by)
    };
    let (up, down) = (by(true)?, by(false)?);
    let mean = 0.5 * (up + down);
    ((up - down).abs() <= APART * mean.abs()).then_some(mean)
}

fn one_way(strokes: &[Stroke], up: bool) -> impl Iterator<Item = f64> {
    strokes
        .iter()
        .filter(move |s| s.up == up)
        .map(|s| s.tension)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::ledger::Ledger;

    /// Invented: a cut of which the drag falls, up (even strokes) and down, N, with `shift` added to the tension.
    fn cut(strokes: usize, shift: impl Fn(usize) -> f32) -> Ledger {
        let drag = |k: usize| {
            let fresh = 150.0 + 600.0 / (1.0 + k as f32).powf(0.7);
            let scatter = [4.0, -3.0, 1.0, -5.0, 2.0][k % 5];
            fresh
                + scatter
                + if k.is_multiple_of(2) {
                    shift(k)
                } else {
                    -shift(k)
                }
        };
        let rows: Vec<_> = (0..strokes).map(|k| (drag(k), Some(true))).collect();
        Ledger::invented(&rows)
    }

    fn found(shift: impl Fn(usize) -> f32 + Copy) -> Vec<ZeroStep> {
        let mut steps = Vec::new();
        let mut from = 0;
        for n in 1..=60 {
            if let Some(step) = find(&cut(n, shift).rows, from) {
                from = n;
                steps.push(step);
            }
        }
        steps
    }

    #[test]
    fn a_step_is_told_after_two_strokes_each_way_and_taken_out() {
        for by in [-240.0, 120.0] {
            let shift = |k: usize| if k >= 30 { by } else { 0.0 };
            let steps = found(shift);
            let [step] = steps[..] else {
                panic!("{steps:?}")
            };
            assert_eq!((step.row, step.within), (30, None));
            assert!((step.by_n - f64::from(by)).abs() < 15.0, "{step:?}");
            let mut ledger = cut(34, shift);
            take_out(&mut ledger.rows, &step);
            let whole = cut(34, |_| 0.0);
            for (a, b) in ledger.rows.iter().zip(&whole.rows) {
                assert!((a.mean_drag() - b.mean_drag()).abs() < 15.0);
            }
        }
    }

    #[test]
    fn a_step_in_the_middle_of_a_stroke_is_told_with_its_part() {
        let shift = |k: usize| match k {
            ..30 => 0.0,
            30 => -80.0,
            _ => -200.0,
        };
        let steps = found(shift);
        let [step] = steps[..] else {
            panic!("{steps:?}")
        };
        let (row, part) = step.within.unwrap();
        assert_eq!((step.row, row), (31, 30));
        assert!((part - 0.4).abs() < 0.1, "{step:?}");
    }

    #[test]
    fn cutting_drift_and_friction_are_no_steps() {
        assert_eq!(found(|_| 0.0), []);
        assert_eq!(found(|k| 5.0 * k as f32), []);
        // Friction acts against the way, both up and down.
        let friction = |k: usize| {
            let more = if k >= 30 { 200.0 } else { 0.0 };
            if k.is_multiple_of(2) { more } else { -more }
        };
        assert_eq!(found(friction), []);
        // One odd stroke each way.
        assert_eq!(
            found(|k| if (30..32).contains(&k) { 200.0 } else { 0.0 }),
            []
        );
    }
}
