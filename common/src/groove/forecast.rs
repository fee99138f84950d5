//! Strokes left, joint by joint.
//!
//! A joint is done when its last bin splits, so the forecast is of a maximum: the shared unknown
//! moves all bins together (with the doubt in the law that made it), the local ones spread them. Both
//! are sampled on a fixed grid of quantiles (no randomness), and the median and the 90 % quantile of
//! the maximum are given.

use super::drag_model::{DragFit, NEVER};
use super::ledger::{Ledger, Row};
use super::outlook;
use super::posterior::{Belief, LAW_SD, normal_cdf, normal_quantile};
use super::through::Through;
use crate::job::Job;
use crate::result::{GrooveBin, Joint};
use crate::snapshot::Outlook;

/// Quantiles of the shared unknown.
const SHARED: usize = 15;
/// Draws of the local unknowns for each.
const LOCAL: usize = 8;
/// Bins that share one local unknown.
const ALIKE: usize = 2;
/// Spread of the places that hold out over that of all: the last ones are not the tail of a normal distribution (both
/// benches; `forecast_done_by_p50` and `_p90` of the scoreboard).
const HOLD_OUT: f64 = 1.1;
/// Standard deviation of the logarithm of that: how far the last places are spread is in doubt itself.
const HOLD_OUT_LN_SD: f64 = 0.4;
/// Strokes that a bin must have been seen with for its own rate of passes to count half.
const RATE_STROKES: f64 = 6.0;
/// More strokes than this is "cannot be told".
const STROKES_MAX: f64 = 20_000.0;

/// Joints within the interval, with what is left to do and what going on brings.
pub fn joints(
    ledger: &Ledger,
    job: &Job,
    fit: Option<&DragFit>,
    belief: &Belief,
    through: &Through,
    bins: &[GrooveBin],
    engaged: &[bool],
) -> (Vec<Joint>, Vec<Outlook>) {
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    let mut edges = vec![top];
    edges.extend(
        job.couplings
            .iter()
            .map(|c| c.si())
            .filter(|c| *c > top && *c < bottom),
    );
    edges.push(bottom);
    let of_all = Pace::of(ledger, engaged, fit, job);
    let stroke_s = outlook::stroke_s(ledger, engaged);
    let wall_mm = job.tubular.wall.as_millimetres();
    edges
        .windows(2)
        .map(|e| {
            let members: Vec<usize> = (0..bins.len())
                .filter(|&j| {
                    let middle = ledger.bins.middle(j);
                    middle >= e[0] && middle < e[1] && !bins[j].coupling
                })
                .collect();
            let pace = of_all.over(ledger, engaged, &members);
            let outlook =
                outlook::outlook(&members, fit, belief, through, &pace, stroke_s, wall_mm);
            (
                joint(e[0], e[1], &members, fit, belief, through, bins, &pace),
                outlook,
            )
        })
        .unzip()
}

fn joint(
    top: f64,
    bottom: f64,
    members: &[usize],
    fit: Option<&DragFit>,
    belief: &Belief,
    through: &Through,
    bins: &[GrooveBin],
    pace: &Pace,
) -> Joint {
    let n = members.len().max(1) as f64;
    let split = members
        .iter()
        .map(|&j| bins[j].through_probability)
        .sum::<f64>()
        / n;
    let least = members
        .iter()
        .map(|&j| bins[j].depth_mm)
        .fold(f64::MAX, f64::min);
    let is_open = |j: usize| through.at[j] == NEVER;
    let left = fit.and_then(|f| strokes_left(members, f, belief, through, pace, is_open));
    Joint {
        top_m: top,
        bottom_m: bottom,
        split_fraction: split,
        min_depth_mm: if members.is_empty() { 0.0 } else { least },
        strokes_left_p50: left.map(|l| l.0),
        strokes_left_p90: left.map(|l| l.1),
    }
}

/// How fast passes come.
pub(super) struct Pace {
    /// Strokes made with the cutter out, over part of a joint as that part of one.
    strokes: f64,
    /// Wheel passes (counted as up passes) that one stroke over a bin adds with the wheels as they are now.
    per_stroke: f64,
}

impl Pace {
    pub(super) fn of(ledger: &Ledger, engaged: &[bool], fit: Option<&DragFit>, job: &Job) -> Self {
        let (down, wheels) = fit.map_or((0.75, 1.0), |f| (f.bite.down, f.bite.wheels.newest()));
        let (mut up, mut strokes) = (0.0, 0.0);
        for (row, _) in ledger.rows.iter().zip(engaged).filter(|(_, e)| **e) {
            strokes += 1.0;
            up += f64::from(u8::from(row.up));
        }
        let part = if strokes > 0.0 { up / strokes } else { 0.5 };
        Self {
            strokes,
            per_stroke: f64::from(job.cutter.wheels) * wheels * (part + (1.0 - part) * down),
        }
    }

