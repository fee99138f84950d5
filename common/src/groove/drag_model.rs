//! What drag is made of, and what every fit of it shares: priors, passes, drift, noise.
//!
//! Model, for the drag `y` of row `k` over bin `j`, in N at the tool:
//!
//! ```text
//! y = base(direction) + amplitude [x(n1)^2 - x(n0)^2] + flank x/x_wall + drift + noise
//! ```
//!
//! `x(n)` is the pass law; `n0, n1` the wheel passes of the bin before and after. `base` holds all
//! that does not decay: errors of friction and weight, reaction rollers, axles. `amplitude` is
//! `u tan b kappa^(4/3)`. Passes down count `bite.down` of a pass up. Wheels of some cutters slip
//! along the flanks, the more the deeper the groove: `flank`. A bin that is split has `base` alone.
//!
//! Drift of the load cell adds to drag up and takes from drag down: the difference of neighbouring
//! up and down strokes, less what the model says of it, shows it; it is smoothed and taken out.

use super::ledger::{Ledger, Row};
use super::pass_law::{Bend, PassLaw};
use super::wheel_sets::WheelSets;
use crate::job::Job;
use std::ops::Range;

/// Row index that means never.
pub const NEVER: usize = usize::MAX;
/// Bins looked at for the scatter of single bins.
const NOISE_BINS: usize = 30;
/// Prior of `bite.down`: mean and standard deviation.
pub(super) const BITE: (f64, f64) = (0.75, 0.25);
/// Friction of flanks, standard deviation: wet steel at most slips in part (common practice, no source).
const FLANK_FRICTION_SD: f64 = 0.04;
/// Prior of `fade`.
pub(super) const FADE: (f64, f64) = (0.1, 0.12);
/// Strokes over which drift is smoothed, to each side.
const DRIFT_ROWS: usize = 6;

/// Base before the fit: rolling drag is alike both ways, errors of the free tool's drag are not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BasePrior {
    /// Rolling drag, N.
    pub mean: f64,
    /// Standard deviation of what both ways share, N.
    pub shared_sd: f64,
    /// Standard deviation of each way's own error, N.
    pub own_sd: f64,
}

/// Rolling drag of wheels and reaction rollers over their radial force: mean and standard deviation
/// (common practice, no source).
const ROLLING: (f64, f64) = (0.027, 0.016);

impl BasePrior {
    /// From the job, before anything is seen.
    pub fn of(job: &Job) -> Self {
        let force = f64::from(job.cutter.wheels) * job.cutter.radial_force.si();
        Self {
            mean: ROLLING.0 * force,
            shared_sd: (ROLLING.1 * force).max(60.0),
            own_sd: 120.0,
        }
    }

    /// How unlikely a base is before the fit: minus log density, without its constant.
    pub(super) fn cost(&self, base: (f64, f64)) -> f64 {
        let (u, d) = (base.0 - self.mean, base.1 - self.mean);
        let (same, other) = self.precision();
        0.5 * same * (u * u + d * d) + other * u * d
    }

    /// Inverse of the covariance of both ways: diagonal and other element, 1/N2.
    pub(super) fn precision(&self) -> (f64, f64) {
        let (shared, own) = (self.shared_sd.powi(2), self.own_sd.powi(2));
        let det = own * (own + 2.0 * shared);
        ((shared + own) / det, -shared / det)
    }
}

/// Standard deviation of the drag of flanks in a groove as deep as the wall, N, of cutters that slip there.
///
/// A wheel that rolls about the middle of its flanks slips there by `d/(4 R)` of its way on average, under a flank
/// pressure of `N/sin b` (derived here).
pub(super) fn flank_sd(job: &Job) -> f64 {
    let c = &job.cutter;
    let force = f64::from(c.wheels) * c.radial_force.si();
    let slip = job.tubular.wall.si() / (4.0 * c.radius.si() * (0.5 * c.edge_angle.si()).sin());
    FLANK_FRICTION_SD * force * slip
}

/// What is known before the fit.
#[derive(Debug, Clone)]
pub struct FitInput<'a> {
    /// All rows.
    pub ledger: &'a Ledger,
    /// Cutter out, by row.
    pub engaged: &'a [bool],
    /// Bin lies in or next to a coupling.
    pub coupling: &'a [bool],
    /// Wheels in the groove.
    pub wheels: f64,
    /// What is known of base before the fit.
    pub base_prior: BasePrior,
    /// Amplitude expected from nominal values, N, and the standard deviation of its logarithm.
    pub amplitude_prior: (f64, f64),
    /// Standard deviation of the drag of flanks in a groove as deep as the wall, N, where they drag at all.
    pub flank_sd: f64,
}

