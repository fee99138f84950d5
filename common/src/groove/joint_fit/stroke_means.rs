//! Mean drag of each stroke over the bins that strokes passed about equally often, with what passed before.

use super::super::drag_model::{self, Bite, FitInput};
use super::super::ledger::Row;
use super::super::pass_law::PassLaw;
use super::super::wheel_sets::{SETS_MAX, WheelSets};
use super::least_squares::doubt;

/// Bins passed by at least this part of the strokes that passed the middle one are used.
const CORE_PART: f64 = 0.75;
/// Of the bins of a stroke, those whose passes before differ by less than this part from the middle one are used: the
/// mean over fresh wall and an old groove is the drag of neither.
const ALIKE_PASSES: f64 = 0.25;
/// Strokes with data in less than this part of the bins that the middle one of them has are left out.
const ROW_PART: f64 = 0.4;
/// Rows at most: of longer jobs the late strokes are thinned out.
const ROWS_USED: usize = 160;

/// Mean of one stroke over the bins used.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct StrokeMean {
    pub(super) row: usize,
    /// What a newton per hour of drift, and its change over the job, add to the drag, N.
    pub(super) drift: [f64; 2],
    pub(super) up: bool,
    pub(super) y: f64,
    /// Bins.
    pub(super) n: f64,
    /// Strokes up and down that passed before, by set of wheels.
    pub(super) by_set: [(f64, f64); SETS_MAX],
    /// The set that made this one.
    pub(super) set: usize,
    /// What a pass of its wheels counts.
    pub(super) counts: f64,
    /// So many times the base of the first wheels they roll with.
    pub(super) rolls: f64,
    /// Strokes up and down that passed before, by what they count.
    pub(super) before: (f64, f64),
    /// Relative doubt in its cutting drag.
    pub(super) doubt: f64,
}

impl StrokeMean {
    /// The same with passes by what the drag says that those of each set of wheels count.
    pub(super) fn counted(&self, sets: &WheelSets) -> Self {
        let mut before = (0.0, 0.0);
        for (set, (ups, downs)) in self.by_set.iter().enumerate().take(sets.count()) {
            before.0 += sets.seen(set) * ups;
            before.1 += sets.seen(set) * downs;
        }
        Self {
            before,
            counts: self.counts * sets.seen(self.set),
            rolls: sets.rolls(self.row),
            ..*self
        }
    }

    /// Drag shape before any bin splits, and the logarithm of `x` in the middle of the pass.
    pub(super) fn uncut(&self, wheels: f64, bite: f64, law: &PassLaw) -> (f64, f64) {
        let n0 = wheels * (self.before.0 + bite * self.before.1);
        let n1 = n0 + wheels * self.counts * if self.up { 1.0 } else { bite };
        let (before, after) = (law.at(n0), law.at(n1));
        let middle = 0.5 * (before.0 + after.0);
        (after.1 - before.1, middle.max(1e-9).ln())
    }
}

