//! Where the wall is split: drag that falls away, and stays away.
//!
//! Over a few rows at a time, the part of the expected cutting drag that is still there is taken
//! for every bin. Wheels sit in line over some decimetres, so one split bin removes only its share:
//! the bins' own states are found by flipping them, one by one, for the least misfit (a small
//! Ising-like search), with the physical margin as prior. A bin that is split stays split.

use super::drag_model::{self, FitInput, NEVER};
use super::window_share::WindowShare;

/// Spans of the wheels that are tried, m.
const SPANS: [f64; 5] = [0.05, 0.2, 0.4, 0.6, 0.9];
/// Neighbouring bins share their errors: this part of the evidence counts.
const INDEPENDENT: f64 = 0.2;
/// Log odds that a bin is like each of its neighbours: the wall opens over decimetres, not in dots.
const ALIKE: f64 = 0.6;
/// Part of the log odds found that is told, and most of it.
const TEMPER: f64 = 0.65;
const TOLD_MAX: f64 = 3.4;
/// A bin with less than this part of the passes that the middle one of the interval had is not split by any drag seen
/// there: its groove is two thirds as deep at most, and where strokes turn the tool has hardly begun to drag.
const FEW_PASSES: f64 = 0.3;
/// Log odds of such a bin.
const HARDLY_PASSED: f64 = -30.0;
/// Differences of misfit that are rounding.
const TIE: f64 = 1e-6;
/// Probability taken as certain.
const CERTAIN: f64 = 0.97;
/// From which on the tool is said to run free there, as found; and as [`told`] of it.
const LIKELY: f64 = 0.7;
pub(super) const LIKELY_TOLD: f64 = 0.63;

/// What the drag says about each bin.
#[derive(Debug, Clone)]
pub struct Through {
    /// First row after which the bin was split; [`NEVER`].
    pub at: Vec<usize>,
    /// Wheel passes of the bin at that row (up-stroke passes count one).
    pub passes_at: Vec<f64>,
    /// First row from which on it is likely to be split, and stays so: the tool runs free there; [`NEVER`].
    pub since: Vec<usize>,
    /// Probability of being split now.
    pub probability: Vec<f64>,
    /// Wheel passes of each bin now.
    pub passes: Vec<f64>,
    /// Length over which the wheels are spread, m.
    pub span: f64,
    /// What was seen of the bin asked for, window by window.
    pub seen: Vec<WindowSeen>,
}

/// What a few strokes showed of one bin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowSeen {
    /// First row and one past the last.
    pub rows: (usize, usize),
    /// Wheel passes of the bin by then (up-stroke passes count one).
    pub passes: f64,
    /// Part of the expected cutting drag that was there.
    pub share: f64,
    /// Its standard deviation; infinite without data.
    pub share_sd: f64,
    /// Probability of being split after it.
    pub probability: f64,
}

