//! What makes a table as a whole doubtful: a channel that never speaks, another unit, another sign, a clock that
//! does not fit.
//!
//! *Input*: rows as they are used. *Output*: findings with the likely cause; nothing is changed or left out. The
//! table says newtons, metres and seconds and most loggers can write others, so the first thing to go wrong is a
//! factor, and then every figure is that of a cut in which nothing happened. Limits are wide (common practice, no
//! source): a real job between them is never doubted, and pounds of a deep light tool may pass for newtons.

mod beyond;
mod pace;
mod thinned;

use super::samples::Row;
use crate::failure::Finding;
use crate::forecast::weights::Hang;
use crate::units_shown::{clock, duration};
use beyond::Beyond;
use kerfwatch::align::BRIDGE_S;
use kerfwatch::job::{Job, significant};
use kerfwatch::model::Motion;
use kerfwatch::time::{Nanos, seconds};
use kerfwatch::units::{METRES_PER_FOOT, NEWTONS_PER_LBF};
use pace::Pace;
use std::fmt::Display;
use thinned::Thinned;

/// Line may lie so far beyond the interval in a job that cuts it, m.
const BESIDE_M: f64 = 150.0;
/// Tension with the tool in the interval over its static weight, between these: friction and cutting explain it.
const TENSION_OVER_STATIC: (f64, f64) = (0.4, 4.0);
/// No crew strokes for longer in one run, s.
const RUN_MAX_S: f64 = 72.0 * 3600.0;
/// A longer silence may be a table that was left out, s.
const SILENCE_MAX_S: f64 = 300.0;
/// No winch pays out line so fast, m/s.
const LINE_SPEED_MAX: f64 = 30.0;
/// Fewer readings than this say nothing about units.
const READINGS_MIN: u64 = 20;

/// One column.
#[derive(Debug, Default)]
struct Column {
    values: Thinned,
    /// Times between readings, s.
    steps: Thinned,
    /// How fast it changes from one reading to the next, per second.
    rates: Thinned,
    newest: Option<(Nanos, f64)>,
}

impl Column {
    fn take(&mut self, at: Nanos, value: f64) {
        self.values.push(value);
        if let Some((newest, before)) = self.newest {
            let step = seconds(at.saturating_sub(newest));
            self.steps.push(step);
            if step > 0.0 && step < BRIDGE_S {
                self.rates.push(((value - before) / step).abs());
            }
        }
        self.newest = Some((at, value));
    }
}

/// Looks at every row of a table.
#[derive(Debug)]
pub(super) struct Doubts {
    interval_m: (f64, f64),
    load: Column,
    /// Depths that the well has.
    depth: Column,
    /// Depths beyond it: nearly all of a table in millimetres.
    depth_beyond: Column,
    line: Beyond,
    well: Beyond,
    pace: Pace,
    /// Tensions with the tool in or near the interval.
    at_work: Thinned,
    near: bool,
    span: Option<(Nanos, Nanos)>,
    /// The longest silence of both: when it began, and how long it was.
    silence: (Nanos, Nanos),
}

impl Doubts {
    pub(super) fn new(job: &Job) -> Self {
        Self {
            interval_m: (job.info.interval_top.si(), job.info.interval_bottom.si()),
            load: Column::default(),
            depth: Column::default(),
            depth_beyond: Column::default(),
            line: Beyond::line(job),
            well: Beyond::well(job),
            pace: Pace::default(),
            at_work: Thinned::default(),
            near: false,
            span: None,
            silence: (0, 0),
        }
    }

    /// A row that is used; `line`: where it stands.
    pub(super) fn take(&mut self, row: &Row, line: u64) {
        let (first, last) = self.span.unwrap_or((row.at, row.at));
        if row.at.saturating_sub(last) > self.silence.1 {
            self.silence = (last, row.at.saturating_sub(last));
        }
        self.span = Some((first.min(row.at), last.max(row.at)));
        if let Some(depth) = row.depth_m {
            let column = if self.well.take(depth, line) {
                &mut self.depth_beyond
            } else {
                &mut self.depth
            };
            column.take(row.at, depth);
            self.pace.take(row.at, depth);
            self.near = self.is_near(depth);
        }
        if let Some(load) = row.load_n {
            self.line.take(load, line);
            self.load.take(row.at, load);
            if self.near {
                self.at_work.push(load);
            }
        }
    }

