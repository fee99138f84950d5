//! Stalls and slack: when they were told, and which were told that were none.

use super::estimate::Estimate;
use super::measure::Tally;
use super::record::Record;
use super::truth::{Interval, Truth};
use kerfwatch::input::{ChannelId, Input};
use kerfwatch::result::State;

/// Adds what there was of stalls and slack.
pub(super) fn held(tally: &mut Tally, record: &Record, estimate: &Estimate) {
    let truth = &record.truth;
    for interval in truth
        .intervals
        .iter()
        .filter(|i| i.end_s - i.start_s >= 2.0)
    {
        match interval.state {
            State::Stalled => {
                let told = Told::of(estimate, interval);
                let lasted = interval.end_s - interval.start_s;
                if told.is_due || told.by.is_some_and(|(time, _)| time <= lasted) {
                    let (time, line) = told.by.unwrap_or((f64::INFINITY, f64::INFINITY));
                    tally.stall_delay.push(time);
                    tally.stall_line.push(line);
                }
            }
            State::Slack => {
                let told = Told::of(estimate, interval);
                let time = told.by.map_or(f64::INFINITY, |by| by.0);
                tally.slack_delay.push(time);
            }
            _ => {}
        }
    }
    let pulled = Pulled::new(record);
    tally.false_stalls = false_spells(truth, estimate, State::Stalled)
        .filter(|said| !pulled.stood(truth, said))
        .count() as u64;
    tally.false_slacks = false_spells(truth, estimate, State::Slack).count() as u64;
}

/// When a stall or slack was told.
struct Told {
    /// After so long, s, and so much line, m.
    by: Option<(f64, f64)>,
    /// It lasted until both 2 s and 1.5 m of line had gone by: what breaks loose before need not be told.
    is_due: bool,
}

impl Told {
    fn of(estimate: &Estimate, interval: &Interval) -> Self {
        let watched = estimate.watched.iter();
        let mut watched = watched.filter(|w| w.time_s >= interval.start_s).peekable();
        let first = watched.peek().map_or(0.0, |w| w.line_m);
        let mut told = Self {
            by: None,
            is_due: false,
        };
        let end = interval.end_s.max(interval.start_s + 15.0);
        for w in watched.take_while(|w| w.time_s <= end) {
            let (time, line) = (w.time_s - interval.start_s, (w.line_m - first).abs());
            told.is_due |= w.time_s < interval.end_s && time >= 2.0 && line >= 1.5;
            if w.state == interval.state {
                told.by = Some((time, line));
                break;
            }
        }
        told
    }
}

/// Spells claimed of a state with none of it within two seconds.
fn false_spells<'a>(
    truth: &'a Truth,
    estimate: &'a Estimate,
    state: State,
) -> impl Iterator<Item = &'a kerfwatch::result::Interval> {
    let said = estimate.result.intervals.iter();
    said.filter(move |said| said.state == state)
        .filter(move |said| {
            let mut real = truth.intervals.iter().filter(|i| i.state == state);
            !real.any(|i| i.start_s < said.end_s + 2.0 && i.end_s > said.start_s - 2.0)
        })
}

/// Line paid out, each second.
struct Pulled {
    line_m: Vec<f64>,
}

impl Pulled {
    fn new(record: &Record) -> Self {
        let mut line_m: Vec<f64> = Vec::new();
        record.feed(|time, input| {
            if let Input::Reading {
                channel: ChannelId::Depth,
                value,
                ..
            } = input
            {
                while (line_m.len() as f64) <= time {
                    line_m.push(*value);
                }
            }
        });
        Self { line_m }
    }

    /// The tool truly stood still for two seconds or more while line was pulled on: it stuck, whatever truth
    /// calls that, and to say so is not wrong. Nor is it asked for: truths differ in what they call it.
    fn stood(&self, truth: &Truth, said: &kerfwatch::result::Interval) -> bool {
        let depth = |k: usize| {
            truth
                .tool
                .depth_m
                .get((k as f64 / truth.tool.every_s).round() as usize)
        };
        let last = (said.end_s.ceil() as usize).min(self.line_m.len().saturating_sub(1));
        (said.start_s as usize..last.saturating_sub(1)).any(|k| match (depth(k), depth(k + 2)) {
            (Some(a), Some(b)) => {
                (a - b).abs() < 0.02 && self.line_m[k] - self.line_m[k + 2] > 0.15
            }
            _ => false,
        })
    }
}
