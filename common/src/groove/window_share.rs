//! How much of the expected cutting drag is still there, bin by bin, a few rows at a time.
//!
//! *Input*: rows of the ledger, the fit of the drag. *Output*: [`WindowShare`]s: one where the wall is cut as
//! expected, none where it is split.

use super::drag_model::{DragFit, FitInput, walk_passes};
use super::lasting_drag::Lasting;

/// Engaged rows per window.
const WINDOW: usize = 4;
/// Doubt in the expected share that no number of rows removes (model error), squared.
const SHARE_DOUBT: f64 = 0.12 * 0.12;
/// Least standard deviation of what a window's drag has in common beyond the model, as a share.
const COMMON_SD: f64 = 0.06;

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
    let mut sums = vec![(0.0, 0.0, 0.0); count];
    let mut passes = vec![0.0; count];
    let mut at_start = vec![0.0; count];
    let mut in_window = 0;
    let mut first = usize::MAX;
    let mut now = usize::MAX;
    let noise = fit.noise * fit.noise;
    let mut cutting = fit.cutting_drag();
    let mut close = |first: usize, end: usize, sums: &mut Vec<(f64, f64, f64)>, start: &[f64]| {
        let mut w = WindowShare {
            rows: (first, end),
            share: vec![1.0; count],
            weight: vec![0.0; count],
            common_sd: 1.0,
            passes: start.to_vec(),
        };
        let (mut square, mut n) = (0.0, 0.0);
        for (j, s) in sums.iter_mut().enumerate() {
            if s.1 > 0.0 {
                // Mean square of the cutting drag expected in one row.
                let cutting = s.1 / s.2;
                w.share[j] = (s.0 / s.1).clamp(-1.0, 2.5);
                w.weight[j] = 1.0 / (noise / s.1 + SHARE_DOUBT + lasting.variance[j] / cutting);
                square += cutting;
                n += 1.0;
            }
            *s = (0.0, 0.0, 0.0);
        }
        if n > 0.0 {
            w.common_sd = (COMMON_SD.powi(2) + base_sd * base_sd / (square / n)).sqrt();
        }
        windows.push(w);
    };
    walk_passes(input, fit.bite_down, |k, j, n0, n1| {
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
            let f = cutting(n0, n1);
            sums[j].0 += f * (y - base - fit.drift[k] - lasting.drag[j]);
            sums[j].1 += f * f;
            sums[j].2 += 1.0;
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
