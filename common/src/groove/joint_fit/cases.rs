//! Cases that are tried at every place of the grid, and the means over what was found of them.

use super::Point;
use crate::groove::posterior::normal_cdf;

/// How the wall reach is spread over bins, and whether splits show.
#[derive(Debug, Clone, Copy)]
pub(super) struct Case {
    /// Spread of the wall reach.
    pub(super) spread: f64,
    /// Nothing of the cutting drag is left where the wall is split.
    pub(super) shows: bool,
    /// Logarithm of the prior weight.
    pub(super) ln_prior: f64,
}

/// Cases that are tried. One well in fifteen is taken to be of the last kind, in which splits do not show (our own
/// judgement, no source; see [`crate::groove::silent_splits`]); the spread says nothing there.
pub(super) const CASES: [Case; 5] = [
    Case::of(0.05, true, -0.3),
    Case::of(0.08, true, 0.0),
    Case::of(0.13, true, -0.7),
    Case::of(0.22, true, -3.0),
    Case::of(0.08, false, -1.8),
];

/// One number for each case. They are worked out side by side, which processors do at little more than the cost of one;
/// each comes out as it would alone.
pub(super) type Lanes = [f64; CASES.len()];

impl Case {
    const fn of(spread: f64, shows: bool, ln_prior: f64) -> Self {
        Self {
            spread,
            shows,
            ln_prior,
        }
    }

    /// Part of the expected cutting drag that is left, in the mean over bins, where `m + ln x` is `reach`.
    pub(super) fn left(self, reach: f64) -> f64 {
        if self.shows {
            alive(reach, self.spread)
        } else {
            1.0
        }
    }
}

/// Part of the bins that still cut where `m + ln x` is `reach`.
pub(super) fn alive(reach: f64, spread: f64) -> f64 {
    1.0 - normal_cdf(reach / spread)
}

/// Points with their weights.
pub(super) struct Weighed {
    points: Vec<(Point, f64)>,
    total: f64,
    /// Logarithm of the evidence for all of them together.
    pub(super) ln_evidence: f64,
}

impl Weighed {
    /// `None` without a point that is possible at all.
    pub(super) fn new(points: impl Iterator<Item = Point> + Clone) -> Option<Self> {
        let top = points.clone().map(|p| p.ln_p).fold(f64::MIN, f64::max);
        if !top.is_finite() {
            return None;
        }
        let points: Vec<(Point, f64)> = points.map(|p| (p, (p.ln_p - top).exp())).collect();
        let total: f64 = points.iter().map(|(_, weight)| weight).sum();
        Some(Self {
            ln_evidence: top + total.ln(),
            points,
            total,
        })
    }

    pub(super) fn mean(&self, of: impl Fn(&Point) -> f64) -> f64 {
        let sum: f64 = self.points.iter().map(|(p, weight)| weight * of(p)).sum();
        sum / self.total
    }

    pub(super) fn variance(&self, of: impl Fn(&Point) -> f64) -> f64 {
        let middle = self.mean(&of);
        self.mean(|p| (of(p) - middle).powi(2))
    }
}
