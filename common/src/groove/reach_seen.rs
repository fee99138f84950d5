//! What places that are split, and others that are not, say about the reach they all share.
//!
//! Before anything is split, nobody knows better than to some 15 % how deep a number of passes goes; the first
//! places that give way tell it for all others. They stand out from the rest within the same strokes, whatever law the
//! groove follows and however much of the drag the fit took for its base.
//!
//! *Input*: parts of the expected cutting drag that are still there, by bin, over the last few rows. *Output*: mean and
//! standard deviation of `m`. *Limits*: splits that just began, or are shorter than the wheels, hide in part, so
//! much seen weighs more than little; noise must leave places still cut alike; once hardly any place is still
//! cut, there is nothing to compare with and the mean drag of all ([`super::joint_fit`]) says more.
//!
//! *Source*: mean and scatter of the upper part of a mixture from its quantiles (textbook); ours as to the rest.

use super::posterior::normal_cdf;
use super::window_share::WindowShare;

/// Bins to each side over which the floor is taken: dips of a bin or two are swings of the tool.
const SIDE: usize = 2;
/// Least distance between the parts of places still cut and of split ones.
const APART: f64 = 0.45;
/// Doubt, as a standard deviation, that more is split than is seen.
const HIDDEN: f64 = 0.5;
/// Greatest scatter of places still cut: with more, noise looks like splits.
const SCATTER_MAX: f64 = 0.25;
/// Greatest part of the expected drag: with more, the fit is none.
const TOP_MAX: f64 = 2.0;
/// Scatters by which places that are split lie below those still cut, at least.
const CLEAR: f64 = 2.5;
/// Least part of places still cut: below it, it is not known whether they are.
const LEVEL_MIN: f64 = 0.6;
/// Standard deviation of the fraction seen: hardness, law, the level.
const FRACTION_SD: f64 = 0.06;
/// Bins share hardness with their neighbours: they count as this part of their number.
const INDEPENDENT: f64 = 0.15;
/// Points of the grid of `m`, and standard deviations to either side.
const POINTS: usize = 81;
const REACH: f64 = 4.0;

/// Reach after what is seen; `global`: before, with its standard deviation; `local_sd`: what bins have of their own;
/// `ln_x`: logarithm of `x` by passes. Beside it, the logarithm of how much likelier it is to see this if splits show in
/// the drag than if they do not ([`super::silent_splits`]).
pub(super) fn reach_seen(
    windows: &[WindowShare],
    coupling: &[bool],
    global: (f64, f64),
    local_sd: f64,
    ln_x: impl Fn(f64) -> f64,
) -> ((f64, f64), f64) {
    let late = late(windows);
    let (Some(first), Some(last)) = (late.first(), late.last()) else {
        return (global, 0.0);
    };
    let passes = |j: usize| 0.5 * (first.passes[j] + last.passes[j]);
    let parts = parts(late, coupling);
    let Some((level, floor, sd)) = levels(&parts) else {
        return (global, 0.0);
    };
    // Wheels in line blur where it is, not how much of it there is.
    let count = parts.len() as f64;
    let reached: Vec<f64> = parts.iter().map(|p| ln_x(passes(p.0))).collect();
    let mean = parts.iter().map(|p| p.1).sum::<f64>() / count;
    let seen = (level - mean) / (level - floor);
    let independent = (INDEPENDENT * count).max(1.0);
    let own = FRACTION_SD.hypot(sd / (level - floor) / independent.sqrt());
    let seen = seen.clamp(0.0, 1.0);
    let step = 2.0 * REACH * global.1 / (POINTS - 1) as f64;
    let mut ln_p = [0.0; POINTS];
    for (i, ln_p) in ln_p.iter_mut().enumerate() {
        let off = (i as f64 - (POINTS / 2) as f64) * step;
        let split = reached
            .iter()
            .map(|ln_x| normal_cdf((global.0 + off + ln_x) / local_sd));
        let split = split.sum::<f64>() / count;
        let var = split * (1.0 - split) / independent + own * own;
        // Splits that just began, or are shorter than the wheels, hide: what is seen is the least.
        let lack = seen - split;
        let doubt = if lack < 0.0 {
            var + HIDDEN * HIDDEN
        } else {
            var
        };
        *ln_p = -0.5 * ((off / global.1).powi(2) + lack * lack / doubt);
    }
    let top = ln_p.iter().copied().fold(f64::MIN, f64::max);
    let (mut sum, mut first, mut second, mut before) = (0.0, 0.0, 0.0, 0.0);
    for (i, ln_p) in ln_p.iter().enumerate() {
        let off = (i as f64 - (POINTS / 2) as f64) * step;
        let p = (ln_p - top).exp();
        sum += p;
        before += (-0.5 * (off / global.1).powi(2)).exp();
        first += p * off;
        second += p * off * off;
    }
    let mean = first / sum;
    let var = (second / sum - mean * mean).max(step * step);
    let ln_ratio = (sum / before).ln() + top + 0.5 * (seen / own).powi(2);
    ((global.0 + mean, var.sqrt()), ln_ratio)
}

