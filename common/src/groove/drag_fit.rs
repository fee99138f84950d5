//! Cutting drag told from all other drag by its shape over passes.
//!
//! Model, for the drag `y` of row `k` over bin `j`, in N at the tool:
//!
//! ```text
//! y = base(direction) + amplitude [x(n1)^2 - x(n0)^2] + drift + noise
//! ```
//!
//! `x(n)` is the pass law; `n0, n1` the wheel passes of the bin before and after. `base` holds all
//! that does not decay: errors of friction and weight, reaction rollers, axles. `amplitude` is
//! `u tan b kappa^(4/3)`. Passes down count `bite_down` of a pass up. Linear in base and amplitude;
//! `bite_down` and `fade` are searched over a grid with priors.
//!
//! Drift of the load cell adds to drag up and takes from drag down: the difference of neighbouring
//! up and down strokes, less what the model says of it, shows it; it is smoothed and taken out.

use super::ledger::Ledger;
use super::pass_law::PassLaw;

/// Row index that means never.
pub const NEVER: usize = usize::MAX;
/// Bins used in the fit: enough for row means, few enough to search a grid.
const BINS_USED: usize = 30;
/// Prior of `bite_down`: mean and standard deviation.
const BITE: (f64, f64) = (0.8, 0.2);
/// Prior of `fade`.
const FADE: (f64, f64) = (0.1, 0.12);
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

/// What is known before the fit.
#[derive(Debug, Clone)]
pub struct FitInput<'a> {
    /// All rows.
    pub ledger: &'a Ledger,
    /// Cutter out, by row.
    pub engaged: &'a [bool],
    /// Bin lies in or next to a coupling.
    pub coupling: &'a [bool],
    /// First row after which the bin was split; [`NEVER`].
    pub through_at: &'a [usize],
    /// Wheels in the groove.
    pub wheels: f64,
    /// `x` at full wall, best guess.
    pub x_wall: f64,
    /// What is known of base before the fit.
    pub base_prior: BasePrior,
    /// Rows from this one on are not looked at.
    pub rows_end: usize,
    /// Amplitude expected from nominal values, N, and the standard deviation of its logarithm.
    pub amplitude_prior: (f64, f64),
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
    /// What a pass down counts against a pass up.
    pub bite_down: f64,
    /// Part of kappa lost at full wall.
    pub fade: f64,
    /// Standard deviation of one row in one bin, N.
    pub noise: f64,
    /// Drift by row, N as it adds to the row's drag.
    pub drift: Vec<f64>,
    /// Pass law with `fade`.
    pub law: PassLaw,
}

impl DragFit {
    /// The same with `bite_down` and `fade` at their priors: a fit that mistook splitting for decay
    /// must not lend its decay to the search for splits.
    pub fn with_usual_law(&self, input: &FitInput) -> Self {
        let passes = total_passes(input) as usize + 2;
        Self {
            bite_down: BITE.0,
            fade: FADE.0,
            law: PassLaw::new(passes, input.x_wall, FADE.0),
            ..self.clone()
        }
    }
}

/// One mean over bins of a row.
#[derive(Debug, Clone, Copy)]
struct Datum {
    row: usize,
    up: bool,
    y: f64,
    shape: f64,
    weight: f64,
}

/// Fits the model; `None` when no row was made with the cutter out.
pub fn fit(input: &FitInput) -> Option<DragFit> {
    let rows = &input.ledger.rows;
    let passes = total_passes(input);
    if passes < 1.0 {
        return None;
    }
    let mut drift = vec![0.0; rows.len()];
    let mut best: Option<DragFit> = None;
    let rounds = if input.rows_end == rows.len() { 2 } else { 1 };
    for round in 0..rounds {
        let fits = grid(input, passes, &drift);
        let fitted = mix(input, fits, drift.clone(), passes)?;
        if round + 1 < rounds {
            drift = find_drift(input, &fitted);
        }
        best = Some(fitted);
    }
    let mut best = best?;
    best.noise = bin_noise(input, &best);
    Some(best)
}

