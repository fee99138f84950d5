//! Which strokes were made with the cutter out.
//!
//! Marks decide where the operator gave them, but where the drag speaks plainly against them
//! ([`super::mark_doubts`]). Without marks the drag does:
//! putting the wheels out adds rolling drag and, on a fresh wall, the largest cutting drag of the whole job, in both
//! directions at once. Only jumps that stand out of the scatter count; where none does, every
//! stroke over the interval is taken as cutting.

use super::drag_model::median;
use super::ledger::{Ledger, Row};
use super::mark_doubts;
use std::ops::Range;

/// Strokes over the interval that a crew makes with the cutter in before it starts, at most (common practice, no
/// source). Who strokes on after that cuts, however little it drags.
pub const FREE_STROKES_MAX: usize = 12;

/// Strokes over the interval, at least, before drag is asked.
const TOUCHED_MIN: usize = 4;

/// Least jump of drag, up and down together, that can mean the cutter, N.
const JUMP_MIN: f64 = 80.0;

/// First row that was made with the cutter out, told from the drag alone; `None` while no rise
/// stands out.
pub fn first_cutting_row(ledger: &Ledger) -> Option<usize> {
    clear_rise(&ledger.rows).map(|rise| rise.touched[rise.first])
}

/// Where drag rises clearly.
struct Rise {
    /// Rows with drag over the interval.
    touched: Vec<usize>,
    /// Place of the first cutting one among them.
    first: usize,
    /// By how much drag rises there, N.
    height: f64,
}

fn clear_rise(rows: &[Row]) -> Option<Rise> {
    // Mean drag of each row, and of the pair it makes with the row before: drift of the cell and
    // errors of friction have opposite signs up and down and drop out of the pair.
    let means: Vec<Option<f64>> = rows.iter().map(mean_drag).collect();
    let touched: Vec<usize> = (0..means.len()).filter(|&k| means[k].is_some()).collect();
    if touched.len() < TOUCHED_MIN {
        return None;
    }
    let (first, height) = first_jump(&touched, &|k| means[k].unwrap_or(0.0))?;
    Some(Rise {
        touched,
        first,
        height,
    })
}

/// Least rise after a single free pass that can mean the cutter, N.
const LONE_JUMP_MIN: f64 = 150.0;

/// Least rise before a mark that can mean that the mark came late, N, and part of it by which drag may rise at the mark
/// all the same.
const LATE_RISE_MIN: f64 = 150.0;
const LATE_RISE_PART: f64 = 0.2;

/// One flag per row: cutter out.
pub fn engaged(ledger: &Ledger) -> Vec<bool> {
    if ledger.rows.iter().any(|r| r.marked_out.is_some()) {
        mark_doubts::read_marks(ledger).0
    } else {
        by_drag(&ledger.rows)
    }
}

/// One flag per row: cutter out, by the drag alone.
pub(super) fn by_drag(rows: &[Row]) -> Vec<bool> {
    let mut out: Vec<bool> = rows.iter().map(|r| mean_drag(r).is_some()).collect();
    let touched: Vec<usize> = (0..rows.len()).filter(|&k| out[k]).collect();
    if touched.len() >= TOUCHED_MIN {
        if let Some((drag, _)) = drag_says_out(rows) {
            out = drag;
        }
        let ups: Vec<bool> = rows.iter().map(|r| r.up).collect();
        let level = |k: usize| mean_drag(&rows[k]).unwrap_or(0.0);
        retracted_at_once(&touched, &ups, &level, &mut out);
    }
    for (flag, row) in out.iter_mut().zip(rows) {
        *flag &= !row.weight_check;
    }
    out
}

/// One flag per row: cutter out, as a clear rise of drag tells, and the rise, N; `None` where none stands out.
pub(super) fn drag_says_out(rows: &[Row]) -> Option<(Vec<bool>, f64)> {
    let Rise {
        touched,
        first,
        height,
    } = clear_rise(rows)?;
    let mut out = vec![false; rows.len()];
    for &k in &touched[first..] {
        out[k] = true;
    }
    let level = |k: usize| mean_drag(&rows[k]).unwrap_or(0.0);
    retracted_later(&touched, first, &level, &mut out);
    Some((out, height))
}

