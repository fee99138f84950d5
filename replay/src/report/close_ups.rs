//! Stalls and alarms that are drawn close: which ones, and over what time.

use super::traces::Span;
use crate::units_shown::clock;
use kerfwatch::result::{RunResult, State};

/// Points of a close-up.
pub(super) const CLOSE_POINTS: usize = 300;
/// Close-ups shown.
pub(crate) const CLOSE_UPS_MAX: usize = 8;
/// Time shown before and after.
const AROUND_S: f64 = 15.0;
/// Stalls and alarms within so much of each other are one event, s.
const SAME_EVENT_S: f64 = 5.0;

/// A stall or alarm seen close.
#[derive(Debug, Clone)]
pub(crate) struct CloseUp {
    pub(crate) title: String,
    /// The event.
    pub(crate) event: (f64, f64),
    /// What is shown.
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) tension: Vec<Span>,
    pub(crate) line_m: Vec<Span>,
}

impl CloseUp {
    /// Line paid out between the shallowest and the deepest moment shown, m.
    pub(crate) fn line_moved_m(&self) -> f64 {
        let known = || self.line_m.iter().filter_map(|s| s.some());
        let low = known().map(|s| s.low).fold(f64::INFINITY, f64::min);
        let high = known().map(|s| s.high).fold(f64::NEG_INFINITY, f64::max);
        (high - low).max(0.0)
    }

    /// Middle of point `i`, s.
    pub(crate) fn time(&self, i: usize) -> f64 {
        self.from_s + (i as f64 + 0.5) / CLOSE_POINTS as f64 * (self.to_s - self.from_s)
    }
}

/// Stalls and alarms that belong together.
struct Event {
    start_s: f64,
    end_s: f64,
    /// The greatest of its parts.
    weight: f64,
    /// What began when.
    parts: Vec<(String, f64)>,
}

impl Event {
    /// "Stall alarm at 2:21:21, stall at 2:21:15": alarms first, each kind with its first time.
    fn title(&self) -> String {
        let mut kinds: Vec<(&str, f64, usize)> = Vec::new();
        for (kind, at) in &self.parts {
            match kinds.iter_mut().find(|k| k.0 == kind) {
                Some(known) => known.2 += 1,
                None => kinds.push((kind, *at, 1)),
            }
        }
        kinds.sort_by_key(|(kind, ..)| !kind.ends_with("alarm"));
        let words = kinds.iter().map(|(kind, at, n)| match n {
            1 => format!("{kind} at {}", clock(*at)),
            n => format!("{kind} at {} and {} more", clock(*at), n - 1),
        });
        words.collect::<Vec<_>>().join(", ")
    }
}

/// All of them in order of time.
fn events(result: &RunResult) -> Vec<Event> {
    let (_, end) = result.span_s();
    let alarms = result
        .alarms
        .iter()
        .filter(|a| matches!(a.kind.as_str(), "overpull" | "stall" | "approaching"))
        .map(|a| {
            // An alarm weighs more than any stall without one.
            let weight = a.peak_n.unwrap_or(0.0) + 1e6;
            let title = format!("{} alarm", a.kind);
            (a.raised_s, a.cleared_s.unwrap_or(end), title, weight)
        });
    let stalls = result
        .intervals
        .iter()
        .filter(|i| i.state == State::Stalled)
        .map(|i| (i.start_s, i.end_s, "stall".to_owned(), i.end_s - i.start_s));
    let mut parts: Vec<(f64, f64, String, f64)> = alarms.chain(stalls).collect();
    parts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut events: Vec<Event> = Vec::new();
    for (start_s, end_s, kind, weight) in parts {
        match events.last_mut() {
            Some(same) if start_s < same.end_s + SAME_EVENT_S => {
                same.end_s = same.end_s.max(end_s);
                same.weight = same.weight.max(weight);
                same.parts.push((kind, start_s));
            }
            _ => events.push(Event {
                start_s,
                end_s,
                weight,
                parts: vec![(kind, start_s)],
            }),
        }
    }
    events
}

/// The events with the highest priority, in order of time, and how many more there are.
pub(super) fn close_ups(result: &RunResult) -> (Vec<CloseUp>, usize) {
    let mut chosen = events(result);
    chosen.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let not_shown = chosen.len().saturating_sub(CLOSE_UPS_MAX);
    chosen.truncate(CLOSE_UPS_MAX);
    chosen.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let list = chosen
        .into_iter()
        .map(|event| CloseUp {
            title: event.title(),
            event: (event.start_s, event.end_s),
            from_s: event.start_s - AROUND_S,
            // A stall that lasts an hour is not shown to its end.
            to_s: event.end_s.min(event.start_s + 120.0) + AROUND_S,
            tension: vec![Span::EMPTY; CLOSE_POINTS],
            line_m: vec![Span::EMPTY; CLOSE_POINTS],
        })
        .collect();
    (list, not_shown)
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::{AlarmRecord, Interval};

    #[test]
    fn one_event_is_drawn_once_and_told_by_the_times_of_the_table() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let stalled = |start_s, end_s| Interval {
            state: State::Stalled,
            start_s,
            end_s,
            depth_m: None,
        };
        let alarm = |raised_s: f64, peak_n| AlarmRecord {
            kind: "stall".to_owned(),
            about: None,
            level: "high".to_owned(),
            raised_s,
            cleared_s: Some(raised_s + 1.0),
            peak_n: Some(peak_n),
        };
        // Two alarms more than five seconds apart, with the stalls of both between them.
        result.intervals = vec![stalled(100.0, 104.5), stalled(106.0, 111.5)];
        result.alarms = vec![alarm(104.0, 2520.0), alarm(111.0, 2524.0)];
        let (shown, not_shown) = close_ups(&result);
        assert_eq!((shown.len(), not_shown), (1, 0));
        assert_eq!(
            shown[0].title,
            "stall alarm at 0:01:44 and 1 more, stall at 0:01:40 and 1 more"
        );
        assert_eq!(shown[0].event, (100.0, 112.0));
    }
}