/// What a pass counts against one up of the first wheels.
#[derive(Debug, Clone, PartialEq)]
pub struct Bite {
    /// A pass down against a pass up.
    pub down: f64,
    /// Wheels that came later against the first ones.
    pub wheels: WheelSets,
}

impl Bite {
    /// The same wheels from beginning to end.
    pub fn of_down(down: f64) -> Self {
        Self {
            down,
            wheels: WheelSets::default(),
        }
    }

    /// A pass of a row, up or down.
    pub(super) fn of(&self, row: usize, up: bool) -> f64 {
        self.wheels.of(row) * if up { 1.0 } else { self.down }
    }
}

/// The fit.
#[derive(Debug, Clone)]
pub struct DragFit {
    /// Base up and down, N.
    pub base: (f64, f64),
    /// Amplitude, N per unit of `x^2`.
    pub amplitude: f64,
    /// Standard deviation of its logarithm.
    pub ln_amplitude_sd: f64,
    /// Drag of flanks in a groove as deep as the wall, N.
    pub flank: f64,
    /// `x` at full wall.
    pub x_wall: f64,
    /// What passes count.
    pub bite: Bite,
    /// How the pass law bends.
    pub bend: Bend,
    /// Standard deviation of one row in one bin, N.
    pub noise: f64,
    /// By row, what adds to the base of the first wheels, N: drift of the cell, and other wheels that roll harder or less.
    pub drift: Vec<f64>,
    /// Pass law with that bend.
    pub law: PassLaw,
}

impl DragFit {
    /// Invented, for tests: 100 N of base each way, 200 N of amplitude, `rows` without drift.
    #[cfg(test)]
    pub(super) fn invented(rows: usize) -> Self {
        let bend = Bend::new(0.1, 0.0);
        Self {
            base: (100.0, 100.0),
            amplitude: 200.0,
            ln_amplitude_sd: 0.2,
            bite: Bite::of_down(0.8),
            bend,
            flank: 0.0,
            x_wall: 8.0,
            noise: 20.0,
            drift: vec![0.0; rows],
            law: PassLaw::new(10, 8.0, bend),
        }
    }

    /// Drag that passes from one number to another make while the wall holds and a split bin has not, N.
    pub(super) fn cutting_drag_of(&self, n0: f64, n1: f64) -> f64 {
        let (before, after) = (self.law.at(n0), self.law.at(n1));
        let cut = self.amplitude * (after.1 - before.1);
        let part = 0.5 * (before.0 + after.0) / self.x_wall;
        cut + self.flank * part.min(1.0)
    }

    /// Cutting drag of so many passes after so many: those that the law is not tabulated for go on as the last did, N.
    pub(super) fn next_cutting_drag(&self, before: f64, passes: f64) -> f64 {
        let (x, then) = (
            self.law.x_beyond(before),
            self.law.x_beyond(before + passes),
        );
        let flank = self.flank * (0.5 * (x + then) / self.x_wall).min(1.0);
        self.amplitude * (then * then - x * x) + flank
    }

    /// The same as [`Self::cutting_drag_of`], which gives its last answer again: most bins were passed as often as their
    /// neighbours.
    pub(super) fn cutting_drag(&self) -> impl FnMut(f64, f64) -> f64 {
        let mut last = (f64::NAN, f64::NAN, 0.0);
        move |n0, n1| {
            if (last.0, last.1) != (n0, n1) {
                last = (n0, n1, self.cutting_drag_of(n0, n1));
            }
            last.2
        }
    }
}

/// Wheel passes of all strokes with the cutter out, a stroke down counted as one up.
pub(super) fn total_passes(input: &FitInput, wheels: &WheelSets) -> f64 {
    let engaged = (0..input.engaged.len()).filter(|&row| input.engaged[row]);
    engaged.map(|row| wheels.of(row)).sum::<f64>() * input.wheels
}