/// Rows that cut before a first mark that says out, which came late: drag had risen before it as it does when wheels go
/// into a fresh wall, and did not rise at the mark.
pub(crate) fn cut_before_mark(ledger: &Ledger) -> Range<usize> {
    let rows = &ledger.rows;
    let Some(marked) = rows.iter().position(|r| r.marked_out.is_some()) else {
        return 0..0;
    };
    let Some(rise) = clear_rise(rows) else {
        return 0..0;
    };
    let first = rise.touched[rise.first];
    let says_out = rows[marked].marked_out == Some(true);
    if !says_out || first >= marked || rise.height < LATE_RISE_MIN {
        return 0..0;
    }
    let rose_at_mark = [true, false].into_iter().any(|up| {
        let drag = |k: usize| mean_drag(&rows[k]).filter(|_| rows[k].up == up);
        let before = (first..marked).rev().find_map(drag);
        let after = (marked..rows.len()).find_map(drag);
        // Not known yet: the mark is believed.
        before
            .zip(after)
            .is_none_or(|(b, a)| a - b > LATE_RISE_PART * rise.height)
    });
    if rose_at_mark { 0..0 } else { first..marked }
}

pub(super) fn mean_drag(row: &Row) -> Option<f64> {
    let (sum, n) = row.drag_sum();
    (n >= 3).then(|| sum / f64::from(n))
}

/// Place in `touched` of the first cutting stroke, if free ones come before it, and by how much drag rises there, N, on
/// the mean of both ways.
///
/// Cutting drag only ever falls from its first pass on, so the first clear rise is the cutter.
fn first_jump(touched: &[usize], level: &impl Fn(usize) -> f64) -> Option<(usize, f64)> {
    let pair = |i: usize| level(touched[i]) + level(touched[i + 1]);
    let last = touched.len() - 1;
    // A single free pass (the run-in) before the cutter goes out has no pair to compare with: both
    // strokes after it must stand far above it.
    let alone = level(touched[1]).min(level(touched[2]));
    if alone - level(touched[0]) > LONE_JUMP_MIN && level(touched[0]) < 0.4 * alone {
        return Some((1, alone - level(touched[0])));
    }
    let mut best: Option<(f64, usize)> = None;
    // Of the pairs before, but for the last, which shares a stroke.
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for i in 2..last {
        let before = pair(i - 2);
        (low, high) = (low.min(before), high.max(before));
        let jump = pair(i) - high;
        let scatter = high - low;
        if jump > JUMP_MIN.max(1.5 * scatter) && best.is_none_or(|(b, _)| jump > b) {
            best = Some((jump, i));
        }
        if best.is_some() && jump <= 0.0 {
            break;
        }
    }
    best.map(|(jump, i)| (i, 0.5 * jump))
}

/// Least fall of drag, each way, that can mean that the cutter went in, N.
const FALL_MIN: f64 = 80.0;
/// And in terms of the changes from stroke to stroke before: wall that splits lets drag fall over many strokes.
const FALL_CHANGES: f64 = 6.0;
/// Strokes one way, at least, that show what changes are usual.
const CHANGES_MIN: usize = 4;

/// Strokes from which the drag has fallen at once, both ways and far more than it does from stroke to stroke, until it
/// is back, are free: rollers stop dragging together, bins never split together.
pub(super) fn retracted_at_once(
    touched: &[usize],
    ups: &[bool],
    level: &impl Fn(usize) -> f64,
    out: &mut [bool],
) {
    // Levels of strokes with the cutter out, down and up.
    let mut seen: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    // By how much they fell when it went in, if it is.
    let mut fell: Option<[f64; 2]> = None;
    for (i, &k) in touched.iter().enumerate() {
        if !out[k] {
            continue;
        }
        let way = usize::from(ups[k]);
        if let Some(falls) = fell {
            let last = seen[way].last();
            if last.is_some_and(|last| level(k) > last - 0.5 * falls[way]) {
                fell = None;
            }
        } else {
            let next = touched.get(i + 1).filter(|&&next| ups[next] != ups[k]);
            let next = next.map(|&next| level(next));
            fell = falls_both_ways(&seen, way, level(k), next);
        }
        if fell.is_some() {
            out[k] = false;
        } else {
            seen[way].push(level(k));
        }
    }
}