    fn is_near(&self, depth: f64) -> bool {
        depth > self.interval_m.0 - BESIDE_M && depth < self.interval_m.1 + BESIDE_M
    }

    /// What is doubtful.
    pub(super) fn findings(&self, file: &str, job: &Job) -> Vec<Finding> {
        let silent: Vec<Finding> = [
            (&self.load, "load_n", "line tension", "newtons, e.g. 2034.5"),
            (
                self.depths(),
                "depth_m",
                "line paid out",
                "metres, e.g. 1200.25",
            ),
        ]
        .into_iter()
        .filter(|(column, ..)| column.values.count() == 0)
        .map(|(_, field, what, example)| {
            doubt(
                file,
                field,
                format!(
                    "no reading of {what} in the whole table: nothing of the cut can be worked out"
                ),
                format!("fill the column with {example}, or name the right column {field}"),
            )
        })
        .collect();
        if !silent.is_empty() {
            return silent;
        }
        let clock = self.clock(file);
        let depth = self.place(file);
        let load = if depth.is_some() {
            None // where the tool was is doubtful, so what should hang there is not known
        } else {
            self.tension(file, job)
        };
        let doubts = [clock, depth, load].into_iter().flatten();
        self.impossible(file).into_iter().chain(doubts).collect()
    }

    /// The column of depths by which the table is judged: what most of them are.
    fn depths(&self) -> &Column {
        if self.depth_beyond.values.count() > self.depth.values.count() {
            &self.depth_beyond
        } else {
            &self.depth
        }
    }

    /// Values that no job has.
    fn impossible(&self, file: &str) -> Vec<Finding> {
        let depths = self.depth.values.count() + self.depth_beyond.values.count();
        [
            (&self.line, self.load.values.count(), "load_n"),
            (&self.well, depths, "depth_m"),
        ]
        .into_iter()
        .filter_map(|(beyond, all, field)| {
            let (line, problem) = beyond.told(all)?;
            let remedy = "leave such cells empty, or put the logger right";
            Some(doubt(file, field, problem, remedy).at(line))
        })
        .collect()
    }

    fn clock(&self, file: &str) -> Option<Finding> {
        let (first, last) = self.span?;
        let rows = self.load.values.count().max(self.depths().values.count());
        let length_s = seconds(last.saturating_sub(first));
        if rows >= READINGS_MIN && first == last {
            return Some(doubt(
                file,
                "time_s",
                format!("every row has the same time, {}", seconds(first)),
                "write seconds from run start with their decimals",
            ));
        }
        if first < 0 {
            let first_s = seconds(first);
            return Some(doubt(
                file,
                "time_s",
                format!("times start at {first_s}: cutting is not told from free running before 0"),
                format!("give --time-zero {first_s} to count from the first row"),
            ));
        }
        let step_s = [&self.load, self.depths()]
            .iter()
            .filter_map(|column| column.steps.part(0.5))
            .fold(0.0, f64::max);
        let in_ms = "if times are milliseconds, divide them by 1000";
        if rows >= READINGS_MIN && step_s > BRIDGE_S {
            return Some(doubt(
                file,
                "time_s",
                format!(
                    "readings lie {} s apart: the tool cannot be followed over more than {BRIDGE_S} s",
                    significant(step_s)
                ),
                format!("{in_ms}; else write each column at least every {BRIDGE_S} s"),
            ));
        }
        let (silent_from, silent_for) = self.silence;
        if seconds(silent_for) > SILENCE_MAX_S {
            return Some(doubt(
                file,
                "time_s",
                format!(
                    "no reading for {} from {} on: nothing is known of the tool meanwhile",
                    duration(seconds(silent_for)),
                    clock(seconds(silent_from - first))
                ),
                "if there is a table of that time, put its rows in between; else make a table of each part",
            ));
        }
        (length_s > RUN_MAX_S).then(|| {
            doubt(
                file,
                "time_s",
                format!("the table lasts {}", duration(length_s)),
                format!("{in_ms}; else make a table of each run"),
            )
        })
    }

