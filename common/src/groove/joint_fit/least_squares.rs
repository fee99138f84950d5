//! What the drag is linear in, for each point of the grid: least squares with priors, reweighted against outliers.

use super::super::drag_model::{self, FitInput};
use super::Solution;
use super::cases::{CASES, Lanes};
use super::stroke_means::StrokeMean;

/// Relative doubt in the cutting drag of one stroke: the law, the wheels' differences.
const DOUBT: f64 = 0.06;
/// The same of the very first strokes, which fades over so many: wheels settle, and their force may build up.
const SETTLING: (f64, f64) = (0.25, 8.0);
/// Neighbouring strokes share what the model lacks: this part of the misfit counts.
const INDEPENDENT: f64 = 0.15;
/// Prior of the drift of a load cell, N/h.
const DRIFT_SD: f64 = 30.0;
/// Where flanks do not drag, standard deviation of their drag, N.
const NO_FLANK_SD: f64 = 0.01;
/// Unknowns that the drag is linear in: both bases, amplitude, drift and its change, drag of flanks.
const UNKNOWNS: usize = 6;
/// Those that both ways share.
const SHARED: usize = UNKNOWNS - 2;

/// What a stroke's drag is made of, for one point of the grid.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    /// Drag of the cut for an amplitude of one, while nothing is split.
    pub(super) cut: f64,
    /// Part of the drag of flanks.
    pub(super) flank: f64,
    /// Part of it all that is left where bins have split, by case.
    pub(super) left: Lanes,
}

/// What multiplies each unknown that both ways share.
type Parts = [Lanes; SHARED];

impl Shape {
    #[inline]
    fn parts(&self, drift: [f64; 2]) -> Parts {
        [
            lanes(|l| self.cut * self.left[l]),
            lanes(|_| drift[0]),
            lanes(|_| drift[1]),
            lanes(|l| self.flank * self.left[l]),
        ]
    }
}

fn lanes(each: impl Fn(usize) -> f64) -> Lanes {
    std::array::from_fn(each)
}

/// Whether it is so of any case; all are looked at, side by side.
fn any(is_so: impl Fn(usize) -> bool) -> bool {
    (0..CASES.len()).fold(false, |any, l| any | is_so(l))
}

/// Least squares of both bases, amplitude and drift with their priors, reweighted against outliers: one solution for
/// each case. `shapes`: by stroke; `slips`: whether flanks drag.
pub(super) fn solve(
    input: &FitInput,
    used: &[StrokeMean],
    shapes: &[Shape],
    sd: f64,
    slips: bool,
) -> [Solution; CASES.len()] {
    let (a0, ln_sd) = input.amplitude_prior;
    let same = input.base_prior.precision();
    let mut prior = [[0.0; UNKNOWNS]; UNKNOWNS];
    (prior[0][0], prior[1][1], prior[0][1], prior[1][0]) = (same.0, same.0, same.1, same.1);
    prior[2][2] = 1.0 / (a0 * ln_sd * 1.5).powi(2);
    prior[3][3] = 1.0 / DRIFT_SD.powi(2);
    prior[4][4] = 1.0 / DRIFT_SD.powi(2);
    let flank_sd = if slips { input.flank_sd } else { NO_FLANK_SD };
    prior[5][5] = 1.0 / flank_sd.powi(2);
    let mean = input.base_prior.mean;
    let first = [mean, mean, a0, 0.0, 0.0, 0.0];
    let mut theta = first.map(|unknown| [unknown; CASES.len()]);
    let pull = (same.0 + same.1) * input.base_prior.mean;
    let pulls = [pull, pull, prior[2][2] * a0, 0.0, 0.0, 0.0];
    let mut inverse = [[[0.0; UNKNOWNS]; UNKNOWNS]; CASES.len()];
    for round in 0..3 {
        let mut sums = Sums::default();
        for (s, h) in used.iter().zip(shapes) {
            let parts = h.parts(s.drift);
            let (r, variance) = misfit(s, &parts, &theta, sd);
            let mut weight = lanes(|l| INDEPENDENT / variance[l]);
            // Most strokes lie well within, which shows without a division.
            if round > 0 && any(|l| r[l] * r[l] > 4.0 * variance[l]) {
                for l in 0..CASES.len() {
                    let square = r[l] * r[l] / variance[l];
                    if square > 4.0 {
                        let huber = 2.0 / square.sqrt();
                        weight[l] = INDEPENDENT * huber / variance[l];
                    }
                }
            }
            sums.add(s, &weight, &parts);
        }
        for l in 0..CASES.len() {
            let (mut m, v) = sums.onto(l, prior, pulls);
            let mut answer = |m: [[f64; UNKNOWNS]; UNKNOWNS]| {
                inverse[l] = drag_model::invert(m);
                for i in 0..UNKNOWNS {
                    theta[i][l] = (0..UNKNOWNS).map(|j| inverse[l][i][j] * v[j]).sum();
                }
                theta[5][l]
            };
            // Flanks never help the wheels on.
            if answer(m) < 0.0 {
                m[5][5] += 1.0 / NO_FLANK_SD.powi(2);
                answer(m);
            }
            theta[2][l] = theta[2][l].max(0.05 * a0);
        }
    }
    let ln_p = ln_density(used, shapes, &theta, sd, flank_sd);
    std::array::from_fn(|l| {
        let inverse = &inverse[l];
        let amplitude = theta[2][l];
        Solution {
            base: (theta[0][l], theta[1][l]),
            base_var: 0.25 * (inverse[0][0] + inverse[1][1] + 2.0 * inverse[0][1]),
            flank: theta[5][l],
            drift: [theta[3][l], theta[4][l]],
            ln_amplitude: amplitude.ln(),
            ln_amplitude_var: inverse[2][2] / (amplitude * amplitude),
            // How much narrower the drag of flanks was made: a free unknown must earn its place.
            ln_p: ln_p[l] + 0.5 * (inverse[5][5] * prior[5][5]).ln(),
        }
    })
}

