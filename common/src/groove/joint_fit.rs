//! Base, cutting drag and splitting fitted together, from the mean drag of each stroke.
//!
//! Drag that falls can mean a groove that deepens or a wall that splits; a fit that knows only the
//! one explains the other with a wrong base. Here both are one curve. Bins split at a wall reach of
//! `m + e` with `e` spread normally ([`super::posterior`]), so of the bins of a stroke the part
//!
//! ```text
//! alive(n) = 1 - Phi((m + ln x(n)) / spread)
//! ```
//!
//! still cuts, and the mean over them is `base + alive(n) (amplitude [x(n1)^2 - x(n0)^2] + flank x/x_wall)`. Base,
//! amplitude and flank are linear; `m`, `spread`, `bite_down` and the law's bend are searched over a grid, once with
//! flanks that drag and once without; beside them stands the case in which nothing of a split shows. What ties the ends
//! together is that `m` and `amplitude` come from the same force and contact pressure.
//!
//! *Limits*: needs bins that strokes passed about equally often (those near the turning points are left out), and
//! says nothing about single bins: [`super::through`] does.

use super::drag_model::{self, BITE, Bite, DragFit, FADE, FitInput};
use super::ledger::Row;
use super::one_way::{self, StrokeDrag};
use super::pass_law::{Bend, PassLaw};
use super::posterior::Nominal;
use super::silent_splits::Silent;
use super::wheel_sets::{SETS_MAX, WheelSets};
use cases::{CASES, Case, Weighed, alive};
use grid::{Grid, Place};
use least_squares::{doubt, solve};

mod cases;
mod grid;
mod least_squares;
mod other_wheels;

/// Bins passed by at least this part of the strokes that passed the middle one are used.
const CORE_PART: f64 = 0.75;
/// Of the bins of a stroke, those whose passes before differ by less than this part from the middle one are used: the
/// mean over fresh wall and an old groove is the drag of neither.
const ALIKE_PASSES: f64 = 0.25;
/// Strokes with data in less than this part of the bins that the middle one of them has are left out.
const ROW_PART: f64 = 0.4;
/// Rows at most: of longer jobs the late strokes are thinned out.
const ROWS_USED: usize = 160;
/// Grid of `m`: points, and standard deviations of its prior to either side.
const M_POINTS: usize = 33;
const M_REACH: f64 = 2.8;
/// Bends of the law that are tried, and whether flanks drag. Softening is tried only together with flanks: without
/// evidence of either (drag that stops falling, or rises, while nothing is split) the plain law stands.
const BENDS: [(Bend, bool); 8] = [
    (Bend::new(-0.1, 0.0), false),
    (Bend::new(0.05, 0.0), false),
    (Bend::new(0.2, 0.0), false),
    (Bend::new(0.4, 0.0), false),
    (Bend::new(-0.1, SOFTENING), true),
    (Bend::new(0.05, SOFTENING), true),
    (Bend::new(0.2, SOFTENING), true),
    (Bend::new(0.4, SOFTENING), true),
];
/// Part of its resistance that the last of the wall loses (common practice, no source).
const SOFTENING: f64 = 0.4;
/// Bites of passes down that are tried.
const BITES: [f64; 7] = [0.03, 0.12, 0.3, 0.5, 0.65, 0.8, 0.95];
/// Standard deviation of a stroke's mean, N, at least: sheaves, speed.
const SD_MIN: f64 = 5.0;

/// What the joint fit found.
#[derive(Debug, Clone)]
pub struct JointFit {
    /// Base, amplitude and law of the drag.
    pub fit: DragFit,
    /// Standard deviation of the base that both ways share, N.
    pub base_sd: f64,
    /// Mean and standard deviation of `m`.
    pub reach: (f64, f64),
    /// Spread of the wall reach over bins.
    pub spread: f64,
    /// First row from which on strokes down only roll, if any do.
    pub rolls_down_from: Option<usize>,
    /// What holds if splits do not show in the drag.
    pub silent: Silent,
    /// Logarithm of the evidence, but for a constant.
    ln_evidence: f64,
}

