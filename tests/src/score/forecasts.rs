//! Strokes left as they were told while the job ran, against how many it took.
//!
//! Most jobs end before every bin of a joint is split.

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

/// Part of the joints that were done by the strokes told for them.
///
/// A record that ends first says only that its joint was not done by then. To leave such joints out would favour the
/// quick ones, to leave out what was told for later than the end the slow ones; so each counts until its record ends.
/// *Source*: E. L. Kaplan and P. Meier, "Nonparametric estimation from incomplete observations", J. Am. Stat. Assoc. 53
/// (1958), of strokes taken over strokes told.
pub fn done_by(forecasts: &[Forecast], strokes: impl Fn(&Forecast) -> f64) -> Option<f64> {
    // Over what was told; done there or no longer on record.
    let mut ends: Vec<(f64, bool)> = (forecasts.iter())
        .map(|f| {
            (
                f.took.unwrap_or(f.made) / strokes(f).max(0.5),
                f.took.is_some(),
            )
        })
        .collect();
    // Of those that end together the ones done first.
    ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
    let mut open = 1.0;
    for (i, (_, done)) in ends.iter().enumerate().take_while(|(_, end)| end.0 <= 1.0) {
        if *done {
            open *= 1.0 - 1.0 / (ends.len() - i) as f64;
        }
    }
    (!ends.is_empty()).then_some(1.0 - open)
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
    fn what_a_record_does_not_reach_counts_until_its_end() {
        let of = |took, made| Forecast {
            took,
            told: (40.0, 90.0),
            made,
        };
        let half = |forecasts: &[Forecast]| done_by(forecasts, |f| f.told.0);
        let known = [of(Some(30.0), 60.0), of(Some(50.0), 60.0)];
        assert_eq!(half(&known), Some(0.5));
        // Done later than told, on a record that ends with it.
        assert_eq!(half(&[of(Some(50.0), 50.0)]), Some(0.0));
        // And done sooner than told.
        assert_eq!(half(&[of(Some(30.0), 30.0)]), Some(1.0));
        // Not on record for long enough to say anything of the other two.
        let with = [of(None, 10.0), of(Some(30.0), 60.0), of(Some(50.0), 60.0)];
        assert_eq!(half(&with), Some(0.5));
        // Left when one of the two that remained was done.
        let with = [of(Some(20.0), 60.0), of(None, 25.0), of(Some(30.0), 60.0)];
        assert_eq!(half(&with), Some(1.0));
        assert_eq!(half(&[]), None);
    }
}
