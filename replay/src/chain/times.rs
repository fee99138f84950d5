//! From the joined clock, on which the core sees the runs, back to when it was.
//!
//! The core sees pauses of a minute to an hour (`feed.rs`); people want the time since the start of the first
//! run. Within a run both clocks differ by a constant; what falls into a pause is kept inside it.

use kerfwatch::result::{Interval, RunResult, State, ToolTrack};
use kerfwatch::time::{Nanos, seconds};

/// More points than this make no file that anybody reads: over longer pauses the track gets coarser.
const TRACK_POINTS: f64 = 1e6;
/// The core tells states by tenths of a second: as much of a run may lie beyond its ends.
const EDGE_S: f64 = 0.2;

/// More than rounding makes of a time: the start of a run is of that run.
const ROUNDING_S: f64 = 1e-6;

/// Time between the end of a run and the start of the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pause {
    /// True length; `None` where not both runs know their universal times: then it is taken as on the joined clock.
    pub(super) true_ns: Option<Nanos>,
    /// On the joined clock.
    pub(super) joined_ns: Nanos,
}

/// One run on both clocks, ns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placed {
    /// Before it; `None` for the first.
    pub(super) pause: Option<Pause>,
    pub(super) joined: Nanos,
    pub(super) truly: Nanos,
    /// From its zero to its last input.
    pub(super) length: Nanos,
    /// From its first to its last reading.
    pub(super) recorded: Nanos,
}

impl Placed {
    /// Start and end, s since the start of the first run.
    fn span_s(&self) -> (f64, f64) {
        (
            seconds(self.truly),
            seconds(self.truly.saturating_add(self.length)),
        )
    }
}

/// True time of a time of the joined clock, s.
pub(super) fn true_s(runs: &[Placed], joined_s: f64) -> f64 {
    let after = runs.partition_point(|run| seconds(run.joined) <= joined_s + ROUNDING_S);
    let Some(run) = runs.get(after.saturating_sub(1)) else {
        return joined_s;
    };
    let at = joined_s + seconds(run.truly - run.joined);
    // A pause may be shorter than on the joined clock.
    runs.get(after)
        .map_or(at, |next| at.min(seconds(next.truly)))
}

/// Puts all times of a result of the joined clock right; its duration is what was recorded.
pub(super) fn put_right(result: &mut RunResult, runs: &[Placed]) {
    let right = |time: &mut f64| *time = true_s(runs, *time);
    for stroke in &mut result.strokes {
        right(&mut stroke.start_s);
        right(&mut stroke.end_s);
    }
    for interval in &mut result.intervals {
        right(&mut interval.start_s);
        right(&mut interval.end_s);
    }
    for alarm in &mut result.alarms {
        right(&mut alarm.raised_s);
        alarm.cleared_s.iter_mut().for_each(right);
    }
    for wheels in &mut result.other_wheels {
        right(&mut wheels.at_s);
    }
    result.tool = track(&result.tool, runs);
    result.run.duration_s = runs.iter().map(|run| seconds(run.recorded)).sum();
}

/// The track at the same step, or at a multiple of it, in true time; pauses are unknown.
fn track(joined: &ToolTrack, runs: &[Placed]) -> ToolTrack {
    let end = runs.last().map_or(0.0, |run| run.span_s().1);
    if joined.depth_m.is_empty() || joined.every_s <= 0.0 {
        return joined.clone();
    }
    let every_s = joined.every_s * (end / joined.every_s / TRACK_POINTS).ceil().max(1.0);
    let at = |series: &[Option<f64>], time: f64| {
        let run = runs.iter().rfind(|run| run.span_s().0 <= time)?;
        let place = (time - seconds(run.truly - run.joined)) / joined.every_s;
        let known = time <= run.span_s().1 && place >= 0.0;
        let step = known.then_some(place as usize)?;
        let here = series.get(step).copied().flatten()?;
        let next = series.get(step + 1).copied().flatten();
        Some(next.map_or(here, |next| here + (next - here) * place.fract()))
    };
    let resampled = |series: &[Option<f64>]| {
        let steps = (end / every_s) as usize + 1;
        (0..steps).map(|i| at(series, i as f64 * every_s)).collect()
    };
    ToolTrack {
        every_s,
        depth_m: resampled(&joined.depth_m),
        speed_m_s: resampled(&joined.speed_m_s),
    }
}

