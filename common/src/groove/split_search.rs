//! A first look at where the wall may have split, when neither base nor amplitude is sure yet.
//!
//! A split is a step: within a few passes the drag over a bin falls from `base + cutting` to `base`
//! and stays. Decay of cutting drag never does that (it falls as the cube root of passes). For each
//! of a few dozen bases the best step of every bin is found, amplitude being fitted to what lies
//! before the steps; the base whose steps explain the whole record best wins. Steps at pass counts
//! that physics makes unlikely cost extra, so that a record without steps stays without.

use super::drag_fit::{DragFit, FitInput, NEVER, walk_passes};

/// Rows per window.
const WINDOW: usize = 4;
/// Step of the search over base, N.
const BASE_STEP: f64 = 15.0;
/// Standard deviation of one window in one bin, N, model error included, at least.
const WINDOW_SD_MIN: f64 = 25.0;
/// Windows and neighbouring bins share errors: this part of the misfit counts.
const INDEPENDENT: f64 = 0.15;

/// Steps must explain the record better than no steps by this much (log likelihood).
const GAIN_MIN: f64 = 6.0;

/// What the search found.
#[derive(Debug, Clone)]
pub struct Steps {
    /// First row after which the bin looks split; [`NEVER`].
    pub at: Vec<usize>,
    /// Base, mean of both ways, N.
    pub base: f64,
    /// Amplitude, N.
    pub amplitude: f64,
    /// Part of the bins with a step.
    pub part: f64,
}

#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    y: f64,
    shape: f64,
    n: f64,
    /// Wheel passes at the start.
    passes: f64,
}

struct Windows {
    first_row: Vec<usize>,
    /// By window, then bin.
    means: Vec<Vec<Mean>>,
}

/// Looks for steps. `reach`: mean and standard deviation of the logarithm of `1/x` at which a bin
/// splits, from physics.
pub fn find(input: &FitInput, fit: &DragFit, reach: (f64, f64)) -> Option<Steps> {
    let windows = collect(input, fit);
    if windows.means.len() < 4 {
        return None;
    }
    let prior = input.base_prior;
    let bases = ((6.0 * prior.shared_sd) / BASE_STEP) as usize;
    let sd = WINDOW_SD_MIN.max(0.5 * fit.noise);
    let mut best: Option<(f64, Steps)> = None;
    let mut without = f64::MAX;
    for i in 0..=bases {
        let base = prior.mean - 3.0 * prior.shared_sd + i as f64 * BASE_STEP;
        let (cost, unsplit, steps) = with_base(input, fit, &windows, base, sd, reach);
        let z = (base - prior.mean) / prior.shared_sd;
        let ln_a = (steps.amplitude / input.amplitude_prior.0).ln() / input.amplitude_prior.1;
        let priors = 0.5 * z * z + 0.5 * ln_a * ln_a;
        let cost = INDEPENDENT * cost + priors;
        without = without.min(INDEPENDENT * unsplit + priors);
        if best.as_ref().is_none_or(|(c, _)| cost < *c) {
            best = Some((cost, steps));
        }
    }
    best.filter(|(cost, _)| cost + GAIN_MIN < without)
        .map(|(_, s)| s)
}

fn collect(input: &FitInput, fit: &DragFit) -> Windows {
    let rows = &input.ledger.rows;
    let count = input.ledger.bins.count;
    let middle = 0.5 * (fit.base.0 + fit.base.1);
    let mut out = Windows {
        first_row: Vec::new(),
        means: Vec::new(),
    };
    let mut now = usize::MAX;
    let mut in_window = WINDOW;
    let mut memo = (f64::NAN, f64::NAN, 0.0);
    walk_passes(input, fit.bite_down, 1, |k, j, n0, n1| {
        if k != now {
            now = k;
            if in_window >= WINDOW {
                in_window = 0;
                out.first_row.push(k);
                out.means.push(vec![Mean::default(); count]);
            }
            in_window += 1;
        }
        if input.coupling[j] {
            return;
        }
        let Some(y) = rows[k].at(j) else { return };
        if memo.0 != n0 || memo.1 != n1 {
            memo = (n0, n1, fit.law.drag(n0, n1));
        }
        let own = (if rows[k].up { fit.base.0 } else { fit.base.1 }) - middle;
        if let Some(m) = out.means.last_mut().map(|w| &mut w[j]) {
            if m.n == 0.0 {
                m.passes = n0;
            }
            m.y += y - own - fit.drift[k];
            m.shape += memo.2;
            m.n += 1.0;
        }
    });
    for m in out.means.iter_mut().flatten().filter(|m| m.n > 0.0) {
        m.y /= m.n;
        m.shape /= m.n;
    }
    out
}

