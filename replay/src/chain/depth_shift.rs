//! How much deeper is a later run than its counter says, measured against the groove of the runs
//! before it?
//!
//! *Evidence*: drag by depth. The last strokes before and the first strokes after show the same pipe:
//! the drop and bumps at couplings, the parts that are split already, harder and softer places, and,
//! strongest, the ends of the old cut, beyond which the wheels meet uncut wall.
//!
//! *Model*, for each direction: drag of the later run at its depth z is `a + c z + b x(z + s)`, where
//! `x` is the drag of the earlier strokes and b is not negative, and higher by a constant where nobody
//! cut before. What comes of the stroke itself, not of the pipe, would speak for no shift at all,
//! because strokes of both runs begin and end at the same readings of the counter: so slow trends are
//! left to `c z`, the first metre and a half after a turn is left out, and strokes with the cutter in,
//! which hardly feel the pipe, are not used. *Likelihood* of a shift s: the residuals with unknown
//! noise, counted as so many independent ones as their correlation along depth leaves. Directions are
//! independent; the prior is even over the range searched.
//!
//! *Unknown* is an answer: when the best shift explains hardly more than no relation at all, when it
//! lies at the end of the range, or when several places fit.

use kerfwatch::groove::ledger::Row;

/// Searched both ways, m.
pub(super) const RANGE_M: f64 = 5.0;
/// Step of the search, m.
const STEP_M: f64 = 0.02;
/// Strokes of a direction taken from the end of the earlier runs, and from the start of the later one.
const EARLIER: usize = 8;
const LATER: usize = 6;
/// Fewest bins of a direction worth comparing.
const BINS_MIN: usize = 25;
/// Gain in log likelihood over no relation that makes a shift believable.
const GAIN_MIN: f64 = 8.0;
/// Widest 90 % interval that is still called known, m.
const WIDTH_MAX: f64 = 1.0;
/// What the model lacks, standard deviation, m: bench wells were up to a third of a metre off.
const OWN_SD_M: f64 = 0.25;
/// Another place this far away, m, that fits nearly as well (log likelihood) leaves the shift unknown.
const RIVAL_M: f64 = 0.6;
const RIVAL_GAIN: f64 = 10.0;
/// After a turn friction and speed still settle, m; before one the winch already slows down.
const AFTER_TURN_M: f64 = 1.5;
const BEFORE_TURN_M: f64 = 0.3;

/// One stroke's drag by depth, moved into the common depth.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    up: bool,
    out: bool,
    top: f64,
    bottom: f64,
    /// Middle of the first bin, m.
    first: f64,
    step: f64,
    drag: Vec<Option<f64>>,
}

impl Trace {
    /// From a row of the ledger whose bins begin at `top`; `shift` leads into the common depth.
    pub(super) fn new(row: &Row, top: f64, step: f64, out: bool, shift: f64) -> Self {
        let bins = row.first..row.first + row.drag.len();
        let (above, below) = if row.up {
            (BEFORE_TURN_M, AFTER_TURN_M)
        } else {
            (AFTER_TURN_M, BEFORE_TURN_M)
        };
        let drag = bins.map(|bin| {
            let middle = top + (bin as f64 + 0.5) * step;
            let steady = middle - row.top >= above && row.bottom - middle >= below;
            row.at(bin).filter(|_| steady)
        });
        Self {
            up: row.up,
            out,
            top: row.top + shift,
            bottom: row.bottom + shift,
            first: top + (row.first as f64 + 0.5) * step + shift,
            step,
            drag: drag.collect(),
        }
    }

    /// Drag at a depth, between the middles of two bins.
    fn at(&self, depth: f64) -> Option<f64> {
        let place = (depth - self.first) / self.step;
        if place < 0.0 {
            return None;
        }
        let (i, part) = (place as usize, place.fract());
        let a = (*self.drag.get(i)?)?;
        if part < 1e-9 {
            return Some(a);
        }
        let b = (*self.drag.get(i + 1)?)?;
        Some(a + part * (b - a))
    }
}

/// What the comparison found.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Found {
    /// The later run is deeper than its counter says by this, with its 90 % interval, m.
    Known {
        /// Median.
        shift_m: f64,
        /// 5 %.
        low_m: f64,
        /// 95 %.
        high_m: f64,
    },
    /// The data cannot tell.
    Unknown {
        /// Why, for people.
        why: &'static str,
    },
}

/// Compares the strokes of a later run, in its own depth, with those before it, oldest first.
pub(super) fn find(earlier: &[Trace], later: &[Trace]) -> Found {
    let parts: Vec<Comparison> = [true, false]
        .into_iter()
        .filter_map(|up| {
            let same = |t: &&Trace| t.up == up && t.out;
            let before: Vec<&Trace> = earlier.iter().rev().filter(same).take(EARLIER).collect();
            let after: Vec<&Trace> = later.iter().filter(same).take(LATER).collect();
            Comparison::new(&before, &after)
        })
        .collect();
    if parts.is_empty() {
        return Found::Unknown {
            why: "not both runs have strokes with the cutter out over the interval",
        };
    }
    let likelihood: Vec<f64> = (0..shifts())
        .map(|i| parts.iter().map(|p| p.likelihood[i]).sum())
        .collect();
    verdict(&likelihood)
}