/// Finds split bins in windows of a run; `margin(passes)`: log odds that a bin is split, from passes alone;
/// `ask`: a bin whose history is wanted.
pub(super) fn find(
    input: &FitInput,
    windows: &[WindowShare],
    margin: impl Fn(f64) -> f64,
    ask: Option<usize>,
) -> Through {
    let step = input.ledger.bins.step;
    let inside = input.ledger.bins.inside;
    let physical: Vec<Vec<f64>> = windows
        .iter()
        .map(|w| physical_odds(w, inside, &margin))
        .collect();
    let followed = |span: f64| follow(input, windows, &physical, &kernel(span / step), span, ask);
    let tried = SPANS.map(followed);
    let least = tried.iter().map(|(cost, _)| *cost).fold(f64::MAX, f64::min);
    let weights = tried
        .each_ref()
        .map(|(cost, _)| (-INDEPENDENT * (cost - least)).exp());
    let sum: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(&Through) -> f64| -> f64 {
        let parts = tried.iter().zip(weights);
        parts.map(|((_, through), w)| w * of(through)).sum::<f64>() / sum
    };
    // Of spans that fit equally well the shortest: which one has the least cost by a rounding error may not decide.
    let Some((_, best)) = tried.iter().find(|(cost, _)| *cost - least <= TIE) else {
        return Through::nothing(input.ledger.bins.count);
    };
    let mut told = best.clone();
    for (j, p) in told.probability.iter_mut().enumerate() {
        if best.at[j] == NEVER {
            *p = mean(&|through| through.probability[j]);
            // Where only other spans say so: of late.
            let late = windows.last().map_or(NEVER, |w| w.rows.0);
            told.since[j] = if *p > LIKELY_TOLD {
                best.since[j].min(late)
            } else {
                NEVER
            };
        }
    }
    // The history ends with what is told of the bin.
    if ask.is_some_and(|j| best.at[j] == NEVER) {
        for (w, seen) in told.seen.iter_mut().enumerate() {
            seen.probability = mean(&|through| through.seen[w].probability);
        }
    }
    told
}

impl Through {
    /// Before anything was cut.
    pub fn nothing(bins: usize) -> Self {
        Self::not_seen(vec![0.0; bins])
    }

    /// After so many wheel passes by bin, of which no drag is known.
    pub(super) fn not_seen(passes: Vec<f64>) -> Self {
        let bins = passes.len();
        Self {
            at: vec![NEVER; bins],
            passes_at: vec![0.0; bins],
            since: vec![NEVER; bins],
            probability: vec![0.0; bins],
            passes,
            span: 0.0,
            seen: Vec::new(),
        }
    }
}

/// Weights of the wheels by bin, symmetric, sum one, for a span in bins.
fn kernel(span: f64) -> Vec<f64> {
    let half = (span * 0.5).max(0.5);
    let reach = (half + 0.5).floor() as usize;
    (0..=2 * reach)
        .map(|i| {
            let x = i as f64 - reach as f64;
            let low = (x - 0.5).max(-half);
            let high = (x + 0.5).min(half);
            ((high - low) / (2.0 * half)).max(0.0)
        })
        .collect()
}

/// Log odds that a bin is split from passes alone, by bin; `inside`: the bins of the interval.
fn physical_odds(
    window: &WindowShare,
    inside: (usize, usize),
    margin: impl Fn(f64) -> f64,
) -> Vec<f64> {
    let mut margin = remembering(margin);
    let few = FEW_PASSES * drag_model::median(&mut window.passes[inside.0..inside.1].to_vec());
    let odds = window.passes.iter().map(|&n| {
        if n < few {
            HARDLY_PASSED
        } else {
            margin(n).clamp(-7.0, 4.0)
        }
    });
    odds.collect()
}

/// The same function, which gives its last answer again: most bins were passed as often as their neighbours.
pub(super) fn remembering(of: impl Fn(f64) -> f64) -> impl FnMut(f64) -> f64 {
    let mut last = (f64::NAN, f64::NAN);
    move |n| {
        if n != last.0 {
            last = (n, of(n));
        }
        last.1
    }
}