fn stride(input: &FitInput) -> usize {
    input.ledger.bins.count.div_ceil(BINS_USED)
}

fn total_passes(input: &FitInput) -> f64 {
    input.engaged[..input.rows_end]
        .iter()
        .filter(|&&e| e)
        .count() as f64
        * input.wheels
}

/// Walks rows in order, giving each bin's passes before and after.
pub fn walk_passes(
    input: &FitInput,
    bite_down: f64,
    stride: usize,
    mut each: impl FnMut(usize, usize, f64, f64),
) {
    let bins = input.ledger.bins;
    let mut n = vec![0.0; bins.count];
    for (k, row) in input.ledger.rows[..input.rows_end].iter().enumerate() {
        if !input.engaged[k] {
            continue;
        }
        let add = input.wheels * if row.up { 1.0 } else { bite_down };
        let first = ((row.top - bins.top) / bins.step - 0.5).ceil().max(0.0) as usize;
        let last = ((row.bottom - bins.top) / bins.step - 0.5).floor();
        if last < 0.0 {
            continue;
        }
        let last = (last as usize).min(bins.count - 1);
        let mut j = first.div_ceil(stride) * stride;
        while j <= last {
            each(k, j, n[j], n[j] + add);
            n[j] += add;
            j += stride;
        }
    }
}

struct GridPoint {
    bite_down: f64,
    fade: f64,
    cost: f64,
    base: (f64, f64),
    amplitude: f64,
    amplitude_var: f64,
    data: usize,
}

fn grid(input: &FitInput, passes: f64, drift: &[f64]) -> Vec<GridPoint> {
    let mut points = Vec::new();
    for fade in [-0.1, 0.05, 0.2, 0.4] {
        let law = PassLaw::new(passes as usize + 2, input.x_wall, fade);
        for bite in [0.3, 0.5, 0.65, 0.8, 0.95] {
            let data = collect(input, &law, bite, drift);
            points.push(solve(input, &data, bite, fade));
        }
    }
    points
}

/// Row means over bins that are cut and over bins that are split, apart.
fn collect(input: &FitInput, law: &PassLaw, bite: f64, drift: &[f64]) -> Vec<Datum> {
    let rows = &input.ledger.rows;
    let mut data: Vec<Datum> = Vec::with_capacity(2 * rows.len());
    let mut now = usize::MAX;
    // Drags and sum of shapes of the bins that are cut, and of those that are split.
    let mut classes: [(Vec<f64>, f64); 2] = [(Vec::new(), 0.0), (Vec::new(), 0.0)];
    let mut memo = (f64::NAN, f64::NAN, 0.0);
    let flush = |k: usize, classes: &mut [(Vec<f64>, f64); 2], data: &mut Vec<Datum>| {
        for (drags, shapes) in classes.iter_mut() {
            if drags.len() >= 2 {
                let n = drags.len() as f64;
                // The median: bins that have split without being known to must not pull it down.
                let middle = drags.len() / 2;
                let (_, median, _) = drags.select_nth_unstable_by(middle, f64::total_cmp);
                data.push(Datum {
                    row: k,
                    up: rows[k].up,
                    y: *median - drift[k],
                    shape: *shapes / n,
                    // Bins of one row share its errors: weight grows slowly with their number.
                    weight: n / (n + 6.0),
                });
            }
            drags.clear();
            *shapes = 0.0;
        }
    };
    walk_passes(input, bite, stride(input), |k, j, n0, n1| {
        if k != now {
            flush(now, &mut classes, &mut data);
            now = k;
        }
        if input.coupling[j] {
            return;
        }
        let Some(y) = rows[k].at(j) else { return };
        let split = input.through_at[j] != NEVER && k >= input.through_at[j];
        let shape = if split {
            if k < input.through_at[j] + 4 {
                return;
            }
            0.0
        } else {
            if memo.0 != n0 || memo.1 != n1 {
                memo = (n0, n1, law.drag(n0, n1));
            }
            memo.2
        };
        let class = &mut classes[usize::from(split)];
        class.0.push(y);
        class.1 += shape;
    });
    flush(now, &mut classes, &mut data);
    data
}