    /// The same of strokes over the bins `members` only: a long interval may be cut in parts, one after another.
    fn over(&self, ledger: &Ledger, engaged: &[bool], members: &[usize]) -> Self {
        let (Some(&first), Some(&last)) = (members.first(), members.last()) else {
            return Self { ..*self };
        };
        let bins = ledger.bins;
        let top = bins.top + first as f64 * bins.step;
        let bottom = bins.top + (last + 1) as f64 * bins.step;
        let part = |row: &Row| {
            let over = row.bottom.min(bottom) - row.top.max(top);
            (over / (bottom - top)).max(0.0)
        };
        let cutting = ledger.rows.iter().zip(engaged).filter(|(_, out)| **out);
        Self {
            strokes: cutting.map(|(row, _)| part(row)).sum(),
            ..*self
        }
    }

    /// That of strokes that all go over a stretch, whatever those so far did, with wheels of which one counts so many: as
    /// where none has shown yet how far it reaches.
    pub(super) fn of_whole_strokes(self, counts: f64) -> Self {
        Self {
            strokes: 0.0,
            per_stroke: self.per_stroke * counts,
        }
    }

    /// Wheel passes that a stroke adds to a bin with so many: near the turning points some strokes
    /// only reach it.
    pub(super) fn at(&self, passes: f64) -> f64 {
        let seen = (passes + RATE_STROKES * self.per_stroke) / (self.strokes + RATE_STROKES);
        seen.min(self.per_stroke)
    }
}

/// Spread of the places that hold out over that of all, of one draw.
fn holds_out(draw: usize) -> f64 {
    HOLD_OUT * (HOLD_OUT_LN_SD * normal_quantile((draw as f64 + 0.5) / LOCAL as f64)).exp()
}

pub(super) fn strokes_left(
    members: &[usize],
    fit: &DragFit,
    belief: &Belief,
    through: &Through,
    pace: &Pace,
    is_open: impl Fn(usize) -> bool,
) -> Option<(f64, f64)> {
    if members.is_empty() || pace.per_stroke <= 0.0 {
        return None;
    }
    let open: Vec<usize> = members.iter().copied().filter(|&j| is_open(j)).collect();
    if open.is_empty() {
        return Some((0.0, 0.0));
    }
    let mut longest = Vec::with_capacity(SHARED * LOCAL);
    let shared_sd = belief.global.1.hypot(LAW_SD);
    for s in 0..SHARED {
        let m = belief.global.0 + shared_sd * normal_quantile((s as f64 + 0.5) / SHARED as f64);
        for draw in 0..LOCAL {
            let mut most: f64 = 0.0;
            let hold_out = holds_out(draw);
            for &j in &open {
                // Golden-ratio sequence: even over draws and blocks, without randomness.
                let key = (j / ALIKE) as f64 * 0.618_034
                    + draw as f64 / LOCAL as f64
                    + s as f64 * 0.381_966;
                let u = key.fract().clamp(0.01, 0.99);
                let passes = through.passes[j];
                let ln_x = fit.law.x(passes).max(1e-9).ln();
                let sd = (belief.bins[j].reach.1.powi(2) - belief.global.1.powi(2))
                    .max(0.02f64.powi(2))
                    .sqrt();
                let limit = normal_cdf((-ln_x - m) / sd);
                if limit < 1e-6 {
                    // With this shared unknown the bin would have split already.
                    most = most.max(1.0 - through.probability[j]);
                    continue;
                }
                let split = through.probability[j];
                if u < split {
                    continue;
                }
                let harder = (u - split) / (1.0 - split);
                let reach = m + hold_out * sd * normal_quantile((harder * limit).max(1e-4));
                let need = fit.law.passes_to((-reach).exp()) - passes;
                most = most.max(need / pace.at(passes));
            }
            longest.push(most.min(STROKES_MAX));
        }
    }
    longest.sort_by(f64::total_cmp);
    let at = |p: f64| longest[((longest.len() as f64 * p) as usize).min(longest.len() - 1)];
    let (half, most) = (at(0.5).ceil(), at(0.9).ceil());
    (most < STROKES_MAX).then_some((half, most))
}