fn with_base(
    input: &FitInput,
    fit: &DragFit,
    windows: &Windows,
    base: f64,
    sd: f64,
    reach: (f64, f64),
) -> (f64, f64, Steps) {
    let count = input.ledger.bins.count;
    let w_count = windows.means.len();
    let mut step_at = vec![w_count; count];
    let mut amplitude = input.amplitude_prior.0;
    let mut cost = 0.0;
    let mut unsplit = 0.0;
    for round in 0..4 {
        // Amplitude from what lies before the steps; the very first passes carry most model error.
        let (mut num, mut den) = (0.0, 0.0);
        for (w, means) in windows.means.iter().enumerate() {
            for (j, m) in means.iter().enumerate() {
                if m.n > 0.0 && w < step_at[j] {
                    let weight = 1.0 / (1.0 + (0.12 * m.shape * amplitude / sd).powi(2));
                    num += weight * m.shape * (m.y - base);
                    den += weight * m.shape * m.shape;
                }
            }
        }
        if den > 0.0 {
            amplitude = (num / den).max(0.1 * input.amplitude_prior.0);
        }
        cost = 0.0;
        for (j, step) in step_at.iter_mut().enumerate() {
            let (c, none, at) = best_step(windows, fit, j, base, amplitude, sd, reach);
            cost += c;
            if round == 0 {
                // Amplitude was fitted to everything, as if nothing had split.
                unsplit += none;
            }
            *step = at;
        }
    }
    let at: Vec<usize> = step_at
        .iter()
        .map(|&w| {
            if w < w_count {
                windows.first_row[w]
            } else {
                NEVER
            }
        })
        .collect();
    let part = at.iter().filter(|&&a| a != NEVER).count() as f64 / count.max(1) as f64;
    (
        cost,
        unsplit,
        Steps {
            at,
            base,
            amplitude,
            part,
        },
    )
}

/// Least cost of one bin over all windows at which it may have split.
fn best_step(
    windows: &Windows,
    fit: &DragFit,
    j: usize,
    base: f64,
    amplitude: f64,
    sd: f64,
    reach: (f64, f64),
) -> (f64, f64, usize) {
    let capped = |r: f64, doubt: f64| {
        let z2 = r * r / (sd * sd + doubt * doubt);
        // A quarter of a hundred is far enough: one bad window must not decide.
        0.5 * z2.min(25.0)
    };
    let mut change = 0.0;
    let (mut least, mut at) = (0.0, windows.means.len());
    let mut total = 0.0;
    let mut passes_end: f64 = 0.0;
    // From the last window back: cost of "split from here on" against "cut to the end".
    for w in (0..windows.means.len()).rev() {
        let m = &windows.means[w][j];
        if m.n == 0.0 {
            continue;
        }
        passes_end = passes_end.max(m.passes);
        let cutting = amplitude * m.shape;
        let cut = capped(m.y - base - cutting, 0.12 * cutting);
        let split = capped(m.y - base, 10.0);
        total += cut;
        change += split - cut;
        let z = (reach.0 + fit.law.x(m.passes.max(0.5)).max(1e-9).ln()) / reach.1;
        let early = if z < 0.0 {
            0.5 * z * z / INDEPENDENT
        } else {
            0.0
        };
        if change + early < least {
            (least, at) = (change + early, w);
        }
    }
    (total + least, total, at)
}
