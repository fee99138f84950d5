//! Where the tool hung: stalls and slack with their depth; many of them by place.

use crate::units_shown::{Units, clock, duration, times};
use kerfwatch::result::{Interval, RunResult, State};

/// More than so many are told by place.
const EACH_UP_TO: usize = 8;
/// Lines at most.
const SHOWN: usize = 12;
/// Of one place are those within so much of the first of it, m.
const PLACE_M: f64 = 0.5;

/// "going up" of a stall, which is a pull, and "going down" of slack.
fn way(state: State) -> &'static str {
    match state {
        State::Slack => "going down",
        _ => "going up",
    }
}

/// Highest tension that an alarm tells of a stall, lowest of slack, N.
fn told_n(result: &RunResult, held: &Interval) -> Option<f64> {
    let slack = held.state == State::Slack;
    let kinds: &[&str] = match slack {
        true => &["slack"],
        false => &["stall", "overpull"],
    };
    let peaks = (result.alarms.iter())
        .filter(|a| kinds.contains(&a.kind.as_str()))
        .filter(|a| (held.start_s..=held.end_s).contains(&a.raised_s))
        .filter_map(|a| a.peak_n);
    match slack {
        true => peaks.min_by(f64::total_cmp),
        false => peaks.max_by(f64::total_cmp),
    }
}

/// One line for each, without indent: "stall at 1502.3 m, 2.3 s, from 0:06:00, going up, peak 2624 N". Where there are
/// many, one for each place, deepest last.
pub fn held_lines(result: &RunResult, units: Units) -> Vec<String> {
    let held: Vec<&Interval> = (result.intervals.iter())
        .filter(|i| matches!(i.state, State::Stalled | State::Slack))
        .collect();
    let mut lines: Vec<String> = match held.len() {
        0..=EACH_UP_TO => held.iter().map(|i| one(result, i, units)).collect(),
        _ => (places(&held).iter())
            .map(|place| of_place(result, place, units))
            .collect(),
    };
    let more = lines.len().saturating_sub(SHOWN);
    if more > 0 {
        lines.truncate(SHOWN);
        lines.push(format!("and {more} more places (see --json)"));
    }
    lines
}

fn word(state: State) -> &'static str {
    match state {
        State::Slack => "slack",
        _ => "stall",
    }
}

fn place_of(depth_m: Option<f64>, units: Units) -> String {
    depth_m.map_or_else(
        || "at a depth that is not known".to_owned(),
        |m| format!("at {}", units.depth().show(m)),
    )
}

fn tension(result: &RunResult, held: &[&Interval], units: Units) -> String {
    let all = held.iter().filter_map(|i| told_n(result, i));
    let (word, most) = match held.first().map(|i| i.state) {
        Some(State::Slack) => ("lowest", all.min_by(f64::total_cmp)),
        _ => ("peak", all.max_by(f64::total_cmp)),
    };
    most.map_or_else(String::new, |n| {
        format!(", {word} {}", units.force().show(n))
    })
}

fn one(result: &RunResult, held: &Interval, units: Units) -> String {
    format!(
        "{} {}, {}, from {}, {}{}",
        word(held.state),
        place_of(held.depth_m, units),
        duration(held.end_s - held.start_s),
        clock(held.start_s),
        way(held.state),
        tension(result, &[held], units)
    )
}

/// Those of one kind and place together, top down; those of unknown depth last.
fn places<'r>(held: &[&'r Interval]) -> Vec<Vec<&'r Interval>> {
    let mut sorted = held.to_vec();
    let key = |i: &Interval| i.depth_m.unwrap_or(f64::INFINITY);
    sorted.sort_by(|a, b| key(a).total_cmp(&key(b)));
    let mut places: Vec<Vec<&Interval>> = Vec::new();
    for i in sorted {
        let here = places.iter_mut().rev().find(|place| {
            let same = |first: &Interval| match (first.depth_m, i.depth_m) {
                (Some(a), Some(b)) => b - a <= PLACE_M,
                (a, b) => a == b,
            };
            (place.first()).is_some_and(|first| first.state == i.state && same(first))
        });
        match here {
            Some(place) => place.push(i),
            None => places.push(vec![i]),
        }
    }
    places
}

fn of_place(result: &RunResult, place: &[&Interval], units: Units) -> String {
    if let [only] = place {
        return one(result, only, units);
    }
    let state = place.first().map_or(State::Stalled, |i| i.state);
    let length = |i: &Interval| i.end_s - i.start_s;
    let whole: f64 = place.iter().map(|i| length(i)).sum();
    let longest = place.iter().max_by(|a, b| length(a).total_cmp(&length(b)));
    let first = place
        .iter()
        .map(|i| i.start_s)
        .fold(f64::INFINITY, f64::min);
    let depths = || place.iter().filter_map(|i| i.depth_m);
    let known = depths().count() as f64;
    let middle = (known > 0.0).then(|| depths().sum::<f64>() / known);
    format!(
        "{} {}, {}, {} in all, first at {}, longest {} at {}, {}{}",
        word(state),
        place_of(middle, units),
        times(place.len()),
        duration(whole),
        clock(first),
        duration(longest.map_or(0.0, |i| length(i))),
        clock(longest.map_or(0.0, |i| i.start_s)),
        way(state),
        tension(result, place, units)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::AlarmRecord;

    fn held(state: State, start_s: f64, seconds: f64, depth_m: Option<f64>) -> Interval {
        Interval {
            state,
            start_s,
            end_s: start_s + seconds,
            depth_m,
        }
    }

    fn result(intervals: Vec<Interval>) -> RunResult {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.intervals = intervals;
        result
    }

    #[test]
    fn few_are_told_one_by_one_with_place_and_peak() {
        let mut result = result(vec![
            held(State::Stalled, 360.0, 2.3, Some(1_502.34)),
            held(State::Free, 363.0, 10.0, None),
            held(State::Slack, 400.0, 5.0, None),
        ]);
        result.alarms = vec![AlarmRecord {
            kind: "stall".to_owned(),
            about: None,
            level: "low".to_owned(),
            raised_s: 361.0,
            cleared_s: Some(363.0),
            peak_n: Some(2_624.0),
        }];
        assert_eq!(
            held_lines(&result, Units::Metric),
            [
                "stall at 1502.3 m, 2.3 s, from 0:06:00, going up, peak 2624 N",
                "slack at a depth that is not known, 5.0 s, from 0:06:40, going down"
            ]
        );
    }

    #[test]
    fn many_are_told_by_place() {
        let mut list: Vec<Interval> = (0..8_u32)
            .map(|k| {
                let depth = 1_500.0 + 0.05 * f64::from(k);
                held(State::Stalled, 100.0 * f64::from(k), 2.0, Some(depth))
            })
            .collect();
        list.push(held(State::Stalled, 900.0, 7.0, Some(1_510.0)));
        let lines = held_lines(&result(list), Units::Metric);
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert!(
            lines[0].starts_with("stall at 1500.2 m, 8 times, 16.0 s in all, first at 0:00:00"),
            "{lines:?}"
        );
        assert!(lines[1].starts_with("stall at 1510.0 m, 7.0 s, from 0:15:00"));
    }
}