/// The last windows, of as many rows as one has that is full.
fn late(windows: &[WindowShare]) -> &[WindowShare] {
    let full = windows.first().map_or(0, WindowShare::rows);
    let last = windows.last().map_or(0, WindowShare::rows);
    let count = if last < full { 2 } else { 1 };
    &windows[windows.len().saturating_sub(count)..]
}

/// Part of the expected cutting drag that is there, by bin.
fn parts(late: &[WindowShare], coupling: &[bool]) -> Vec<(usize, f64)> {
    let part = |j: usize| {
        let (sum, weight) = late
            .iter()
            .map(|w| (w.share[j], w.weight[j]))
            .fold((0.0, 0.0), |(s, n), (share, w)| (s + w * share, n + w));
        (weight > 0.0).then(|| (j, sum / weight))
    };
    (0..coupling.len())
        .filter(|&j| !coupling[j])
        .filter_map(part)
        .collect()
}

/// Part of the expected drag where the wall is still cut and where it is split, and the scatter of the first; `None` when
/// they can't be told.
fn levels(parts: &[(usize, f64)]) -> Option<(f64, f64, f64)> {
    let mut sorted: Vec<f64> = parts.iter().map(|p| p.1).collect();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)? as f64;
    let at = |q: f64| sorted.get((q * last) as usize).copied();
    // Of a normal scatter, these two lie 0.80 standard deviations apart and 1.04 above its middle.
    let (high, top) = (at(0.85)?, at(0.95)?);
    let sd = (top - at(0.80)?) / 0.80;
    let level = high - 1.04 * sd;
    // None of the cutting should be left there, but for what the fit has too much or too little in its base.
    let mut low: Vec<f64> = parts
        .windows(2 * SIDE + 1)
        .map(|w| w.iter().map(|p| p.1).sum::<f64>() / w.len() as f64)
        .collect();
    low.sort_by(f64::total_cmp);
    let low = *low.get(low.len() / 10)?;
    let floor = if level - low > APART.max(CLEAR * sd) {
        low
    } else {
        0.0
    };
    (level >= LEVEL_MIN && level - floor >= APART && sd < SCATTER_MAX && top < TOP_MAX)
        .then_some((level, floor, sd))
}

#[cfg(test)]
mod tests {
    use super::super::posterior::normal_quantile;
    use super::*;

    const GLOBAL: (f64, f64) = (-2.5, 0.13);
    const LOCAL: f64 = 0.06;

    /// Invented: a window of four rows over 100 bins, of which the first `split` show `floor` and the
    /// others the whole of the expected drag, with a normal `scatter`.
    fn window(split: usize, floor: f64, scatter: f64) -> Vec<WindowShare> {
        let share = |j: usize| {
            let drawn = normal_quantile(((37 * j % 100) as f64 + 0.5) / 100.0);
            scatter * drawn + if j < split { floor } else { 1.0 }
        };
        vec![WindowShare::of((0..100).map(share).collect(), 300.0)]
    }

    fn seen(windows: &[WindowShare]) -> ((f64, f64), f64) {
        reach_seen(windows, &[false; 100], GLOBAL, LOCAL, |n| {
            n.cbrt().ln() + 0.4
        })
    }

    /// Part of the wall that is reached where the reach is `m`.
    fn middle(m: f64) -> f64 {
        (m + 300f64.cbrt().ln() + 0.4).exp()
    }

    #[test]
    fn a_few_places_that_stand_out_tell_how_deep_the_others_are() {
        assert!(middle(GLOBAL.0) < 0.85);
        for floor in [0.0, -0.6, 0.3] {
            let ((m, sd), ln_shows) = seen(&window(20, floor, 0.03));
            // A fifth is split where the middle is 0.84 standard deviations short of it.
            let off = middle(m).ln() + 0.84 * LOCAL;
            assert!(off.abs() < 0.03, "{floor}: {m} {off}");
            assert!(sd < 0.5 * GLOBAL.1, "{sd}");
            assert!(ln_shows > 3.0, "{floor}: {ln_shows}");
        }
    }

    #[test]
    fn nothing_that_stands_out_and_noise_change_little() {
        for windows in [
            window(0, 0.0, 0.03),
            window(0, 0.0, 0.4),
            window(20, 0.0, 0.4),
        ] {
            let ((m, sd), ln_shows) = seen(&windows);
            assert!((m - GLOBAL.0).abs() < 0.03 && sd > 0.09, "{m} {sd}");
            assert!(ln_shows.abs() < 0.5, "{ln_shows}");
        }
    }
}