/// Least squares with priors for base and amplitude, reweighted against outliers.
fn solve(input: &FitInput, data: &[Datum], bite_down: f64, fade: f64) -> GridPoint {
    let (a0, ln_sd) = input.amplitude_prior;
    let mut theta = [0.0, 0.0, a0];
    let mut cov = [[0.0; 3]; 3];
    let mut sd = 40.0f64;
    let mut cost = 0.0;
    for _ in 0..4 {
        let mut m = [[0.0; 3]; 3];
        let mut v = [0.0; 3];
        let b = input.base_prior;
        let (shared, own) = (b.shared_sd.powi(2), b.own_sd.powi(2));
        let det = own * (own + 2.0 * shared);
        let scale = sd * sd;
        m[0][0] = scale * (shared + own) / det;
        m[1][1] = m[0][0];
        m[0][1] = -scale * shared / det;
        m[1][0] = m[0][1];
        v[0] = (m[0][0] + m[0][1]) * b.mean;
        v[1] = v[0];
        m[2][2] = (sd / (a0 * ln_sd * 1.5).max(1e-9)).powi(2);
        v[2] = m[2][2] * a0;
        let (mut sum, mut weight) = (0.0, 0.0);
        for d in data {
            let f = if d.up {
                [1.0, 0.0, d.shape]
            } else {
                [0.0, 1.0, d.shape]
            };
            let r = d.y - f[0] * theta[0] - f[1] * theta[1] - f[2] * theta[2];
            let huber = if r.abs() > 2.0 * sd && cost > 0.0 {
                2.0 * sd / r.abs()
            } else {
                1.0
            };
            // The first passes carry the largest drag and the largest doubt in the model.
            let doubt = 1.0 + (0.06 * d.shape * theta[2] / sd).powi(2);
            let w = d.weight * huber / doubt;
            for i in 0..3 {
                for j in 0..3 {
                    m[i][j] += w * f[i] * f[j];
                }
                v[i] += w * f[i] * d.y;
            }
            sum += w * r * r;
            weight += w;
        }
        let inverse = invert(m);
        theta = [0, 1, 2].map(|i| (0..3).map(|j| inverse[i][j] * v[j]).sum());
        if weight > 3.0 {
            sd = (sum / weight).sqrt().clamp(4.0, 200.0);
        }
        cost = sum.max(1e-9);
        for i in 0..3 {
            for j in 0..3 {
                cov[i][j] = inverse[i][j] * sd * sd;
            }
        }
    }
    GridPoint {
        bite_down,
        fade,
        cost,
        base: (theta[0], theta[1]),
        amplitude: theta[2].max(0.02 * a0),
        amplitude_var: cov[2][2],
        data: data.len(),
    }
}

/// Averages grid points by how well they explain the data and the priors.
fn mix(input: &FitInput, points: Vec<GridPoint>, drift: Vec<f64>, passes: f64) -> Option<DragFit> {
    let least = points.iter().map(|p| p.cost).fold(f64::MAX, f64::min);
    let best_count = points.iter().map(|p| p.data).max()?;
    // Rows are not independent (model error is shared by neighbours): a third of them count.
    let free = (best_count as f64 / 3.0).max(1.0);
    let variance = (least / best_count.max(1) as f64).max(9.0);
    let mut total = 0.0;
    let mut out = [0.0; 6];
    let mut square = 0.0;
    let mut inner = 0.0;
    for p in &points {
        let fit =
            -0.5 * free * (p.cost / best_count.max(1) as f64 - least / best_count.max(1) as f64)
                / variance;
        let (ln_a, sd) = (input.amplitude_prior.0.ln(), input.amplitude_prior.1);
        let prior = -0.5 * ((p.bite_down - BITE.0) / BITE.1).powi(2)
            - 0.5 * ((p.fade - FADE.0) / FADE.1).powi(2)
            - 0.5 * ((p.amplitude.ln() - ln_a) / sd).powi(2);
        let w = (fit + prior).exp();
        total += w;
        let ln_amplitude = p.amplitude.ln();
        for (o, v) in
            out.iter_mut()
                .zip([p.bite_down, p.fade, p.base.0, p.base.1, ln_amplitude, 0.0])
        {
            *o += w * v;
        }
        square += w * ln_amplitude * ln_amplitude;
        inner += w * p.amplitude_var / (p.amplitude * p.amplitude);
    }
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let out = out.map(|o| o / total);
    let spread = (square / total - out[4] * out[4]).max(0.0);
    let fade = out[1];
    Some(DragFit {
        base: (out[2], out[3]),
        amplitude: out[4].exp(),
        ln_amplitude_sd: (spread + inner / total + 0.05f64.powi(2)).sqrt(),
        bite_down: out[0],
        fade,
        noise: 30.0,
        drift,
        law: PassLaw::new(passes as usize + 2, input.x_wall, fade),
    })
}