fn shifts() -> usize {
    (2.0 * RANGE_M / STEP_M).round() as usize + 1
}

fn shift_at(i: usize) -> f64 {
    i as f64 * STEP_M - RANGE_M
}

/// From log likelihoods over the shifts, relative to no relation, to an answer.
fn verdict(likelihood: &[f64]) -> Found {
    let best = likelihood.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if best.is_nan() || best < GAIN_MIN {
        return Found::Unknown {
            why: "the drag of both runs shows no common pattern",
        };
    }
    let at_best = likelihood.iter().position(|l| *l == best).unwrap_or(0);
    let far = |i: usize| (shift_at(i) - shift_at(at_best)).abs() > RIVAL_M;
    let rivals = likelihood.iter().enumerate().filter(|(i, _)| far(*i));
    let rival = rivals.map(|(_, l)| *l).fold(f64::NEG_INFINITY, f64::max);
    if best - rival < RIVAL_GAIN {
        return Found::Unknown {
            why: "several shifts explain the drag about equally well",
        };
    }
    let weight: Vec<f64> = likelihood.iter().map(|l| (l - best).exp()).collect();
    let total: f64 = weight.iter().sum();
    let quantile = |q: f64| {
        let mut sum = 0.0;
        for (i, w) in weight.iter().enumerate() {
            if sum + w >= q * total {
                return shift_at(i) + STEP_M * ((q * total - sum) / w - 0.5);
            }
            sum += w;
        }
        RANGE_M
    };
    let (low, middle, high) = (quantile(0.05), quantile(0.5), quantile(0.95));
    if middle.abs() > RANGE_M - 0.3 {
        return Found::Unknown {
            why: "the best fit lies at the end of the range that is searched",
        };
    }
    if high - low > WIDTH_MAX {
        return Found::Unknown {
            why: "several shifts explain the drag about equally well",
        };
    }
    let own = 1.645 * OWN_SD_M;
    Found::Known {
        shift_m: middle,
        low_m: middle - (middle - low).hypot(own),
        high_m: middle + (high - middle).hypot(own),
    }
}

/// One direction compared over all shifts.
#[derive(Debug)]
struct Comparison {
    /// Log likelihood by shift, less that of no relation at all.
    likelihood: Vec<f64>,
}

/// What the earlier strokes say about a depth.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Before {
    /// Drag there, N.
    Drag(f64),
    /// Nobody was there.
    Uncut,
}

impl Comparison {
    fn new(before: &[&Trace], after: &[&Trace]) -> Option<Self> {
        if before.is_empty() || after.is_empty() {
            return None;
        }
        let later = mean_by_bin(after);
        if later.len() < BINS_MIN {
            return None;
        }
        let old = Old::new(before)?;
        let none = square_sum(&residuals(&later, None));
        let fits: Vec<Vec<f64>> = (0..shifts())
            .map(|i| residuals(&later, Some(&|z| old.at(z + shift_at(i)))))
            .collect();
        let best = fits
            .iter()
            .min_by(|a, b| square_sum(a).total_cmp(&square_sum(b)))?;
        let independent = later.len() as f64 / correlation_length(best);
        // Rounding of readings is noise too: a fit can never be exact.
        let floor = later.len() as f64;
        let likelihood = fits
            .iter()
            .map(|fit| -0.5 * independent * ((square_sum(fit) + floor) / (none + floor)).ln())
            .collect();
        Some(Self { likelihood })
    }
}

/// Mean drag over the strokes by bin of the first of them: `(depth, drag)`.
fn mean_by_bin(traces: &[&Trace]) -> Vec<(f64, f64)> {
    let Some(step) = traces.first().map(|t| t.step) else {
        return Vec::new();
    };
    let top = traces.iter().map(|t| t.first).fold(f64::INFINITY, f64::min);
    let bottom = traces.iter().map(|t| t.bottom).fold(top, f64::max);
    (0..((bottom - top) / step) as usize + 1)
        .filter_map(|i| {
            let depth = top + i as f64 * step;
            let values: Vec<f64> = traces.iter().filter_map(|t| t.at(depth)).collect();
            median(values).map(|drag| (depth, drag))
        })
        .collect()
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(values[n / 2]),
        _ => Some(0.5 * (values[n / 2 - 1] + values[n / 2])),
    }
}

/// Drag of the earlier strokes on a fine grid.
#[derive(Debug)]
struct Old {
    top: f64,
    grid: Vec<f64>,
}

