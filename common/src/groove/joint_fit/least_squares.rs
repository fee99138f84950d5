//! What the drag is linear in, for each point of the grid: least squares with priors, reweighted against outliers.

use super::super::drag_model::{self, FitInput};
use super::{SPREADS, Solution, StrokeMean};

/// Relative doubt in the cutting drag of one stroke: the law, the wheels' differences.
const DOUBT: f64 = 0.06;
/// The same of the very first strokes, which fades over so many: wheels settle, and their force may build up.
const SETTLING: (f64, f64) = (0.25, 8.0);
/// Neighbouring strokes share what the model lacks: this part of the misfit counts.
const INDEPENDENT: f64 = 0.15;
/// Prior of the drift of a load cell, N/h.
const DRIFT_SD: f64 = 30.0;
/// Unknowns that the drag is linear in: both bases, amplitude, drift and its change.
const UNKNOWNS: usize = 5;

/// One number for each spread. They are worked out side by side, which processors do at little more than the cost
/// of one; each comes out as it would alone.
pub(super) type Lanes = [f64; SPREADS.len()];

fn lanes(each: impl Fn(usize) -> f64) -> Lanes {
    std::array::from_fn(each)
}

/// Whether it is so of any spread; all are looked at, side by side.
fn any(is_so: impl Fn(usize) -> bool) -> bool {
    (0..SPREADS.len()).fold(false, |any, l| any | is_so(l))
}

/// Least squares of both bases, amplitude and drift with their priors, reweighted against outliers: one solution for
/// each spread. `shapes`: drag of each stroke for an amplitude of one.
pub(super) fn solve(
    input: &FitInput,
    used: &[StrokeMean],
    shapes: &[Lanes],
    sd: f64,
) -> [Solution; SPREADS.len()] {
    let (a0, ln_sd) = input.amplitude_prior;
    let same = input.base_prior.precision();
    let mut prior = [[0.0; UNKNOWNS]; UNKNOWNS];
    (prior[0][0], prior[1][1], prior[0][1], prior[1][0]) = (same.0, same.0, same.1, same.1);
    prior[2][2] = 1.0 / (a0 * ln_sd * 1.5).powi(2);
    prior[3][3] = 1.0 / DRIFT_SD.powi(2);
    prior[4][4] = 1.0 / DRIFT_SD.powi(2);
    let first = [input.base_prior.mean, input.base_prior.mean, a0, 0.0, 0.0];
    let mut theta = first.map(|unknown| [unknown; SPREADS.len()]);
    let pull = (same.0 + same.1) * input.base_prior.mean;
    let pulls = [pull, pull, prior[2][2] * a0, 0.0, 0.0];
    let mut inverse = [[[0.0; UNKNOWNS]; UNKNOWNS]; SPREADS.len()];
    for round in 0..3 {
        let mut sums = Sums::default();
        for (s, h) in used.iter().zip(shapes) {
            let (r, variance) = misfit(s, h, &theta, sd);
            let mut weight = lanes(|l| INDEPENDENT / variance[l]);
            // Most strokes lie well within, which shows without a division.
            if round > 0 && any(|l| r[l] * r[l] > 4.0 * variance[l]) {
                for l in 0..SPREADS.len() {
                    let square = r[l] * r[l] / variance[l];
                    if square > 4.0 {
                        let huber = 2.0 / square.sqrt();
                        weight[l] = INDEPENDENT * huber / variance[l];
                    }
                }
            }
            sums.add(usize::from(!s.up), &weight, h, s.drift, s.y);
        }
        for l in 0..SPREADS.len() {
            let (m, v) = sums.onto(l, prior, pulls);
            inverse[l] = drag_model::invert(m);
            for i in 0..UNKNOWNS {
                theta[i][l] = (0..UNKNOWNS).map(|j| inverse[l][i][j] * v[j]).sum();
            }
            theta[2][l] = theta[2][l].max(0.05 * a0);
        }
    }
    let ln_p = ln_density(used, shapes, &theta, sd);
    std::array::from_fn(|l| {
        let inverse = &inverse[l];
        let amplitude = theta[2][l];
        Solution {
            base: (theta[0][l], theta[1][l]),
            base_var: 0.25 * (inverse[0][0] + inverse[1][1] + 2.0 * inverse[0][1]),
            drift: [theta[3][l], theta[4][l]],
            ln_amplitude: amplitude.ln(),
            ln_amplitude_var: inverse[2][2] / (amplitude * amplitude),
            ln_p: ln_p[l],
        }
    })
}

