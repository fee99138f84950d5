//! Which strokes were made with the cutter out.
//!
//! Marks decide where the operator gave them. Without marks the drag does: putting the wheels out
//! adds rolling drag and, on a fresh wall, the largest cutting drag of the whole job, in both
//! directions at once. Only jumps that stand out of the scatter count; where none does, every
//! stroke over the interval is taken as cutting.

use super::ledger::Ledger;

/// Least jump of drag, up and down together, that can mean the cutter, N.
const JUMP_MIN: f64 = 80.0;

/// Drag of strokes marked as free beyond that of strokes marked as cutting, from which the marks
/// must have been turned round, N.
const TURNED_MIN: f64 = 100.0;

/// First row that was made with the cutter out, told from the drag alone; `None` while no rise
/// stands out.
pub fn first_cutting_row(ledger: &Ledger) -> Option<usize> {
    let means: Vec<Option<f64>> = ledger.rows.iter().map(mean_drag).collect();
    let touched: Vec<usize> = (0..means.len()).filter(|&k| means[k].is_some()).collect();
    if touched.len() < 4 {
        return None;
    }
    first_jump(&touched, &|k| means[k].unwrap_or(0.0)).map(|i| touched[i])
}

/// Least rise after a single free pass that can mean the cutter, N.
const LONE_JUMP_MIN: f64 = 150.0;

/// One flag per row: cutter out.
pub fn engaged(ledger: &Ledger) -> Vec<bool> {
    let rows = &ledger.rows;
    if rows.iter().any(|r| r.marked_out.is_some()) {
        return from_marks(ledger);
    }
    // Mean drag of each row, and of the pair it makes with the row before: drift of the cell and
    // errors of friction have opposite signs up and down and drop out of the pair.
    let means: Vec<Option<f64>> = rows.iter().map(mean_drag).collect();
    let touched: Vec<usize> = (0..rows.len()).filter(|&k| means[k].is_some()).collect();
    if touched.len() < 4 {
        return means.iter().map(Option::is_some).collect();
    }
    let level = |k: usize| means[k].unwrap_or(0.0);
    let mut out = vec![true; rows.len()];
    for (k, m) in means.iter().enumerate() {
        out[k] = m.is_some();
    }
    if let Some(first) = first_jump(&touched, &level) {
        for &k in &touched[..first] {
            out[k] = false;
        }
        retracted_later(&touched, first, &level, &mut out);
    }
    out
}

fn from_marks(ledger: &Ledger) -> Vec<bool> {
    // Before the first mark the cutter is in, unless that mark says that it goes in.
    let first = ledger.rows.iter().find_map(|r| r.marked_out);
    let mut now = first == Some(false);
    let marked: Vec<bool> = ledger
        .rows
        .iter()
        .map(|r| {
            now = r.marked_out.unwrap_or(now);
            now
        })
        .collect();
    // Marks are typed by people: where the strokes said to be free drag clearly more than those
    // said to cut, the two words were taken the other way round.
    let turned = match (
        typical_drag(ledger, &marked, true),
        typical_drag(ledger, &marked, false),
    ) {
        (Some(out), Some(inside)) => inside > out + TURNED_MIN,
        _ => false,
    };
    let flags = ledger.rows.iter().zip(marked);
    flags
        .map(|(r, out)| (out != turned) && !r.drag.is_empty())
        .collect()
}

/// Mean drag of rows of one kind, N: median of those up and of those down, so that errors of the
/// tool's weight, which have opposite signs, drop out.
fn typical_drag(ledger: &Ledger, marked: &[bool], out: bool) -> Option<f64> {
    let median = |up: bool| -> Option<f64> {
        let rows = ledger.rows.iter().zip(marked);
        let mut drags: Vec<f64> = rows
            .filter(|(r, m)| **m == out && r.up == up)
            .filter_map(|(r, _)| mean_drag(r))
            .collect();
        if drags.is_empty() {
            return None;
        }
        let middle = drags.len() / 2;
        Some(*drags.select_nth_unstable_by(middle, f64::total_cmp).1)
    };
    Some(0.5 * (median(true)? + median(false)?))
}

fn mean_drag(row: &super::ledger::Row) -> Option<f64> {
    let (sum, n) = row.drag_sum();
    (n >= 3).then(|| sum / f64::from(n))
}

/// Place in `touched` of the first cutting stroke, if free ones come before it.
///
/// Cutting drag only ever falls from its first pass on, so the first clear rise is the cutter.
fn first_jump(touched: &[usize], level: &impl Fn(usize) -> f64) -> Option<usize> {
    let pair = |i: usize| level(touched[i]) + level(touched[i + 1]);
    let last = touched.len() - 1;
    // A single free pass (the run-in) before the cutter goes out has no pair to compare with: both
    // strokes after it must stand far above it.
    let alone = level(touched[1]).min(level(touched[2]));
    if alone - level(touched[0]) > LONE_JUMP_MIN && level(touched[0]) < 0.4 * alone {
        return Some(1);
    }
    let mut best: Option<(f64, usize)> = None;
    for i in 2..last {
        let before: Vec<f64> = (0..i - 1).map(pair).collect();
        let low = before.iter().copied().fold(f64::MAX, f64::min);
        let high = before.iter().copied().fold(f64::MIN, f64::max);
        let jump = pair(i) - high;
        let scatter = high - low;
        if jump > JUMP_MIN.max(1.5 * scatter) && best.is_none_or(|(b, _)| jump > b) {
            best = Some((jump, i));
        }
        if best.is_some() && jump <= 0.0 {
            break;
        }
    }
    best.map(|(_, i)| i)
}

/// Later strokes whose drag is back at the level before the cutter went out are free again.
fn retracted_later(
    touched: &[usize],
    first: usize,
    level: &impl Fn(usize) -> f64,
    out: &mut [bool],
) {
    let pair = |i: usize| level(touched[i]) + level(touched[i + 1]);
    let mut free: Vec<f64> = (0..first.saturating_sub(1)).map(pair).collect();
    if free.is_empty() {
        free.push(2.0 * level(touched[0]));
    }
    free.sort_by(f64::total_cmp);
    let base = free[free.len() / 2];
    let scatter = (free[free.len() - 1] - free[0]).clamp(30.0, 60.0);
    // Rolling drag never decays: the least drag with the cutter out stays above the free level.
    for i in first..touched.len() - 1 {
        if pair(i) < base + scatter {
            out[touched[i]] = false;
            out[touched[i + 1]] = false;
        }
    }
}