fn follow(
    input: &FitInput,
    windows: &[WindowShare],
    physical: &[Vec<f64>],
    kernel: &[f64],
    span: f64,
    ask: Option<usize>,
) -> (f64, Through) {
    let mut seen_of = Vec::new();
    let count = input.ledger.bins.count;
    let mut at = vec![NEVER; count];
    let mut passes_at = vec![0.0; count];
    let mut since = vec![NEVER; count];
    let mut probability = vec![0.0f64; count];
    let mut odds = vec![0.0; count];
    let mut prior = vec![0.0; count];
    let mut cost = 0.0;
    for (w, (window, physical)) in windows.iter().zip(physical).enumerate() {
        for j in 0..count {
            // Evidence of earlier windows is carried with half its weight: it shares their errors.
            let physical = physical[j];
            let seen = if probability[j] > 0.5 {
                0.5 * (logit(probability[j]) - prior[j]).max(0.0)
            } else {
                0.0
            };
            prior[j] = physical;
            odds[j] = if at[j] != NEVER {
                12.0
            } else {
                physical + seen
            };
        }
        let (c, p) = decide(window, kernel, &odds, input.coupling, &at);
        cost += c;
        for j in 0..count {
            if at[j] != NEVER {
                probability[j] = 1.0 - 1e-4;
                continue;
            }
            let before = probability[j];
            probability[j] = p[j];
            since[j] = if p[j] > LIKELY {
                since[j].min(window.rows.0)
            } else {
                NEVER
            };
            // Two windows in a row, or the last one with no doubt.
            if p[j] > CERTAIN && (before > 0.6 || w + 1 == windows.len() && p[j] > 0.995) {
                let first = if before > 0.6 && w > 0 {
                    &windows[w - 1]
                } else {
                    window
                };
                at[j] = first.rows.0;
                passes_at[j] = first.passes[j];
            }
        }
        if let Some(j) = ask {
            seen_of.push(WindowSeen {
                rows: window.rows,
                passes: window.passes[j],
                share: window.share[j],
                share_sd: 1.0 / window.weight[j].sqrt(),
                probability: told(probability[j]),
            });
        }
    }
    let passes = windows
        .last()
        .map_or_else(|| vec![0.0; count], |w| w.passes.clone());
    (
        cost,
        Through {
            at,
            passes_at,
            since,
            probability: probability.into_iter().map(told).collect(),
            passes,
            span,
            seen: seen_of,
        },
    )
}

/// Least misfit of one window over the states of its bins; gives cost and probabilities.
fn decide(
    window: &WindowShare,
    kernel: &[f64],
    odds: &[f64],
    coupling: &[bool],
    at: &[usize],
) -> (f64, Vec<f64>) {
    let count = odds.len();
    let reach = (kernel.len() / 2) as isize;
    let mut cut: Vec<bool> = (0..count)
        .map(|j| at[j] == NEVER && (window.share[j] > 0.5 || odds[j] < -3.0))
        .collect();
    let spread = |j: usize, cut: &[bool]| -> f64 {
        kernel
            .iter()
            .enumerate()
            .map(|(i, k)| {
                let at = j as isize + i as isize - reach;
                let inside = at < 0 || at >= count as isize || cut[at as usize];
                if inside { *k } else { 0.0 }
            })
            .sum()
    };
    let mut model: Vec<f64> = (0..count).map(|j| spread(j, &cut)).collect();
    let mut gain = vec![0.0; count];
    let mut common = 0.0;
    for _ in 0..8 {
        let mut flipped = false;
        // What all bins have in common is the base's error, as far as that may go.
        let (mut sum, mut weight) = (0.0, 0.0);
        for j in (0..count).filter(|&j| !coupling[j]) {
            // Neighbours share their noise: each counts a part.
            sum += INDEPENDENT * window.weight[j] * (window.share[j] - model[j]);
            weight += INDEPENDENT * window.weight[j];
        }
        common = sum / (weight + 1.0 / (window.common_sd * window.common_sd));
        for j in 0..count {
            // Change of misfit if this bin were split instead of cut.
            let sign = if cut[j] { -1.0 } else { 1.0 };
            let mut change = 0.0;
            for (i, k) in kernel.iter().enumerate() {
                let n = j as isize + i as isize - reach;
                if n < 0 || n >= count as isize || coupling[n as usize] {
                    continue;
                }
                let n = n as usize;
                let off = window.share[n] - common - model[n];
                let after = off - sign * k;
                change += 0.5 * window.weight[n] * (after * after - off * off);
            }
            // `evidence`: log odds for split against cut.
            let evidence = INDEPENDENT * if cut[j] { -change } else { change };
            let like = |n: usize| {
                if coupling[n] {
                    0.0
                } else if cut[n] {
                    -ALIKE
                } else {
                    ALIKE
                }
            };
            let neighbours = if j > 0 { like(j - 1) } else { 0.0 }
                + if j + 1 < count { like(j + 1) } else { 0.0 };
            gain[j] = evidence + odds[j] + neighbours;
            let want_cut = gain[j] < 0.0 && at[j] == NEVER;
            if want_cut != cut[j] {
                cut[j] = want_cut;
                flipped = true;
                for (i, k) in kernel.iter().enumerate() {
                    let n = j as isize + i as isize - reach;
                    if n >= 0 && n < count as isize {
                        model[n as usize] += if want_cut { *k } else { -*k };
                    }
                }
            }
        }
        if !flipped {
            break;
        }
    }
    let cost: f64 = (0..count)
        .filter(|&j| !coupling[j])
        .map(|j| 0.5 * window.weight[j] * (window.share[j] - common - model[j]).powi(2))
        .sum();
    (
        cost + 0.5 * (common / window.common_sd).powi(2),
        gain.iter()
            .map(|g| 1.0 / (1.0 + (-g.clamp(-30.0, 30.0)).exp()))
            .collect(),
    )
}