/// Mean of one stroke over the bins used.
#[derive(Debug, Clone, Copy, Default)]
struct StrokeMean {
    row: usize,
    /// What a newton per hour of drift, and its change over the job, add to the drag, N.
    drift: [f64; 2],
    up: bool,
    y: f64,
    /// Bins.
    n: f64,
    /// Strokes up and down that passed before, by set of wheels.
    by_set: [(f64, f64); SETS_MAX],
    /// The set that made this one.
    set: usize,
    /// What a pass of its wheels counts.
    counts: f64,
    /// So many times the base of the first wheels they roll with.
    rolls: f64,
    /// Strokes up and down that passed before, by what they count.
    before: (f64, f64),
    /// Relative doubt in its cutting drag.
    doubt: f64,
}

/// What the least squares found at one point of the grid.
#[derive(Debug, Clone, Copy)]
struct Solution {
    base: (f64, f64),
    base_var: f64,
    flank: f64,
    /// Drift of the load cell, N/h, and its change.
    drift: [f64; 2],
    ln_amplitude: f64,
    ln_amplitude_var: f64,
    /// Log density of the data.
    ln_p: f64,
}

/// One point of the grid with its least squares.
#[derive(Debug, Clone, Copy)]
struct Point {
    place: Place,
    case: Case,
    found: Solution,
    /// Log density, data and priors.
    ln_p: f64,
}

impl Point {
    /// A point part of the way to another of the same case; `bow`: how far above the straight line its log density lies
    /// in the middle.
    fn towards(&self, other: &Self, part: f64, bow: f64) -> Self {
        let mix = |a: f64, b: f64| a + part * (b - a);
        let (a, b) = (&self.found, &other.found);
        Self {
            place: Place {
                m: mix(self.place.m, other.place.m),
                ..self.place
            },
            case: self.case,
            found: Solution {
                base: (mix(a.base.0, b.base.0), mix(a.base.1, b.base.1)),
                base_var: mix(a.base_var, b.base_var),
                flank: mix(a.flank, b.flank),
                drift: [mix(a.drift[0], b.drift[0]), mix(a.drift[1], b.drift[1])],
                ln_amplitude: mix(a.ln_amplitude, b.ln_amplitude),
                ln_amplitude_var: mix(a.ln_amplitude_var, b.ln_amplitude_var),
                ln_p: mix(a.ln_p, b.ln_p),
            },
            ln_p: mix(self.ln_p, other.ln_p) + 4.0 * part * (1.0 - part) * bow,
        }
    }
}

/// Fits; `None` when no stroke was made with the cutter out.
pub fn fit(input: &FitInput, nominal: &Nominal, ln_wall: f64) -> Option<JointFit> {
    let sets = WheelSets::possible(input.ledger, input.engaged);
    let means = stroke_means(input, &sets);
    if means.is_empty() {
        return None;
    }
    let rows = input.ledger.rows.len();
    let mut drift = vec![0.0; rows];
    let used = thinned(&means);
    let searched = |sets: &WheelSets, drift: &[f64]| {
        search(input, nominal, ln_wall, &means, &used, sets, drift)
    };
    let (mut found, sets) = other_wheels::told(sets, |sets| searched(sets, &drift))?;
    let means: Vec<StrokeMean> = means.iter().map(|s| s.counted(&sets)).collect();
    let mut off: Vec<Option<f64>> = vec![None; rows];
    for s in &means {
        let f = &found.fit;
        let base = if s.up { f.base.0 } else { f.base.1 };
        off[s.row] = Some(s.y - base - found.cutting_drag(input, s) - f.drift[s.row]);
    }
    drift = drag_model::drift_of(input, &off);
    if drift.iter().any(|d| d.abs() > SD_MIN) {
        found = searched(&sets, &drift)?;
    }
    for (whole, rest) in found.fit.drift.iter_mut().zip(&drift) {
        *whole += rest;
    }
    found.fit.noise = drag_model::bin_noise(input, &found.fit);
    let strokes = means.iter().map(|s| StrokeDrag {
        row: s.row,
        up: s.up,
        drag: s.y,
        expected: found.cutting_drag(input, s),
    });
    let strokes: Vec<StrokeDrag> = strokes.collect();
    found.rolls_down_from = one_way::rolls_down_from(&strokes);
    Some(found)
}

