//! Drag that a place has of its own, with the cutter in or out, and keeps: a bend, a rough spot.
//!
//! *Input*: free passes over the interval, and cutting ones while nothing is split. *Output*: by bin, what it drags beyond
//! the mean of all bins, N, shrunk towards none by how little was seen, with its variance. *Source*: shrinkage of means
//! of groups towards their own mean (textbook empirical Bayes).

use super::drag_model::{DragFit, FitInput, walk_passes};
use super::through::remembering;

/// Probability of being split below which a bin's misfit shows what always drags there.
const SURELY_CUT: f64 = 0.03;
/// Bins with drag, at least, of a free pass that shows what places have of their own.
const FREE_BINS_MIN: u32 = 20;

/// What each place has of its own.
pub(super) struct Lasting {
    /// By bin, N.
    pub(super) drag: Vec<f64>,
    /// Variance of it, N2.
    pub(super) variance: Vec<f64>,
}

impl Lasting {
    /// `margin(passes)`: log odds that a bin is split, from passes alone.
    pub(super) fn new(input: &FitInput, fit: &DragFit, margin: &impl Fn(f64) -> f64) -> Self {
        let rows = &input.ledger.rows;
        let count = input.ledger.bins.count;
        let mut sums = vec![(0.0, 0.0); count];
        let sure = (SURELY_CUT / (1.0 - SURELY_CUT)).ln();
        let mut margin = remembering(margin);
        let mut cutting = fit.cutting_drag();
        walk_passes(input, &fit.bite, |k, j, n0, n1| {
            // The first passes carry the largest doubt in the model.
            if input.coupling[j] || n0 < 3.0 * input.wheels || margin(n1) > sure {
                return;
            }
            if let Some(y) = rows[k].at(j) {
                let base = if rows[k].up { fit.base.0 } else { fit.base.1 };
                sums[j].0 += y - base - fit.drift[k] - cutting(n0, n1);
                sums[j].1 += 1.0;
            }
        });
        let free = rows.iter().zip(input.engaged).filter(|(_, out)| !**out);
        for (row, _) in free {
            let (sum, n) = row.drag_sum();
            if n < FREE_BINS_MIN {
                continue;
            }
            for (j, seen) in sums.iter_mut().enumerate() {
                if let Some(y) = row.at(j).filter(|_| !input.coupling[j]) {
                    seen.0 += y - sum / f64::from(n);
                    seen.1 += 1.0;
                }
            }
        }
        let noise = fit.noise * fit.noise;
        let seen: Vec<(f64, f64)> = sums
            .iter()
            .filter(|s| s.1 >= 4.0)
            .map(|s| (s.0 / s.1, noise / s.1))
            .collect();
        let n = seen.len().max(1) as f64;
        let mean = seen.iter().map(|s| s.0).sum::<f64>() / n;
        let between = seen
            .iter()
            .map(|s| ((s.0 - mean).powi(2) - s.1).min(9.0 * noise))
            .sum::<f64>()
            / n;
        let between = between.max(4.0);
        let part = |s: &(f64, f64)| s.1 * between / (s.1 * between + noise);
        Self {
            drag: sums
                .iter()
                .map(|s| {
                    if s.1 > 0.0 {
                        part(s) * (s.0 / s.1 - mean)
                    } else {
                        0.0
                    }
                })
                .collect(),
            variance: sums.iter().map(|s| between * (1.0 - part(s))).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::drag_model::BasePrior;
    use crate::groove::ledger::{Bins, Ledger, Row};

    /// Invented: what each place drags of its own, N.
    fn own(j: usize) -> f64 {
        40.0 * (0.4 * j as f64).sin()
    }

    /// Invented: free passes over 60 bins that drag 100 N and what each place has of its own, with `scatter` N in turn.
    fn after_free_passes(passes: usize, scatter: f32) -> Lasting {
        let bins = Bins {
            top: 1000.0,
            step: 0.1,
            count: 60,
            inside: (0, 60),
        };
        let row = |k: usize| Row {
            up: k.is_multiple_of(2),
            start: 60.0 * k as f64,
            end: 60.0 * k as f64 + 50.0,
            top: 1000.0,
            bottom: 1006.0,
            speed: 0.12,
            first: 0,
            drag: (0..60)
                .map(|j| {
                    let sign = if (j + k).is_multiple_of(2) { 1.0 } else { -1.0 };
                    100.0 + sign * scatter + own(j) as f32
                })
                .collect::<Vec<_>>()
                .into(),
            marked_out: Some(false),
            said: 1,
            weight_check: false,
            gain: 1.0,
        };
        let ledger = Ledger {
            bins,
            rows: (0..passes).map(row).collect(),
            cutters: Vec::new(),
        };
        let input = FitInput {
            ledger: &ledger,
            engaged: &vec![false; passes],
            coupling: &[false; 60],
            wheels: 2.0,
            base_prior: BasePrior {
                mean: 100.0,
                shared_sd: 60.0,
                own_sd: 25.0,
            },
            amplitude_prior: (200.0, 0.25),
            flank_sd: 20.0,
        };
        let fit = DragFit::invented(passes);
        Lasting::new(&input, &fit, &|_| -9.0)
    }

    #[test]
    fn free_passes_show_where_a_place_drags_by_itself() {
        let lasting = after_free_passes(6, 10.0);
        let mean = (0..60).map(own).sum::<f64>() / 60.0;
        for j in 0..60 {
            let off = lasting.drag[j] - (own(j) - mean);
            assert!(off.abs() < 8.0, "bin {j}: {off} N");
        }
    }

    #[test]
    fn the_more_passes_the_surer() {
        let (few, many) = (after_free_passes(4, 10.0), after_free_passes(16, 10.0));
        assert!(many.variance[30] < 0.6 * few.variance[30]);
    }
}