/// What is told of a probability found: bins share errors of base and law that the search takes for their own, so it
/// is surer than it ought to be.
fn told(p: f64) -> f64 {
    let odds = (TEMPER * logit(p)).min(TOLD_MAX);
    1.0 / (1.0 + (-odds).exp())
}

fn logit(p: f64) -> f64 {
    (p.clamp(1e-6, 1.0 - 1e-6) / (1.0 - p.clamp(1e-6, 1.0 - 1e-6))).ln()
}

#[cfg(test)]
mod tests {
    use super::super::drag_model::BasePrior;
    use super::super::ledger::{Bins, Ledger};
    use super::*;

    #[test]
    fn a_bin_that_hardly_any_stroke_reached_is_not_split_whatever_its_drag() {
        let bins = Bins {
            top: 100.0,
            step: 0.1,
            count: 40,
            inside: (10, 40),
        };
        let ledger = Ledger {
            bins,
            rows: Vec::new(),
            cutters: Vec::new(),
        };
        let input = FitInput {
            ledger: &ledger,
            engaged: &[],
            coupling: &[false; 40],
            wheels: 2.0,
            base_prior: BasePrior {
                mean: 100.0,
                shared_sd: 60.0,
                own_sd: 60.0,
            },
            amplitude_prior: (500.0, 0.3),
            flank_sd: 50.0,
        };
        // Nothing of the cut's drag is left in the upper half, of which the first metre lies beyond the interval.
        let share: Vec<f64> = (0..40).map(|j| f64::from(u8::from(j >= 20))).collect();
        let found = |passes_beyond: f64| {
            let mut window = WindowShare::of(share.clone(), 100.0);
            window.passes[..10].fill(passes_beyond);
            let windows = [window.clone(), window];
            find(&input, &windows, |_| -1.0, None)
        };
        let (often, hardly) = (found(100.0), found(20.0));
        // From the first row of the first window on, and never where the wall holds.
        assert!((13..15).all(|j| often.since[j] == 0) && (25..40).all(|j| often.since[j] == NEVER));
        assert!((0..9).all(|j| hardly.since[j] == NEVER));
        for j in 0..9 {
            assert_ne!(often.at[j], NEVER, "bin {j}");
            assert_eq!(hardly.at[j], NEVER, "bin {j}");
            assert!(hardly.probability[j] < 0.05, "bin {j}");
        }
        // Away from bins that hold: the wheels of a tool lie over some decimetres.
        for j in 13..15 {
            assert!(often.probability[j] > 0.9, "bin {j}");
            assert!(hardly.probability[j] > 0.9, "bin {j}");
        }
    }
}
