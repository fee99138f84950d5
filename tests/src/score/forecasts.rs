//! Strokes left as they were told while the job ran, against how many it took.
//!
//! Most jobs end before every bin of a joint is split. To look only at joints that were finished would favour the quick
//! ones, so what the 50 and 90 % told are worth is asked of all whose time fell within the record, finished or not.

use super::estimate::Shown;
use super::truth::Truth;

/// A forecast for one joint at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Strokes it took until every bin of the joint was split, if it was.
    pub took: Option<f64>,
    /// Strokes told, median and 90 %.
    pub told: (f64, f64),
    /// Strokes that were made until the record ended.
    pub made: f64,
}

impl Forecast {
    /// Whether the joint was done by so many strokes; `None` when the record ended before.
    pub fn done_by(&self, strokes: f64) -> Option<bool> {
        (strokes <= self.made).then(|| self.took.is_some_and(|took| took <= strokes))
    }
}

/// Forecasts at the times of the truth's history, but for joints that were done already.
pub fn forecasts(truth: &Truth, shown: &[Shown]) -> Vec<Forecast> {
    let mut out = Vec::new();
    let strokes_between = |from: f64, until: f64| {
        let made = truth.strokes.iter();
        made.filter(|s| from < s.end_s && s.end_s <= until).count() as f64
    };
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
            let done = history.iter().position(|h| split_at(&h.split));
            let (Some(half), Some(most)) = (joint.strokes_left_p50, joint.strokes_left_p90) else {
                continue;
            };
            if members.is_empty() || done.is_some_and(|done| done <= now) {
                continue;
            }
            out.push(Forecast {
                took: done.map(|done| strokes_between(shown.time_s, history[done].time_s)),
                told: (half, most),
                made: strokes_between(shown.time_s, f64::INFINITY),
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_record_does_not_reach_is_not_asked() {
        let told = (40.0, 90.0);
        let of = |took, made| Forecast { took, told, made };
        assert_eq!(of(Some(30.0), 60.0).done_by(40.0), Some(true));
        assert_eq!(of(Some(50.0), 60.0).done_by(40.0), Some(false));
        assert_eq!(of(None, 60.0).done_by(40.0), Some(false));
        assert_eq!(of(None, 60.0).done_by(90.0), None);
    }
}
