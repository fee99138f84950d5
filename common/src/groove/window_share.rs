//! How much of the expected cutting drag is still there, bin by bin, a few rows at a time.
//!
//! *Input*: rows of the ledger, the fit of the drag. *Output*: [`WindowShare`]s: one where the wall is cut as
//! expected, none where it is split. What places drag of their own is taken off, as far as it is still there.

use super::drag_model::{DragFit, FitInput, walk_passes};
use super::lasting_drag::Lasting;

/// Engaged rows per window.
const WINDOW: usize = 4;
/// Doubt in the expected share that no number of rows removes (model error), squared.
const SHARE_DOUBT: f64 = 0.12 * 0.12;
/// Least standard deviation of what a window's drag has in common beyond the model, as a share.
const COMMON_SD: f64 = 0.06;

/// Drag so many standard deviations below that of the free tool is neither cut nor split wall: near a turning point the
/// tool stands already, or is not where it seems to be. What was measured there says nothing of the wall.
const LESS_THAN_FREE: f64 = 3.0;

/// Standard deviation, before it is seen, of how much of what a place has of its own is left.
const OWN_LEFT_SD: f64 = 0.5;
/// Least variance of a share about the slope.
const OWN_DOUBT: f64 = 0.02 * 0.02;
/// Neighbouring bins share their errors: they count as this part of their number.
const OWN_INDEPENDENT: f64 = 0.15;

/// Share of expected drag still there, and its weight, by bin.
#[derive(Debug, Clone)]
pub(super) struct WindowShare {
    pub(super) rows: (usize, usize),
    pub(super) share: Vec<f64>,
    pub(super) weight: Vec<f64>,
    /// Standard deviation of what all shares of the window have in common.
    pub(super) common_sd: f64,
    /// Passes at the start of the window, of the last one at its end.
    pub(super) passes: Vec<f64>,
}

impl WindowShare {
    /// Invented, for tests: shares of four rows after `passes`.
    #[cfg(test)]
    pub(super) fn of(share: Vec<f64>, passes: f64) -> Self {
        Self {
            rows: (0, 4),
            weight: vec![50.0; share.len()],
            passes: vec![passes; share.len()],
            common_sd: COMMON_SD,
            share,
        }
    }

    /// Rows looked at.
    pub(super) fn rows(&self) -> usize {
        self.rows.1 - self.rows.0
    }
}

/// Sums over the rows of a window in one bin, of the cutting drag expected, N.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    /// Times what was measured beyond the base.
    with_drag: f64,
    /// Squared.
    square: f64,
    /// By itself.
    expected: f64,
    rows: f64,
}

impl Sum {
    /// Part of the expected cutting drag that was there, what the place has of its own included.
    fn share(&self) -> f64 {
        self.with_drag / self.square
    }

    /// The same of a drag that the place has of its own, N.
    fn own_share(&self, own: f64) -> f64 {
        own * self.expected / self.square
    }
}

/// How much of what places have of their own is left in a window, 0 to 1: scale wears off, and drag that goes with it is
/// no split. The slope of the shares over what the places had, which splits do not go by.
fn own_left(sums: &[Sum], own: &[f64]) -> f64 {
    let seen = || {
        let both = sums.iter().zip(own).filter(|(s, _)| s.square > 0.0);
        both.map(|(s, own)| (s.own_share(*own), s.share()))
    };
    let n = seen().count() as f64;
    if n < 3.0 {
        return 1.0;
    }
    let (x, y) = seen().fold((0.0, 0.0), |sum, (x, y)| (sum.0 + x / n, sum.1 + y / n));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (own, share) in seen() {
        let (own, share) = (own - x, share - y);
        xx += own * own;
        xy += own * share;
        yy += share * share;
    }
    let off = (yy - xy * xy / xx.max(1e-12)) / n;
    let precision = OWN_INDEPENDENT / off.max(OWN_DOUBT);
    let prior = 1.0 / (OWN_LEFT_SD * OWN_LEFT_SD);
    ((precision * xy + prior) / (precision * xx + prior)).clamp(0.0, 1.0)
}

/// Shares of the expected drag that are there, a few rows at a time. `base_sd`: doubt in the base, N;
/// `margin(passes)`: log odds that a bin is split, from passes alone.
pub(super) fn windows(
    input: &FitInput,
    fit: &DragFit,
    base_sd: f64,
    margin: impl Fn(f64) -> f64,
) -> Vec<WindowShare> {
    let lasting = Lasting::new(input, fit, &margin);
    shares(input, fit, base_sd, &lasting)
}