/// Drift by row from the difference of up and down residuals, smoothed over neighbours.
fn find_drift(input: &FitInput, fit: &DragFit) -> Vec<f64> {
    let rows = &input.ledger.rows;
    let data = collect(input, &fit.law, fit.bite_down, &vec![0.0; rows.len()]);
    let mut residual: Vec<Option<f64>> = vec![None; rows.len()];
    for d in &data {
        let base = if d.up { fit.base.0 } else { fit.base.1 };
        // In terms of tension at the surface: drift adds there.
        let r = (d.y - base - fit.amplitude * d.shape) * rows[d.row].gain;
        residual[d.row] = Some(if d.up { r } else { -r });
    }
    (0..rows.len())
        .map(|k| {
            let (a, b) = (
                k.saturating_sub(DRIFT_ROWS),
                (k + DRIFT_ROWS + 1).min(rows.len()),
            );
            let mean = |up: bool| {
                let (s, n) = (a..b)
                    .filter(|&i| rows[i].up == up)
                    .filter_map(|i| residual[i])
                    .fold((0.0, 0.0), |(s, n), r| (s + r, n + 1.0));
                (n >= 3.0).then(|| s / n)
            };
            match (mean(true), mean(false)) {
                (Some(u), Some(d)) => {
                    let surface = 0.5 * (u + d);
                    surface / rows[k].gain * if rows[k].up { 1.0 } else { -1.0 }
                }
                _ => 0.0,
            }
        })
        .collect()
}

/// Scatter of single bins around the fit, N: median absolute deviation of cut bins.
fn bin_noise(input: &FitInput, fit: &DragFit) -> f64 {
    let rows = &input.ledger.rows;
    let mut off: Vec<f64> = Vec::new();
    walk_passes(input, fit.bite_down, stride(input), |k, j, n0, n1| {
        if input.coupling[j] || (input.through_at[j] != NEVER && k >= input.through_at[j]) {
            return;
        }
        if let Some(y) = rows[k].at(j) {
            let base = if rows[k].up { fit.base.0 } else { fit.base.1 };
            let model = base + fit.drift[k] + fit.amplitude * fit.law.drag(n0, n1);
            off.push((y - model).abs());
        }
    });
    if off.len() < 20 {
        return 40.0;
    }
    let middle = off.len() / 2;
    let (_, m, _) = off.select_nth_unstable_by(middle, f64::total_cmp);
    (1.4826 * *m).clamp(3.0, 300.0)
}

/// Inverse of a symmetric positive 3 x 3 matrix.
fn invert(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let c = |i: usize, j: usize| {
        let (a, b) = ((i + 1) % 3, (i + 2) % 3);
        let (d, e) = ((j + 1) % 3, (j + 2) % 3);
        m[a][d] * m[b][e] - m[a][e] * m[b][d]
    };
    let det = m[0][0] * c(0, 0) + m[0][1] * c(0, 1) + m[0][2] * c(0, 2);
    let d = if det.abs() < 1e-300 { 1e-300 } else { det };
    let mut out = [[0.0; 3]; 3];
    for (i, row) in out.iter_mut().enumerate() {
        for (j, v) in row.iter_mut().enumerate() {
            *v = c(j, i) / d;
        }
    }
    out
}