    /// Whether the line came to the interval.
    fn place(&self, file: &str) -> Option<Finding> {
        let values = &self.depths().values;
        let (low, high) = (values.part(0.01)?, values.part(0.99)?);
        let (top, bottom) = self.interval_m;
        let fits = |low: f64, high: f64| {
            let (low, high) = (low.min(high), low.max(high));
            high > top - BESIDE_M
                && low < bottom + BESIDE_M
                && high < bottom + BESIDE_M.max(0.1 * bottom)
        };
        if values.count() < READINGS_MIN {
            return None;
        }
        let rate = self.depths().rates.part(0.5).unwrap_or(0.0);
        let swapped = || {
            doubt(
                file,
                "depth_m",
                format!(
                    "line paid out changes by {} m in a second from row to row, which no winch does",
                    significant(rate)
                ),
                "if the columns load_n and depth_m are swapped, swap their names; else look at the depth counter",
            )
        };
        let jumps = rate > LINE_SPEED_MAX;
        if fits(low, high) {
            let step_s = self.depths().steps.part(0.5).unwrap_or(0.0);
            if let Some((problem, remedy)) = self.pace.told(step_s, rate) {
                return Some(doubt(file, "time_s", problem, remedy));
            }
            return jumps.then(swapped);
        }
        let problem = format!(
            "the line goes from {low:.1} to {high:.1} m, and the interval of the job from {top:.1} to {bottom:.1} m"
        );
        let likely = [
            (METRES_PER_FOOT, "feet, multiply them by 0.3048"),
            (
                1.0 / METRES_PER_FOOT,
                "metres already, do not convert them again from feet",
            ),
            (-1.0, "negative downwards, change their sign"),
            (
                -METRES_PER_FOOT,
                "feet, negative downwards, multiply them by -0.3048",
            ),
            (1e-3, "millimetres, divide them by 1000"),
            (1e-2, "centimetres, divide them by 100"),
            (1e3, "kilometres, multiply them by 1000"),
        ]
        .into_iter()
        // Where the work is done tells: most of the readings lie there.
        .find(|(factor, _)| {
            values.part(0.5).is_some_and(|m| self.is_near(m * factor))
                && fits(low * factor, high * factor)
        });
        if likely.is_none() && jumps {
            return Some(swapped());
        }
        let remedy = likely.map_or_else(
            || {
                "check that this is the job file of this table, and the zero of the depth counter"
                    .to_owned()
            },
            |(_, what)| format!("if depths are {what}"),
        );
        Some(doubt(file, "depth_m", problem, remedy))
    }

    /// Whether tension is about what hangs in the interval.
    fn tension(&self, file: &str, job: &Job) -> Option<Finding> {
        // Strokes up pull more than what hangs there and strokes down less: the middle of both.
        let tension = 0.5 * (self.at_work.part(0.25)? + self.at_work.part(0.75)?);
        let middle = 0.5 * (self.interval_m.0 + self.interval_m.1);
        // A job whose survey makes no path has been refused before.
        let hang = Hang::new(job).ok()?;
        let weight = hang.weight_n(middle, Motion::Rest, 0.0);
        let (least, most) = TENSION_OVER_STATIC;
        let fits = |tension: f64| (least..most).contains(&(tension / weight));
        if self.at_work.count() < READINGS_MIN || weight < 100.0 || fits(tension) {
            return None;
        }
        let problem = format!(
            "with the tool in the interval tensions lie about {} N, and {} N hang there",
            significant(tension),
            significant(weight)
        );
        let known = [
            (1e3, "kilonewtons, multiply them by 1000"),
            (NEWTONS_PER_LBF, "pounds-force, multiply them by 4.4482216"),
            (
                1e3 * NEWTONS_PER_LBF,
                "thousands of pounds-force, multiply them by 4448.2216",
            ),
            (9.80665, "kilograms-force, multiply them by 9.80665"),
            (9806.65, "tonnes-force, multiply them by 9806.65"),
        ];
        let distance = |factor: f64| (tension.abs() * factor / weight).ln().abs();
        let nearest = known
            .into_iter()
            .min_by(|a, b| distance(a.0).total_cmp(&distance(b.0)));
        let remedy = match nearest {
            _ if tension < 0.0 && fits(-tension) => "pull is positive: change the sign".to_owned(),
            Some((factor, what)) if fits(tension.abs() * factor) => {
                let sign = if tension < 0.0 {
                    ", and change the sign: pull is positive"
                } else {
                    ""
                };
                format!("if tensions are {what}{sign}")
            }
            _ => "check zero and scale of the load cell, and tool and line in the job file"
                .to_owned(),
        };
        Some(doubt(file, "load_n", problem, remedy))
    }
}

fn doubt(file: &str, field: &str, problem: impl Display, remedy: impl Display) -> Finding {
    Finding::new(file, problem.to_string(), remedy.to_string()).field(field)
}

#[cfg(test)]
mod tests;
