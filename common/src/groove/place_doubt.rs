//! Where a bin is, is known to some decimetres only: its groove may be that of its neighbours.
//!
//! The counter is set by hand against a tally, and the wheels stand a tool's length from where it was set. A belief told
//! for a depth along hole therefore mixes the beliefs of the bins that may lie there, weighted normally with
//! [`PLACE_SD_M`]. In a groove that is even over half a metre nothing changes; at the end of a stroke or of a split it
//! says neither "untouched" nor "through" where a counter off by a hand's breadth would say the other.
//!
//! *Limits*: the pieces of the mixture are known by three quantiles each; between them their distribution is taken as
//! even. Couplings, which are shown where the tally has them, take no part.

use super::posterior::BinBelief;

/// Standard deviation of the place of a groove, m (common practice, no source: a tape, a tally and a measuring wheel).
const PLACE_SD_M: f64 = 0.2;
/// Places beyond so many standard deviations are left out.
const REACH_SD: f64 = 2.5;
/// Beliefs that differ by less than this part of the wall are mixed into the same again.
const ALIKE: f64 = 1e-3;
/// Halvings of the wall that find a quantile.
const HALVINGS: usize = 24;
/// Tails go beyond the quantiles of 5 and 95 % by this part of what lies between those and the middle.
const TAIL: f64 = 0.5;

/// Beliefs by bin as they hold for a depth along hole; `step`: length of a bin, m.
pub(super) fn mixed(bins: &[BinBelief], coupling: &[bool], step: f64) -> Vec<BinBelief> {
    let reach = (REACH_SD * PLACE_SD_M / step).floor() as usize;
    let weights: Vec<f64> = (0..=reach)
        .map(|off| (-0.5 * (off as f64 * step / PLACE_SD_M).powi(2)).exp())
        .collect();
    let mut pieces: Vec<(f64, BinBelief)> = Vec::with_capacity(2 * reach + 1);
    (0..bins.len())
        .map(|j| {
            if coupling[j] {
                return bins[j];
            }
            let near = j.saturating_sub(reach)..(j + reach + 1).min(bins.len());
            pieces.clear();
            pieces.extend(
                near.filter(|k| !coupling[*k])
                    .map(|k| (weights[k.abs_diff(j)], bins[k])),
            );
            mix(&bins[j], &pieces)
        })
        .collect()
}

fn mix(own: &BinBelief, pieces: &[(f64, BinBelief)]) -> BinBelief {
    let alike = |a: f64, b: f64| (a - b).abs() < ALIKE;
    if pieces.iter().all(|(_, b)| {
        alike(b.depth, own.depth)
            && alike(b.low, own.low)
            && alike(b.high, own.high)
            && alike(b.through, own.through)
    }) {
        return *own;
    }
    let whole: f64 = pieces.iter().map(|(w, _)| w).sum();
    let through = pieces.iter().map(|(w, b)| w * b.through).sum::<f64>() / whole;
    let quantile = |p: f64| {
        let below = |x: f64| pieces.iter().map(|(w, b)| w * b.below(x)).sum::<f64>() / whole;
        let (mut from, mut to) = (0.0, pieces.iter().map(|(_, b)| b.high).fold(0.0, f64::max));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (from + to);
            if below(middle) < p {
                from = middle;
            } else {
                to = middle;
            }
        }
        to
    };
    let depth = quantile(0.5);
    BinBelief {
        depth,
        low: quantile(0.05).min(depth),
        high: quantile(0.95).max(depth),
        through,
        reach: own.reach,
    }
}

impl BinBelief {
    /// Probability of a depth not beyond `x`, as part of the wall, by the quantiles.
    fn below(&self, x: f64) -> f64 {
        let points = [
            (self.low - TAIL * (self.depth - self.low), 0.0),
            (self.low, 0.05),
            (self.depth, 0.5),
            (self.high, 0.95),
            (self.high + TAIL * (self.high - self.depth), 1.0),
        ];
        if x < points[0].0 {
            return 0.0;
        }
        for pair in points.windows(2) {
            let ((a, p), (b, q)) = (pair[0], pair[1]);
            if x < b {
                return p + (q - p) * (x - a) / (b - a);
            }
        }
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn belief(low: f64, depth: f64, high: f64, through: f64) -> BinBelief {
        BinBelief {
            depth,
            low,
            high,
            through,
            reach: (0.0, 0.1),
        }
    }

    const FRESH: BinBelief = BinBelief {
        depth: 0.0,
        low: 0.0,
        high: 0.0,
        through: 0.0,
        reach: (0.0, 0.1),
    };

    #[test]
    fn an_even_groove_is_told_as_it_is() {
        let bins = vec![belief(0.3, 0.5, 0.7, 0.1); 30];
        assert_eq!(mixed(&bins, &[false; 30], 0.1), bins);
    }

    #[test]
    fn at_the_end_of_a_groove_neither_fresh_wall_nor_groove_is_sure() {
        let mut bins = vec![FRESH; 10];
        bins.extend(vec![belief(0.4, 0.6, 0.8, 0.2); 10]);
        let told = mixed(&bins, &[false; 20], 0.1);
        // A decimetre to either side of the end.
        for (j, depth) in [(8, 0.0), (11, 0.5)] {
            assert!(told[j].low < 0.01, "{:?}", told[j]);
            assert!(told[j].high > 0.6, "{:?}", told[j]);
            assert!((told[j].depth - depth).abs() < 0.1, "{:?}", told[j]);
        }
        assert!(told[9].through > 0.05 && told[10].through < 0.15);
        // Half a metre away it is certain again.
        assert!(told[2].high < 1e-6, "{:?}", told[2]);
        assert_eq!(told[17], bins[17]);
    }

    #[test]
    fn quantiles_are_in_order_and_within_those_of_the_pieces() {
        let mut bins = vec![belief(0.2, 0.4, 0.6, 0.0), belief(0.5, 0.95, 1.0, 0.7)];
        bins.extend([belief(0.9, 0.95, 1.0, 1.0), FRESH]);
        for b in mixed(&bins, &[false, false, false, false], 0.1) {
            assert!(b.low <= b.depth && b.depth <= b.high && b.high <= 1.0);
            assert!((0.0..=1.0).contains(&b.through));
        }
    }

    #[test]
    fn couplings_and_coarse_bins_are_left_alone() {
        let bins = [FRESH, belief(0.4, 0.6, 0.8, 0.2), FRESH];
        let told = mixed(&bins, &[false, true, false], 0.1);
        assert_eq!(told, bins);
        assert_eq!(mixed(&bins, &[false; 3], 1.0), bins);
    }
}