impl Old {
    fn new(traces: &[&Trace]) -> Option<Self> {
        let top = traces.iter().map(|t| t.top).fold(f64::INFINITY, f64::min);
        let bottom = traces
            .iter()
            .map(|t| t.bottom)
            .fold(f64::NEG_INFINITY, f64::max);
        let count = ((bottom - top) / STEP_M).max(0.0) as usize + 1;
        let known: Vec<Option<f64>> = (0..count)
            .map(|i| {
                let depth = top + i as f64 * STEP_M;
                median(traces.iter().filter_map(|t| t.at(depth)).collect())
            })
            .collect();
        // Near a turning point no drag is known although the wheels were there: the nearest is.
        let first = (*known.iter().find(|v| v.is_some())?)?;
        let mut last = first;
        let mut grid = Vec::with_capacity(count);
        for value in known {
            last = value.unwrap_or(last);
            grid.push(last);
        }
        Some(Self { top, grid })
    }

    fn at(&self, depth: f64) -> Before {
        let place = ((depth - self.top) / STEP_M).round();
        if place >= 0.0 && (place as usize) < self.grid.len() {
            Before::Drag(self.grid[place as usize])
        } else {
            Before::Uncut
        }
    }
}

/// What is left of the later drag after the best fit of level, trend, earlier drag and uncut wall;
/// without `before`, of level and trend alone.
fn residuals(later: &[(f64, f64)], before: Option<&dyn Fn(f64) -> Before>) -> Vec<f64> {
    let middle = later.iter().map(|p| p.0).sum::<f64>() / later.len() as f64;
    let old: Vec<Before> = match before {
        Some(before) => later.iter().map(|p| before(p.0)).collect(),
        None => vec![Before::Drag(0.0); later.len()],
    };
    let cut: Vec<f64> = old
        .iter()
        .filter_map(|o| match o {
            Before::Drag(x) => Some(*x),
            Before::Uncut => None,
        })
        .collect();
    let typical = cut.iter().sum::<f64>() / cut.len().max(1) as f64;
    // Level, trend, earlier drag about its mean, uncut.
    let columns: Vec<[f64; 4]> = later
        .iter()
        .zip(&old)
        .map(|((z, _), o)| match o {
            Before::Drag(x) => [1.0, z - middle, x - typical, 0.0],
            Before::Uncut => [1.0, z - middle, 0.0, 1.0],
        })
        .collect();
    let y: Vec<f64> = later.iter().map(|p| p.1).collect();
    // A pipe does not drag less where the earlier strokes dragged more, nor where nobody cut.
    let mut used = [true, true, before.is_some(), before.is_some()];
    let mut weights = least_squares(&columns, &y, used);
    for k in [2, 3] {
        if used[k] && weights[k] < 0.0 {
            used[k] = false;
            weights = least_squares(&columns, &y, used);
        }
    }
    if used[2] && weights[2] < 0.0 {
        used[2] = false;
        weights = least_squares(&columns, &y, used);
    }
    let fitted = |c: &[f64; 4]| (0..4).map(|k| weights[k] * c[k]).sum::<f64>();
    columns.iter().zip(&y).map(|(c, y)| y - fitted(c)).collect()
}

/// Weights of the columns used, 0 for the others and for those that say nothing.
fn least_squares(columns: &[[f64; 4]], y: &[f64], used: [bool; 4]) -> [f64; 4] {
    let mut matrix = [[0.0; 5]; 4];
    for (c, y) in columns.iter().zip(y) {
        for i in 0..4 {
            for j in 0..4 {
                matrix[i][j] += c[i] * c[j];
            }
            matrix[i][4] += c[i] * y;
        }
    }
    let size: [f64; 4] = [0, 1, 2, 3].map(|i| matrix[i][i]);
    let mut weights = [0.0; 4];
    // Gauss and Jordan; the matrix is positive, so the diagonal serves as pivots.
    let mut solved = [false; 4];
    for i in 0..4 {
        if !used[i] || matrix[i][i] <= 1e-9 * size[i] || size[i] == 0.0 {
            continue;
        }
        solved[i] = true;
        let pivot = matrix[i][i];
        for value in &mut matrix[i] {
            *value /= pivot;
        }
        let row = matrix[i];
        for (k, other) in matrix.iter_mut().enumerate() {
            if k != i {
                let factor = other[i];
                for (value, from) in other.iter_mut().zip(row) {
                    *value -= factor * from;
                }
            }
        }
    }
    for i in 0..4 {
        if solved[i] {
            weights[i] = matrix[i][4];
        }
    }
    weights
}

fn square_sum(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
}

/// So many neighbours count as one, from the correlation of residuals along depth.
fn correlation_length(residuals: &[f64]) -> f64 {
    let total = square_sum(residuals);
    if total <= 0.0 {
        return 1.0;
    }
    let mut length = 1.0;
    for lag in 1..residuals.len() / 3 {
        let pairs = residuals.iter().zip(&residuals[lag..]);
        let part = pairs.map(|(a, b)| a * b).sum::<f64>() / total;
        if part < 0.05 {
            break;
        }
        length += 2.0 * part;
    }
    length
}

#[cfg(test)]
#[path = "depth_shift_tests.rs"]
mod tests;