/// Log density of the data, of the drift and of the drag of flanks.
fn ln_density(
    used: &[StrokeMean],
    shapes: &[Shape],
    theta: &[Lanes; UNKNOWNS],
    sd: f64,
    flank_sd: f64,
) -> Lanes {
    let sds = [DRIFT_SD, DRIFT_SD, flank_sd];
    let mut ln_p = lanes(|_| 0.0);
    for (unknown, sd) in theta[3..].iter().zip(sds) {
        for l in 0..CASES.len() {
            ln_p[l] -= 0.5 * (unknown[l] / sd).powi(2);
        }
    }
    // The product of all variances: one logarithm in the end.
    let (mut product, mut ln_product) = (lanes(|_| 1.0), lanes(|_| 0.0));
    for (s, h) in used.iter().zip(shapes) {
        let (r, variance) = misfit(s, &h.parts(s.drift), theta, sd);
        let square = lanes(|l| r[l] * r[l] / variance[l]);
        let mut cost = lanes(|l| 0.5 * square[l]);
        if any(|l| square[l] > 4.0) {
            for l in (0..CASES.len()).filter(|&l| square[l] > 4.0) {
                cost[l] = 2.0 * square[l].sqrt() - 2.0;
            }
        }
        for l in 0..CASES.len() {
            ln_p[l] -= INDEPENDENT * cost[l];
            product[l] *= variance[l];
        }
        if any(|l| product[l] > 1e200) {
            for (ln_product, product) in ln_product.iter_mut().zip(&mut product) {
                if *product > 1e200 {
                    *ln_product += f64::ln(*product);
                    *product = 1.0;
                }
            }
        }
    }
    lanes(|l| ln_p[l] - INDEPENDENT * 0.5 * (ln_product[l] + f64::ln(product[l])))
}

/// Relative doubt in the cutting drag of a stroke that so many strokes passed before.
pub(super) fn doubt(strokes_before: f64) -> f64 {
    DOUBT.hypot(SETTLING.0 * (-strokes_before / SETTLING.1).exp())
}

/// Misfit of a stroke, N, and its variance.
#[inline]
fn misfit(s: &StrokeMean, parts: &Parts, theta: &[Lanes; UNKNOWNS], sd: f64) -> (Lanes, Lanes) {
    let base = if s.up { &theta[0] } else { &theta[1] };
    let mut r = lanes(|l| s.y - s.rolls * base[l]);
    for (part, unknown) in parts.iter().zip(&theta[2..]) {
        for l in 0..CASES.len() {
            r[l] -= part[l] * unknown[l];
        }
    }
    let variance = lanes(|l| {
        let doubt = s.doubt * parts[0][l] * theta[2][l];
        sd * sd + doubt * doubt
    });
    (r, variance)
}

/// Sums of the normal equations: each stroke has one of two bases.
#[derive(Debug, Default)]
struct Sums {
    /// By way: weight, and weight with drag.
    way: [[Lanes; 2]; 2],
    /// By way: weight with each part.
    part: [[Lanes; SHARED]; 2],
    /// Products of parts, of the second with those up to it.
    square: [[Lanes; SHARED]; SHARED],
    /// Parts with drag.
    drag: [Lanes; SHARED],
}

impl Sums {
    #[inline]
    fn add(&mut self, s: &StrokeMean, w: &Lanes, parts: &Parts) {
        let (way, y) = (usize::from(!s.up), s.y);
        let of_base = lanes(|l| w[l] * s.rolls);
        for l in 0..CASES.len() {
            self.way[way][0][l] += of_base[l] * s.rolls;
            self.way[way][1][l] += of_base[l] * y;
        }
        for i in 0..SHARED {
            let weighted = lanes(|l| w[l] * parts[i][l]);
            for l in 0..CASES.len() {
                self.part[way][i][l] += weighted[l] * s.rolls;
                self.drag[i][l] += weighted[l] * y;
            }
            for j in 0..=i {
                for l in 0..CASES.len() {
                    self.square[i][j][l] += weighted[l] * parts[j][l];
                }
            }
        }
    }

    /// One lane of it, added to what the priors put there.
    fn onto(
        &self,
        lane: usize,
        mut m: [[f64; UNKNOWNS]; UNKNOWNS],
        mut v: [f64; UNKNOWNS],
    ) -> ([[f64; UNKNOWNS]; UNKNOWNS], [f64; UNKNOWNS]) {
        for k in 0..2 {
            m[k][k] += self.way[k][0][lane];
            v[k] += self.way[k][1][lane];
            for i in 0..SHARED {
                m[k][2 + i] += self.part[k][i][lane];
                m[2 + i][k] += self.part[k][i][lane];
            }
        }
        for i in 0..SHARED {
            for j in 0..=i {
                m[2 + i][2 + j] += self.square[i][j][lane];
                if j < i {
                    m[2 + j][2 + i] += self.square[i][j][lane];
                }
            }
            v[2 + i] += self.drag[i][lane];
        }
        (m, v)
    }
}
