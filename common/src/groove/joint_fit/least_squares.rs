//! What the drag is linear in, for one point of the grid: least squares with priors, reweighted against outliers.

use super::super::drag_model::{self, FitInput};
use super::{Point, StrokeMean};

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

/// Least squares of both bases, amplitude and drift with their priors, reweighted against outliers.
pub(super) fn solve(
    input: &FitInput,
    used: &[&StrokeMean],
    drift: &[f64],
    shapes: &[f64],
    sd: f64,
) -> Point {
    let (a0, ln_sd) = input.amplitude_prior;
    let same = input.base_prior.precision();
    let mut prior = [[0.0; UNKNOWNS]; UNKNOWNS];
    (prior[0][0], prior[1][1], prior[0][1], prior[1][0]) = (same.0, same.0, same.1, same.1);
    prior[2][2] = 1.0 / (a0 * ln_sd * 1.5).powi(2);
    prior[3][3] = 1.0 / DRIFT_SD.powi(2);
    prior[4][4] = 1.0 / DRIFT_SD.powi(2);
    let mut theta = [input.base_prior.mean, input.base_prior.mean, a0, 0.0, 0.0];
    let pull = (same.0 + same.1) * input.base_prior.mean;
    let pulls = [pull, pull, prior[2][2] * a0, 0.0, 0.0];
    let mut inverse = [[0.0; UNKNOWNS]; UNKNOWNS];
    for round in 0..3 {
        let mut sums = Sums::default();
        for (s, &h) in used.iter().zip(shapes) {
            let y = s.y - drift[s.row];
            let (r, variance) = misfit(s, y, h, &theta, sd);
            let square = r * r / variance;
            let huber = if round > 0 && square > 4.0 {
                2.0 / square.sqrt()
            } else {
                1.0
            };
            sums.add(
                usize::from(!s.up),
                INDEPENDENT * huber / variance,
                h,
                s.drift,
                y,
            );
        }
        let (m, v) = sums.onto(prior, pulls);
        inverse = drag_model::invert(m);
        theta = std::array::from_fn(|i| (0..UNKNOWNS).map(|j| inverse[i][j] * v[j]).sum());
        theta[2] = theta[2].max(0.05 * a0);
    }
    let mut ln_p = -0.5 * (theta[3] / DRIFT_SD).powi(2) - 0.5 * (theta[4] / DRIFT_SD).powi(2);
    // The product of all variances: one logarithm in the end.
    let (mut product, mut ln_product) = (1.0, 0.0);
    for (s, &h) in used.iter().zip(shapes) {
        let (r, variance) = misfit(s, s.y - drift[s.row], h, &theta, sd);
        let square = r * r / variance;
        let cost = if square > 4.0 {
            2.0 * square.sqrt() - 2.0
        } else {
            0.5 * square
        };
        ln_p -= INDEPENDENT * cost;
        product *= variance;
        if product > 1e200 {
            ln_product += f64::ln(product);
            product = 1.0;
        }
    }
    ln_p -= INDEPENDENT * 0.5 * (ln_product + f64::ln(product));
    Point {
        m: 0.0,
        spread: 0.0,
        fade: 0.0,
        bite: 0.0,
        base: (theta[0], theta[1]),
        base_var: 0.25 * (inverse[0][0] + inverse[1][1] + 2.0 * inverse[0][1]),
        drift: [theta[3], theta[4]],
        amplitude: theta[2],
        ln_amplitude_var: inverse[2][2] / (theta[2] * theta[2]),
        ln_p,
    }
}

/// Relative doubt in the cutting drag of a stroke that so many strokes passed before.
pub(super) fn doubt(strokes_before: f64) -> f64 {
    DOUBT.hypot(SETTLING.0 * (-strokes_before / SETTLING.1).exp())
}

/// Misfit of a stroke, N, and its variance.
fn misfit(s: &StrokeMean, y: f64, h: f64, theta: &[f64; UNKNOWNS], sd: f64) -> (f64, f64) {
    let base = if s.up { theta[0] } else { theta[1] };
    let [d, e] = s.drift;
    let r = y - base - h * theta[2] - d * theta[3] - e * theta[4];
    let doubt = s.doubt * h * theta[2];
    (r, sd * sd + doubt * doubt)
}

/// Sums of the normal equations: each stroke has one of two bases.
#[derive(Debug, Default)]
struct Sums {
    /// By way: weight, and weight with shape, both drifts and drag.
    way: [[f64; 5]; 2],
    /// Products of shape and drifts: hh, hd, he, dd, de, ee.
    square: [f64; 6],
    /// The same with drag.
    drag: [f64; 3],
}

impl Sums {
    #[inline]
    fn add(&mut self, way: usize, w: f64, h: f64, [d, e]: [f64; 2], y: f64) {
        let (wh, wd, we) = (w * h, w * d, w * e);
        let parts = [w, wh, wd, we, w * y];
        for (sum, part) in self.way[way].iter_mut().zip(parts) {
            *sum += part;
        }
        let parts = [wh * h, wh * d, wh * e, wd * d, wd * e, we * e];
        for (sum, part) in self.square.iter_mut().zip(parts) {
            *sum += part;
        }
        for (sum, part) in self.drag.iter_mut().zip([wh * y, wd * y, we * y]) {
            *sum += part;
        }
    }

    /// Added to what the priors put there.
    fn onto(
        &self,
        mut m: [[f64; UNKNOWNS]; UNKNOWNS],
        mut v: [f64; UNKNOWNS],
    ) -> ([[f64; UNKNOWNS]; UNKNOWNS], [f64; UNKNOWNS]) {
        for (k, way) in self.way.iter().enumerate() {
            m[k][k] += way[0];
            v[k] += way[4];
            for i in 0..3 {
                m[k][2 + i] += way[1 + i];
                m[2 + i][k] += way[1 + i];
            }
        }
        let [hh, hd, he, dd, de, ee] = self.square;
        for (i, row) in [[hh, hd, he], [hd, dd, de], [he, de, ee]]
            .iter()
            .enumerate()
        {
            for (j, part) in row.iter().enumerate() {
                m[2 + i][2 + j] += part;
            }
            v[2 + i] += self.drag[i];
        }
        (m, v)
    }
}