/// States without the pauses between runs, which nobody recorded.
pub(super) fn recorded(intervals: &[Interval], runs: &[Placed]) -> Vec<Interval> {
    let within = |interval: &Interval| -> Vec<Interval> {
        if interval.state != State::Unknown {
            return vec![interval.clone()];
        }
        let clipped = runs.iter().map(|run| {
            let (start, end) = run.span_s();
            Interval {
                start_s: interval.start_s.max(start),
                end_s: interval.end_s.min(end),
                ..interval.clone()
            }
        });
        clipped.filter(|i| i.end_s - i.start_s > EDGE_S).collect()
    };
    intervals.iter().flat_map(within).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::time::NANOS_PER_SECOND;

    /// Runs of 100, 50 and 50 s; the second ten hours after the first, the third at once after the second.
    fn runs() -> [Placed; 3] {
        let placed = |pause: Option<(i64, i64)>, joined: i64, truly: i64, length: i64| Placed {
            pause: pause.map(|(truly, joined)| Pause {
                true_ns: Some(truly * NANOS_PER_SECOND),
                joined_ns: joined * NANOS_PER_SECOND,
            }),
            joined: joined * NANOS_PER_SECOND,
            truly: truly * NANOS_PER_SECOND,
            length: length * NANOS_PER_SECOND,
            recorded: length * NANOS_PER_SECOND,
        };
        [
            placed(None, 0, 0, 100),
            placed(Some((36_000, 3600)), 3700, 36_100, 50),
            placed(Some((0, 60)), 3810, 36_150, 50),
        ]
    }

    #[test]
    fn times_of_each_run_are_true_and_pauses_stay_in_order() {
        assert_eq!(true_s(&runs(), 40.1), 40.1);
        for (joined, truly) in [
            (3700.0, 36_100.0),
            (3720.0, 36_120.0),
            // In the pause that was none.
            (3790.0, 36_150.0),
            (3815.0, 36_155.0),
        ] {
            let found = true_s(&runs(), joined);
            assert!((found - truly).abs() < 1e-6, "{found} for {truly}");
        }
    }

    #[test]
    fn track_follows_the_true_times() {
        let joined = ToolTrack {
            every_s: 1.0,
            depth_m: (0..3861).map(|i| Some(f64::from(i))).collect(),
            speed_m_s: vec![None; 3861],
        };
        let found = track(&joined, &runs());
        assert_eq!(found.depth_m.len(), 36_201);
        assert_eq!(found.depth_m[100], Some(100.0));
        assert_eq!(found.depth_m[101], None);
        for (truly, joined) in [(36_110, 3710.0), (36_160, 3820.0)] {
            let depth = found.depth_m[truly].unwrap();
            assert!((depth - joined).abs() < 1e-6, "{depth}");
        }
    }

    #[test]
    fn a_year_between_two_runs_fills_no_disk() {
        let mut runs = runs();
        runs[2].truly += 365 * 86_400 * NANOS_PER_SECOND;
        let joined = ToolTrack {
            every_s: 1.0,
            depth_m: vec![Some(5.0); 3861],
            speed_m_s: vec![None; 3861],
        };
        let found = track(&joined, &runs);
        assert!(found.depth_m.len() <= 1_000_001);
        assert_eq!(found.every_s, 32.0);
        assert_eq!(found.depth_m[1], Some(5.0));
    }

    #[test]
    fn what_nobody_recorded_is_no_state() {
        let interval = |state, start_s, end_s| Interval {
            state,
            start_s,
            end_s,
            depth_m: None,
        };
        let all = [
            interval(State::Free, 0.0, 90.0),
            interval(State::Unknown, 90.0, 36_100.05),
            interval(State::Free, 36_100.05, 36_150.0),
        ];
        let kept = recorded(&all, &runs());
        assert_eq!(kept.len(), 3);
        assert_eq!((kept[1].start_s, kept[1].end_s), (90.0, 100.0));
    }
}