pub(super) fn stroke_means(input: &FitInput, sets: &WheelSets) -> Vec<StrokeMean> {
    let rows = &input.ledger.rows;
    let count = input.ledger.bins.count;
    let mut total = vec![0.0f64; count];
    drag_model::walk_passes(input, &Bite::of_down(1.0), |_, j, _, _| total[j] += 1.0);
    let mut out: Vec<StrokeMean> = Vec::new();
    let mut passed = vec![[(0.0f64, 0.0f64); SETS_MAX]; count];
    for (k, row) in rows.iter().enumerate().filter(|(k, _)| input.engaged[*k]) {
        let bins = drag_model::bins_passed(input, row);
        let least = least_passes(&total[bins.clone()]);
        let seen: Vec<(f64, Passed)> = bins
            .clone()
            .filter(|j| total[*j] >= least && !input.coupling[*j])
            .filter_map(|j| Some((row.at(j)?, passed[j])))
            .collect();
        let set = sets.of_row(k);
        let mut s = StrokeMean {
            row: k,
            up: row.up,
            set,
            ..StrokeMean::default()
        };
        for (y, before) in alike(seen) {
            s.y += y;
            s.n += 1.0;
            for (sum, of_set) in s.by_set.iter_mut().zip(before) {
                *sum = (sum.0 + of_set.0, sum.1 + of_set.1);
            }
        }
        s.counts = sets.written(k);
        for j in bins {
            let (ups, downs) = &mut passed[j][set];
            *if row.up { ups } else { downs } += s.counts;
        }
        if s.n > 0.0 {
            out.push(s);
        }
    }
    // Strokes over a few bins only (short moves while the crew tries the cutter) say little. Against the middle one: where
    // an interval is cut in short parts and then passed as a whole, the longest are the last, over pipe that is split.
    if !out.is_empty() {
        let middle = drag_model::median(&mut out.iter().map(|s| s.n).collect::<Vec<f64>>());
        out.retain(|s| s.n >= ROW_PART * middle);
    }
    let (began, whole) = began_and_length(rows, &out);
    for s in &mut out {
        s.y /= s.n;
        s.by_set = s.by_set.map(|(ups, downs)| (ups / s.n, downs / s.n));
        s.doubt = doubt(all(&s.by_set));
        s.drift = drift_shapes(&rows[s.row], began, whole);
    }
    out
}

/// Strokes up and down that passed a place, by set of wheels.
type Passed = [(f64, f64); SETS_MAX];

fn all(passed: &Passed) -> f64 {
    passed.iter().map(|(ups, downs)| ups + downs).sum()
}

/// Of drags with the strokes that passed before, those that about as many passed as most.
fn alike(mut seen: Vec<(f64, Passed)>) -> Vec<(f64, Passed)> {
    let mut passes: Vec<f64> = seen.iter().map(|(_, passed)| all(passed)).collect();
    if !passes.is_empty() {
        let middle = drag_model::median(&mut passes);
        let reach = (ALIKE_PASSES * middle).max(1.0);
        seen.retain(|(_, passed)| (all(passed) - middle).abs() <= reach);
    }
    seen
}

/// Strokes that must have passed a bin for a stroke over bins passed so often to use it. Of its own bins: a long interval
/// may be cut in parts, one after another, whose ends overlap.
fn least_passes(total: &[f64]) -> f64 {
    if total.is_empty() {
        return 0.0;
    }
    CORE_PART * drag_model::median(&mut total.to_vec())
}

/// When the strokes used began, and how long they took, s.
pub(super) fn began_and_length(rows: &[Row], means: &[StrokeMean]) -> (f64, f64) {
    let began = means.first().map_or(0.0, |s| rows[s.row].start);
    let whole = means.last().map_or(0.0, |s| rows[s.row].end - began);
    (began, whole)
}

/// What drift at a steady rate, and one that comes and goes, add to a stroke's drag, N per N/h.
pub(super) fn drift_shapes(row: &Row, began: f64, whole: f64) -> [f64; 2] {
    let at = (0.5 * (row.start + row.end) - began) / 3600.0;
    let whole = (whole / 3600.0).max(0.1);
    let sign = if row.up { 1.0 } else { -1.0 } / row.gain;
    [sign * at, sign * at * (at - whole) / whole]
}

/// The strokes that are used: all early ones, and of the late ones of a long job a part.
pub(super) fn thinned(means: &[StrokeMean]) -> Vec<StrokeMean> {
    let step = means.len().div_ceil(ROWS_USED);
    let is_used = |i: usize| i < ROWS_USED / 4 || (i / 2).is_multiple_of(step);
    let used = means.iter().enumerate().filter(|(i, _)| is_used(*i));
    used.map(|(_, s)| *s).collect()
}

/// Scatter of stroke means around their neighbours of the same direction, N.
pub(super) fn scatter(used: &[StrokeMean]) -> f64 {
    let mut off: Vec<f64> = Vec::with_capacity(used.len());
    for up in [true, false] {
        let y: Vec<f64> = used.iter().filter(|s| s.up == up).map(|s| s.y).collect();
        off.extend(drag_model::off_neighbours(&y));
    }
    if off.len() < 5 {
        return 15.0;
    }
    drag_model::sd_by_median(&mut off)
}
