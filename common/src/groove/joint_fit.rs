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

use super::drag_model::{self, Bite, DragFit, FitInput};
use super::one_way::{self, StrokeDrag};
use super::pass_law::{Bend, PassLaw};
use super::posterior::Nominal;
use super::silent_splits::Silent;
use super::wheel_sets::WheelSets;
use cases::{Case, Weighed, alive};
use grid::Place;
use question::Question;
use stroke_means::{StrokeMean, began_and_length, drift_shapes, stroke_means, thinned};

mod cases;
mod grid;
mod least_squares;
mod other_wheels;
mod question;
mod stroke_means;

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
    let question = Question {
        input,
        nominal,
        ln_wall,
        used: &used,
    };
    let (mut found, sets) =
        other_wheels::told(sets, |sets| search(&question, &means, sets, &drift))?;
    let means: Vec<StrokeMean> = means.iter().map(|s| s.counted(&sets)).collect();
    let mut off: Vec<Option<f64>> = vec![None; rows];
    for s in &means {
        let f = &found.fit;
        let base = if s.up { f.base.0 } else { f.base.1 };
        off[s.row] = Some(s.y - base - found.cutting_drag(input, s) - f.drift[s.row]);
    }
    drift = drag_model::drift_of(input, &off);
    if drift.iter().any(|d| d.abs() > SD_MIN) {
        found = search(&question, &means, &sets, &drift)?;
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

impl JointFit {
    /// Mean cutting drag that is expected of a stroke, N.
    fn cutting_drag(&self, input: &FitInput, s: &StrokeMean) -> f64 {
        let (h, ln_x) = s.uncut(input.wheels, self.fit.bite.down, &self.fit.law);
        let reach = self.reach.0 + ln_x;
        let flank = self.fit.flank * reach.exp().min(1.0);
        (self.fit.amplitude * h + flank) * alive(reach, self.spread)
    }
}

fn search(
    question: &Question,
    means: &[StrokeMean],
    sets: &WheelSets,
    drift: &[f64],
) -> Option<JointFit> {
    let input = question.input;
    let strokes = question.strokes(sets, drift);
    let grid = strokes.grid;
    let points = grid.points(input.wheels, &strokes.used, |place, shapes| {
        question.ask(&strokes, place, shapes)
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