/// Log density of the data and of the drift.
fn ln_density(used: &[StrokeMean], shapes: &[Lanes], theta: &[Lanes; UNKNOWNS], sd: f64) -> Lanes {
    let mut ln_p =
        lanes(|l| -0.5 * (theta[3][l] / DRIFT_SD).powi(2) - 0.5 * (theta[4][l] / DRIFT_SD).powi(2));
    // The product of all variances: one logarithm in the end.
    let (mut product, mut ln_product) = (lanes(|_| 1.0), lanes(|_| 0.0));
    for (s, h) in used.iter().zip(shapes) {
        let (r, variance) = misfit(s, h, theta, sd);
        let square = lanes(|l| r[l] * r[l] / variance[l]);
        let mut cost = lanes(|l| 0.5 * square[l]);
        if any(|l| square[l] > 4.0) {
            for l in (0..SPREADS.len()).filter(|&l| square[l] > 4.0) {
                cost[l] = 2.0 * square[l].sqrt() - 2.0;
            }
        }
        for l in 0..SPREADS.len() {
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
fn misfit(s: &StrokeMean, h: &Lanes, theta: &[Lanes; UNKNOWNS], sd: f64) -> (Lanes, Lanes) {
    let base = if s.up { &theta[0] } else { &theta[1] };
    let [d, e] = s.drift;
    let r = lanes(|l| s.y - base[l] - h[l] * theta[2][l] - d * theta[3][l] - e * theta[4][l]);
    let variance = lanes(|l| {
        let doubt = s.doubt * h[l] * theta[2][l];
        sd * sd + doubt * doubt
    });
    (r, variance)
}

/// Sums of the normal equations: each stroke has one of two bases.
#[derive(Debug, Default)]
struct Sums {
    /// By way: weight, and weight with shape, both drifts and drag.
    way: [[Lanes; 5]; 2],
    /// Products of shape and drifts: hh, hd, he, dd, de, ee.
    square: [Lanes; 6],
    /// The same with drag.
    drag: [Lanes; 3],
}

impl Sums {
    #[inline]
    fn add(&mut self, way: usize, w: &Lanes, h: &Lanes, [d, e]: [f64; 2], y: f64) {
        let way = &mut self.way[way];
        for l in 0..SPREADS.len() {
            let (wh, wd, we) = (w[l] * h[l], w[l] * d, w[l] * e);
            way[0][l] += w[l];
            way[1][l] += wh;
            way[2][l] += wd;
            way[3][l] += we;
            way[4][l] += w[l] * y;
            self.square[0][l] += wh * h[l];
            self.square[1][l] += wh * d;
            self.square[2][l] += wh * e;
            self.square[3][l] += wd * d;
            self.square[4][l] += wd * e;
            self.square[5][l] += we * e;
            self.drag[0][l] += wh * y;
            self.drag[1][l] += wd * y;
            self.drag[2][l] += we * y;
        }
    }

    /// One lane of it, added to what the priors put there.
    fn onto(
        &self,
        lane: usize,
        mut m: [[f64; UNKNOWNS]; UNKNOWNS],
        mut v: [f64; UNKNOWNS],
    ) -> ([[f64; UNKNOWNS]; UNKNOWNS], [f64; UNKNOWNS]) {
        for (k, way) in self.way.iter().enumerate() {
            let way = way.map(|sum| sum[lane]);
            m[k][k] += way[0];
            v[k] += way[4];
            for i in 0..3 {
                m[k][2 + i] += way[1 + i];
                m[2 + i][k] += way[1 + i];
            }
        }
        let [hh, hd, he, dd, de, ee] = self.square.map(|sum| sum[lane]);
        for (i, row) in [[hh, hd, he], [hd, dd, de], [he, de, ee]]
            .iter()
            .enumerate()
        {
            for (j, part) in row.iter().enumerate() {
                m[2 + i][2 + j] += part;
            }
            v[2 + i] += self.drag[i][lane];
        }
        (m, v)
    }
}
