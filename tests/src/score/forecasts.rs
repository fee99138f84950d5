//! Strokes left as they were told while the job ran, against how many it took.

use super::estimate::Shown;
use super::truth::Truth;

/// A forecast that came to its end within the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Strokes it took until every bin of the joint was split.
    pub took: f64,
    /// Strokes told, median and 90 %.
    pub told: (f64, f64),
}

/// Forecasts whose joint was split within the record, for the times of the truth's history. A joint that
/// was done already is no forecast, nor is one that the crew left before.
pub fn forecasts(truth: &Truth, shown: &[Shown]) -> Vec<Forecast> {
    let mut out = Vec::new();
    for (now, shown) in shown.iter().enumerate() {
        for joint in &shown.joints {
            let inside = |k: &usize| {
                let bin = &truth.groove[*k];
                let middle = 0.5 * (bin.top_m + bin.bottom_m);
                !bin.coupling && joint.top_m <= middle && middle < joint.bottom_m
            };
            let members: Vec<usize> = (0..truth.groove.len()).filter(inside).collect();
            let split_at = |split: &[f64]| members.iter().all(|k| split[*k] >= 0.5);
            let history = &truth.groove_history;
            let Some(done) = history.iter().position(|h| split_at(&h.split)) else {
                continue;
            };
            let (Some(half), Some(most)) = (joint.strokes_left_p50, joint.strokes_left_p90) else {
                continue;
            };
            if members.is_empty() || done <= now {
                continue;
            }
            let (from, until) = (shown.time_s, history[done].time_s);
            let between = |s: &&super::truth::Stroke| from < s.end_s && s.end_s <= until;
            out.push(Forecast {
                took: truth.strokes.iter().filter(between).count() as f64,
                told: (half, most),
            });
        }
    }
    out
}
