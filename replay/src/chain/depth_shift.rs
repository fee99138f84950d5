//! How much deeper is a later run than its counter says, measured against the groove of the runs
//! before it?
//!
//! *Evidence*: drag by depth. The last strokes before and the first strokes after show the same pipe:
//! the drop and bumps at couplings, the parts that are split already, harder and softer places, and,
//! strongest, the ends of the old cut, beyond which the wheels meet uncut wall.
//!
//! *Model*, for each direction: drag of a later stroke at its depth z is `a + c z + b x(z + s) + f u(z; s)`
//! with a level `a` and a trend `c` of its own. `u` is the drag that the pass law expects of the wall
//! there (`passes.rs`), from the strokes of all runs before; `x` is what the earlier strokes show beyond
//! that: the pattern of the pipe. b is not negative; f is near what the job lets expect, so that a shift
//! that would put the wheels on uncut wall must show its drag. What comes of the stroke itself, not of
//! the pipe, would speak for no shift at all, because strokes of both runs begin and end at the same
//! readings of the counter: so slow trends are left to `c z`, what lies near a turn is left out
//! (`trace.rs`), and strokes with the cutter in, which hardly feel the pipe, are not used. *Likelihood* of a
//! shift s: the residuals with unknown noise, counted as so many independent ones as their correlation
//! along depth and between strokes leaves. Directions are independent; how far apart the wheels sit is
//! not in the job, so the best of several spans counts; the prior is even over the range searched.
//!
//! *Unknown* is an answer: when the best shift explains hardly more than no relation at all, when it
//! lies at the end of the range, when several places fit, or when the interval is too wide to help.

use super::fit::Bounds;
use super::likelihood::likelihood;
use super::passes::{GRID_M, Wheels};
use super::trace::Trace;

/// Searched both ways, m.
pub(super) const RANGE_M: f64 = 5.0;
/// Step of the search, m.
const STEP_M: f64 = GRID_M;
/// Spans of the wheels that are tried, m.
const SPANS_M: [f64; 4] = [0.05, 0.2, 0.4, 0.7];
/// Part of the earlier pattern that a later stroke may show.
const PATTERN: (f64, f64) = (0.0, 1.5);
/// Drag of cutting over that of nominal values.
const FRESH: (f64, f64) = (0.4, 2.0);
/// Gain in log likelihood over no relation that makes a shift believable.
const GAIN_MIN: f64 = 6.0;
/// Widest 90 % interval that is applied, m: a third of a metre either way is what the tool's own depth
/// is good for.
const WIDTH_MAX: f64 = 0.7;
/// Error of the best fit over chains of the bench well, standard deviation with some room: m, and s of
/// movement, because swings of the line that begin at a turn repeat at the same place of every stroke.
const OWN_SD: (f64, f64) = (0.13, 0.25);
/// Another place this far away, m, leaves the shift unknown where it gains nearly as much (log
/// likelihood), or more than this part of it.
const RIVAL_M: f64 = 0.6;
const RIVAL_GAIN: f64 = 5.0;
const RIVAL_PART: f64 = 0.5;

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

/// What the job says of cutting.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cut {
    /// Wheels in the groove.
    pub(super) wheels: u32,
    /// Drag of their first pass over a fresh wall, from nominal values, N.
    pub(super) first_pass_n: f64,
}

/// Compares the strokes of a later run, in its own depth, with those before it, oldest first.
pub(super) fn find(earlier: &[Trace], later: &[Trace], cut: Cut) -> Found {
    let mut best: Option<Vec<f64>> = None;
    for span in SPANS_M {
        let wheels = Wheels::new(cut.wheels, span);
        let size = cut.first_pass_n / wheels.first_pass();
        let bounds = Bounds {
            pattern: PATTERN,
            fresh: (FRESH.0 * size, FRESH.1 * size),
        };
        let parts: Vec<Vec<f64>> = [true, false]
            .into_iter()
            .filter_map(|up| likelihood(earlier, later, up, &wheels, bounds))
            .collect();
        if parts.is_empty() {
            return Found::Unknown {
                why: "not both runs have strokes with the cutter out over the interval",
            };
        }
        let sum: Vec<f64> = (0..shifts())
            .map(|i| parts.iter().map(|p| p[i]).sum())
            .collect();
        if best.as_ref().is_none_or(|b| most(&sum) > most(b)) {
            best = Some(sum);
        }
    }
    let speeds = later.iter().filter(|t| t.out).map(|t| t.speed);
    let own_sd = OWN_SD.0.hypot(OWN_SD.1 * speeds.fold(0.0, f64::max));
    verdict(&best.unwrap_or_default(), own_sd)
}

/// How many shifts are tried.
pub(super) fn shifts() -> usize {
    (2.0 * RANGE_M / STEP_M).round() as usize + 1
}

/// One of them, m.
pub(super) fn shift_at(i: usize) -> f64 {
    i as f64 * STEP_M - RANGE_M
}

fn most(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

/// From log likelihoods over the shifts, relative to no relation, to an answer; `own_sd`: what the model
/// lacks, m.
fn verdict(likelihood: &[f64], own_sd: f64) -> Found {
    let best = most(likelihood);
    if best.is_nan() || best < GAIN_MIN {
        return Found::Unknown {
            why: "the drag of both runs shows no common pattern",
        };
    }
    let at_best = likelihood.iter().position(|l| *l == best).unwrap_or(0);
    let far = |i: usize| (shift_at(i) - shift_at(at_best)).abs() > RIVAL_M;
    let rivals = likelihood.iter().enumerate().filter(|(i, _)| far(*i));
    let rival = rivals.map(|(_, l)| *l).fold(f64::NEG_INFINITY, f64::max);
    if best - rival < RIVAL_GAIN || rival > RIVAL_PART * best {
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
    let own = 1.645 * own_sd;
    let low_m = middle - (middle - low).hypot(own);
    let high_m = middle + (high - middle).hypot(own);
    if high_m - low_m > WIDTH_MAX {
        return Found::Unknown {
            why: "the drag leaves more than a third of a metre of doubt either way",
        };
    }
    Found::Known {
        shift_m: middle,
        low_m,
        high_m,
    }
}

#[cfg(test)]
#[path = "depth_shift_tests.rs"]
mod tests;