fn shares(input: &FitInput, fit: &DragFit, base_sd: f64, lasting: &Lasting) -> Vec<WindowShare> {
    let rows = &input.ledger.rows;
    let count = input.ledger.bins.count;
    let mut windows = Vec::new();
    let mut sums = vec![Sum::default(); count];
    let mut passes = vec![0.0; count];
    let mut at_start = vec![0.0; count];
    let mut in_window = 0;
    let mut first = usize::MAX;
    let mut now = usize::MAX;
    let noise = fit.noise * fit.noise;
    let least = -LESS_THAN_FREE * (noise + base_sd * base_sd).sqrt();
    let mut cutting = fit.cutting_drag();
    let mut close = |first: usize, end: usize, sums: &mut Vec<Sum>, start: &[f64]| {
        let mut w = WindowShare {
            rows: (first, end),
            share: vec![1.0; count],
            weight: vec![0.0; count],
            common_sd: 1.0,
            passes: start.to_vec(),
        };
        let (mut square, mut n) = (0.0, 0.0);
        let own_left = own_left(sums, &lasting.drag);
        for (j, s) in sums.iter_mut().enumerate() {
            if s.square > 0.0 {
                // Mean square of the cutting drag expected in one row.
                let cutting = s.square / s.rows;
                let own = own_left * s.own_share(lasting.drag[j]);
                w.share[j] = (s.share() - own).clamp(-1.0, 2.5);
                w.weight[j] =
                    1.0 / (noise / s.square + SHARE_DOUBT + lasting.variance[j] / cutting);
                square += cutting;
                n += 1.0;
            }
            *s = Sum::default();
        }
        if n > 0.0 {
            w.common_sd = (COMMON_SD.powi(2) + base_sd * base_sd / (square / n)).sqrt();
        }
        windows.push(w);
    };
    walk_passes(input, &fit.bite, |k, j, n0, n1| {
        if k != now {
            if first == usize::MAX {
                first = k;
            }
            if now != usize::MAX {
                in_window += 1;
                if in_window >= WINDOW {
                    close(first, k, &mut sums, &at_start);
                    in_window = 0;
                    first = k;
                    at_start.copy_from_slice(&passes);
                }
            }
            now = k;
        }
        passes[j] = n1;
        if input.coupling[j] {
            return;
        }
        if let Some(y) = rows[k].at(j) {
            let base = if rows[k].up { fit.base.0 } else { fit.base.1 };
            let beyond_free = y - base - fit.drift[k];
            if beyond_free < least {
                return;
            }
            let f = cutting(n0, n1);
            sums[j].with_drag += f * beyond_free;
            sums[j].square += f * f;
            sums[j].expected += f;
            sums[j].rows += 1.0;
        }
    });
    if in_window > 0 && now != usize::MAX {
        close(first, now + 1, &mut sums, &at_start);
    }
    if let Some(last) = windows.last_mut() {
        last.passes = passes;
    }
    windows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::drag_model::BasePrior;
    use crate::groove::ledger::Ledger;

    #[test]
    fn drag_far_below_that_of_the_free_tool_is_no_sign_of_a_split() {
        // Invented: free drag 100 N, 200 N more while cutting; the last three bins before the turn show 300 N less.
        let mut ledger = Ledger::invented(&[(300.0, Some(true)); 8]);
        for row in &mut ledger.rows {
            let mut drag = row.drag.to_vec();
            drag[..3].fill(-200.0);
            row.drag = drag.into();
        }
        let input = FitInput {
            ledger: &ledger,
            engaged: &[true; 8],
            coupling: &[false; 20],
            wheels: 2.0,
            base_prior: BasePrior {
                mean: 100.0,
                shared_sd: 60.0,
                own_sd: 25.0,
            },
            amplitude_prior: (200.0, 0.25),
            flank_sd: 20.0,
        };
        let fit = DragFit::invented(8);
        for window in windows(&input, &fit, 20.0, |_| -9.0) {
            for j in 0..20 {
                assert_eq!(window.weight[j] > 0.0, j >= 3, "bin {j}");
            }
        }
    }

    /// Invented: four rows over 100 bins with 150 N of cutting drag expected, of which the first `split` show none, and a
    /// part `left` of the 60 N more that every fifth bin once had.
    fn left_of(split: usize, left: f64) -> f64 {
        let own: Vec<f64> = (0..100)
            .map(|j| if j % 5 == 0 { 48.0 } else { -12.0 })
            .collect();
        let cutting = 150.0;
        let sum = |(j, own): (usize, &f64)| {
            let cut = if j < split { 0.0 } else { cutting };
            Sum {
                with_drag: 4.0 * cutting * (cut + left * own),
                square: 4.0 * cutting * cutting,
                expected: 4.0 * cutting,
                rows: 4.0,
            }
        };
        let sums: Vec<Sum> = own.iter().enumerate().map(sum).collect();
        own_left(&sums, &own)
    }

    #[test]
    fn scale_that_has_worn_off_is_told_from_splits() {
        assert!(left_of(0, 0.0) < 0.2);
        assert!((left_of(0, 1.0) - 1.0).abs() < 0.01);
        // Splits here and there do not look like it.
        assert!(left_of(40, 1.0) > 0.9);
    }

    #[test]
    fn little_seen_leaves_places_what_they_had() {
        let sums = vec![Sum::default(); 100];
        assert_eq!(own_left(&sums, &[50.0; 100]), 1.0);
    }
}