fn stroke_means(input: &FitInput, sets: &WheelSets) -> Vec<StrokeMean> {
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
fn began_and_length(rows: &[Row], means: &[StrokeMean]) -> (f64, f64) {
    let began = means.first().map_or(0.0, |s| rows[s.row].start);
    let whole = means.last().map_or(0.0, |s| rows[s.row].end - began);
    (began, whole)
}

/// What drift at a steady rate, and one that comes and goes, add to a stroke's drag, N per N/h.
fn drift_shapes(row: &Row, began: f64, whole: f64) -> [f64; 2] {
    let at = (0.5 * (row.start + row.end) - began) / 3600.0;
    let whole = (whole / 3600.0).max(0.1);
    let sign = if row.up { 1.0 } else { -1.0 } / row.gain;
    [sign * at, sign * at * (at - whole) / whole]
}

impl JointFit {
    /// Mean cutting drag that is expected of a stroke, N.
    fn cutting_drag(&self, input: &FitInput, s: &StrokeMean) -> f64 {
        let (h, ln_x) = s.uncut(input.wheels, self.fit.bite.down, &self.fit.law);
        let reach = self.reach.0 + ln_x;
        let flank = self.fit.flank * reach.exp().min(1.0);
        (self.fit.amplitude * h + flank) * alive(reach, self.spread)
    }
}

impl StrokeMean {
    /// The same with passes by what the drag says that those of each set of wheels count.
    fn counted(&self, sets: &WheelSets) -> Self {
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
    fn uncut(&self, wheels: f64, bite: f64, law: &PassLaw) -> (f64, f64) {
        let n0 = wheels * (self.before.0 + bite * self.before.1);
        let n1 = n0 + wheels * self.counts * if self.up { 1.0 } else { bite };
        let (before, after) = (law.at(n0), law.at(n1));
        let middle = 0.5 * (before.0 + after.0);
        (after.1 - before.1, middle.max(1e-9).ln())
    }
}

/// Logarithm of the prior weight of a bite down.
fn ln_bite_prior(bite: f64) -> f64 {
    let both = (-0.5 * ((bite - BITE.0) / BITE.1).powi(2)).exp();
    (both + 0.2).ln()
}

/// The strokes that are used: all early ones, and of the late ones of a long job a part.
fn thinned(means: &[StrokeMean]) -> Vec<StrokeMean> {
    let step = means.len().div_ceil(ROWS_USED);
    let is_used = |i: usize| i < ROWS_USED / 4 || (i / 2).is_multiple_of(step);
    let used = means.iter().enumerate().filter(|(i, _)| is_used(*i));
    used.map(|(_, s)| *s).collect()
}

/// Scatter of stroke means around their neighbours of the same direction, N.
fn scatter(used: &[StrokeMean]) -> f64 {
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

fn search(
    input: &FitInput,
    nominal: &Nominal,
    ln_wall: f64,
    means: &[StrokeMean],
    used: &[StrokeMean],
    sets: &WheelSets,
    drift: &[f64],
) -> Option<JointFit> {
    let grid = Grid::new(input, sets.most(), nominal.reach_prior(ln_wall));
    let without_drift = |s: &StrokeMean| StrokeMean {
        y: s.y - drift[s.row],
        ..s.counted(sets)
    };
    let used: Vec<StrokeMean> = used.iter().map(without_drift).collect();
    let sd = scatter(&used).max(SD_MIN);
    let (a0, a_sd) = (input.amplitude_prior.0.ln(), input.amplitude_prior.1);
    let points = grid.points(input.wheels, &used, |place, shapes| {
        let found = solve(input, &used, shapes, sd, place.slips);
        std::array::from_fn(|i| {
            let case = CASES[i];
            let ln_a = found[i].ln_amplitude;
            let (mean, m_sd) = nominal.reach_given_amplitude(ln_wall, ln_a);
            let ln_priors = case.ln_prior + ln_bite_prior(place.bite)
                - 0.5 * ((place.bend.fade - FADE.0) / FADE.1).powi(2)
                - 0.5 * ((ln_a - a0) / a_sd).powi(2)
                - 0.5 * ((place.m - mean) / m_sd).powi(2)
                - input.base_prior.cost(found[i].base);
            Point {
                place,
                case,
                found: found[i],
                ln_p: found[i].ln_p + ln_priors,
            }
        })
    });
    let of = |shows: bool| {
        Weighed::new(
            points
                .iter()
                .filter(move |p| p.case.shows == shows)
                .copied(),
        )
    };
    let (shown, unseen) = (of(true)?, of(false)?);
    let reach = |of: &Weighed| {
        let sd = of.variance(|p| p.place.m).sqrt().hypot(grid.half_step());
        (of.mean(|p| p.place.m), sd)
    };
    let m = shown.mean(|p| p.place.m);
    let fade = shown.mean(|p| p.place.bend.fade);
    let bend = Bend::new(fade, shown.mean(|p| p.place.bend.softening));
    let ln_a_var =
        shown.variance(|p| p.found.ln_amplitude) + shown.mean(|p| p.found.ln_amplitude_var);
    let base_var = shown.variance(|p| 0.5 * (p.found.base.0 + p.found.base.1))
        + shown.mean(|p| p.found.base_var);
    let base = (
        shown.mean(|p| p.found.base.0),
        shown.mean(|p| p.found.base.1),
    );
    let mut drift = drift_of_rows(
        input,
        means,
        shown.mean(|p| p.found.drift[0]),
        shown.mean(|p| p.found.drift[1]),
    );
    for (k, (drift, row)) in drift.iter_mut().zip(&input.ledger.rows).enumerate() {
        *drift += (sets.rolls(k) - 1.0) * if row.up { base.0 } else { base.1 };
    }
    Some(JointFit {
        fit: DragFit {
            base,
            amplitude: shown.mean(|p| p.found.ln_amplitude).exp(),
            flank: shown.mean(|p| p.found.flank),
            x_wall: (-m).exp(),
            ln_amplitude_sd: (ln_a_var + 0.05f64.powi(2)).sqrt(),
            bite: Bite {
                down: shown.mean(|p| p.place.bite),
                wheels: sets.clone(),
            },
            bend,
            noise: 30.0,
            drift,
            law: PassLaw::new(grid.passes, (-m).exp(), bend),
        },
        base_sd: base_var.sqrt(),
        reach: reach(&shown),
        spread: shown.mean(|p| p.case.spread),
        rolls_down_from: None,
        silent: Silent {
            probability: 1.0 / (1.0 + (shown.ln_evidence - unseen.ln_evidence).exp()),
            reach: reach(&unseen),
        },
        ln_evidence: ln_sum(shown.ln_evidence, unseen.ln_evidence),
    })
}

/// Logarithm of the sum of two numbers whose logarithms are given.
fn ln_sum(a: f64, b: f64) -> f64 {
    a.max(b) + (-(a - b).abs()).exp().ln_1p()
}

/// Drift by row, N as it adds to its drag.
fn drift_of_rows(input: &FitInput, means: &[StrokeMean], rate: f64, bend: f64) -> Vec<f64> {
    let rows = &input.ledger.rows;
    let (began, whole) = began_and_length(rows, means);
    rows.iter()
        .map(|row| {
            let [a, b] = drift_shapes(row, began, whole);
            rate * a + bend * b
        })
        .collect()
}

#[cfg(test)]
mod tests;