/// Bins whose middle a row passes.
pub(super) fn bins_passed(input: &FitInput, row: &Row) -> Range<usize> {
    let bins = input.ledger.bins;
    let first = ((row.top - bins.top) / bins.step - 0.5).ceil().max(0.0) as usize;
    let last = ((row.bottom - bins.top) / bins.step - 0.5).floor();
    if last < 0.0 {
        return 0..0;
    }
    first..(last as usize + 1).min(bins.count)
}

/// Walks rows in order, giving each bin's passes before and after.
pub fn walk_passes(input: &FitInput, bite: &Bite, mut each: impl FnMut(usize, usize, f64, f64)) {
    let mut n = vec![0.0; input.ledger.bins.count];
    for (k, row) in input.ledger.rows.iter().enumerate() {
        if !input.engaged[k] {
            continue;
        }
        let add = input.wheels * bite.of(k, row.up);
        for j in bins_passed(input, row) {
            each(k, j, n[j], n[j] + add);
            n[j] += add;
        }
    }
}

/// Drift by row, N as it adds to its drag, from misfits by row, N: what adds to drag up and takes
/// from drag down, smoothed over neighbours.
pub(super) fn drift_of(input: &FitInput, residual: &[Option<f64>]) -> Vec<f64> {
    let rows = &input.ledger.rows;
    // In terms of tension at the surface: drift adds there.
    let sign = |k: usize| if rows[k].up { 1.0 } else { -1.0 };
    let surface = |k: usize| residual[k].map(|r| r * rows[k].gain * sign(k));
    (0..rows.len())
        .map(|k| {
            let (a, b) = (
                k.saturating_sub(DRIFT_ROWS),
                (k + DRIFT_ROWS + 1).min(rows.len()),
            );
            let mean = |up: bool| {
                let (s, n) = (a..b)
                    .filter(|&i| rows[i].up == up)
                    .filter_map(surface)
                    .fold((0.0, 0.0), |(s, n), r| (s + r, n + 1.0));
                (n >= 3.0).then(|| s / n)
            };
            match (mean(true), mean(false)) {
                (Some(u), Some(d)) => 0.5 * (u + d) / rows[k].gain * sign(k),
                _ => 0.0,
            }
        })
        .collect()
}

/// Scatter of single bins around the fit, N: median absolute deviation, over one bin in a few.
pub(super) fn bin_noise(input: &FitInput, fit: &DragFit) -> f64 {
    let rows = &input.ledger.rows;
    let stride = input.ledger.bins.count.div_ceil(NOISE_BINS);
    let mut off: Vec<f64> = Vec::new();
    walk_passes(input, &fit.bite, |k, j, n0, n1| {
        if j % stride != 0 || input.coupling[j] {
            return;
        }
        if let Some(y) = rows[k].at(j) {
            let base = if rows[k].up { fit.base.0 } else { fit.base.1 };
            let model = base + fit.drift[k] + fit.cutting_drag_of(n0, n1);
            off.push((y - model).abs());
        }
    });
    if off.len() < 20 {
        return 40.0;
    }
    sd_by_median(&mut off).clamp(3.0, 300.0)
}

/// Standard deviation of what lies so far off, from the median: some are odd. Not for an empty list.
pub(super) fn sd_by_median(off: &mut [f64]) -> f64 {
    1.4826 * median(off)
}

/// The middle one, of an even number the greater of both. Not for an empty list.
pub(super) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// How far each value but the first and the last lies off the mean of its neighbours, as if it alone were off.
pub(super) fn off_neighbours(values: &[f64]) -> impl Iterator<Item = f64> {
    let triples = values.windows(3);
    triples.map(|w| (w[1] - 0.5 * (w[0] + w[2])).abs() / 1.5f64.sqrt())
}

/// Inverse of a symmetric positive matrix (Gauss-Jordan; pivots of such a matrix are positive).
pub(super) fn invert<const N: usize>(mut m: [[f64; N]; N]) -> [[f64; N]; N] {
    let mut out = [[0.0; N]; N];
    for (i, row) in out.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for i in 0..N {
        let pivot = 1.0 / m[i][i].max(1e-300);
        for k in 0..N {
            m[i][k] *= pivot;
            out[i][k] *= pivot;
        }
        for j in (0..N).filter(|&j| j != i) {
            let part = m[j][i];
            for k in 0..N {
                m[j][k] -= part * m[i][k];
                out[j][k] -= part * out[i][k];
            }
        }
    }
    out
}