/// By how much a stroke `way` and the `next` one, which went the other way, lie below those before, N, if both stand
/// out; without a next one it has to fall twice as far.
fn falls_both_ways(
    seen: &[Vec<f64>; 2],
    way: usize,
    here: f64,
    next: Option<f64>,
) -> Option<[f64; 2]> {
    let fall = |way: usize, level: f64, times: f64| {
        let fall = seen[way].last()? - level;
        // No more can stand out than this allows: most strokes need no more of an answer.
        if fall <= times * FALL_MIN {
            return None;
        }
        (fall > times * least_fall(&seen[way])?).then_some(fall)
    };
    let mut falls = [0.0; 2];
    falls[way] = fall(way, here, if next.is_some() { 1.0 } else { 2.0 })?;
    falls[1 - way] = match next {
        Some(next) => fall(1 - way, next, 1.0)?,
        None => falls[way],
    };
    Some(falls)
}

/// Fall of drag that stands out of the changes between strokes one way, N; `None` while too few were seen.
fn least_fall(levels: &[f64]) -> Option<f64> {
    let recent = &levels[levels.len().saturating_sub(8)..];
    let mut changes: Vec<f64> = recent.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    if changes.len() < CHANGES_MIN {
        return None;
    }
    Some(FALL_MIN.max(FALL_CHANGES * median(&mut changes)))
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
    let base = free[(free.len() - 1) / 2];
    let scatter = (free[free.len() - 1] - free[0]).clamp(30.0, 60.0);
    // Rolling drag never decays: the least drag with the cutter out stays above the free level.
    for i in first..touched.len() - 1 {
        if pair(i) < base + scatter {
            out[touched[i]] = false;
            out[touched[i + 1]] = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Flags after `retracted_at_once` for levels of drag of strokes up and down in turn, N.
    fn flags(levels: &[f64]) -> Vec<bool> {
        let touched: Vec<usize> = (0..levels.len()).collect();
        let ups: Vec<bool> = touched.iter().map(|k| k % 2 == 0).collect();
        let mut out = vec![true; levels.len()];
        retracted_at_once(&touched, &ups, &|k| levels[k], &mut out);
        out
    }

    /// Invented: cutting drag that falls by a hundredth each stroke, on 200 N of rollers.
    fn cutting(strokes: u32) -> Vec<f64> {
        (0..strokes)
            .map(|n| 200.0 + 150.0 * 0.99f64.powf(f64::from(n)))
            .collect()
    }

    #[test]
    fn a_fall_both_ways_at_once_is_the_cutter_going_in() {
        let mut levels = cutting(40);
        levels.extend([20.0, 10.0, 15.0]);
        let out = flags(&levels);
        assert!(out[..40].iter().all(|out| *out));
        assert_eq!(out[40..], [false; 3]);
    }

    #[test]
    fn and_out_again_once_the_drag_is_back() {
        let mut levels = cutting(40);
        levels.extend([20.0, 10.0, 15.0, 12.0, 290.0, 295.0]);
        assert_eq!(
            flags(&levels)[40..],
            [false, false, false, false, true, true]
        );
    }

    #[test]
    fn wall_that_splits_over_many_strokes_is_no_such_fall() {
        let mut levels = cutting(40);
        let last = levels[39];
        levels.extend((1..=12).map(|n| last - 15.0 * f64::from(n)));
        assert!(flags(&levels).iter().all(|out| *out));
    }

    #[test]
    fn strokes_before_a_late_mark_are_told_by_the_drag() {
        let engaged = |late: usize| {
            let free = [10.0, -5.0, 8.0, -4.0];
            let cut = (0..20).map(|n| 120.0 + 700.0 / (1.0 + n as f32).powf(0.7));
            let drags = free.into_iter().chain(cut).enumerate();
            let rows = drags.map(|(k, drag)| (drag, (k >= 4 + late).then_some(true)));
            engaged(&Ledger::invented(&rows.collect::<Vec<_>>()))
        };
        let right = engaged(0);
        assert_eq!(right.iter().filter(|out| !**out).count(), 4);
        for late in 2..16 {
            assert_eq!(engaged(late), right, "{late} strokes late");
        }
    }

    #[test]
    fn one_way_alone_says_nothing() {
        let mut levels = cutting(40);
        levels.extend([150.0, levels[39], 150.0, levels[38]]);
        assert!(flags(&levels).iter().all(|out| *out));
    }
}
