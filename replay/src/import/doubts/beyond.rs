//! Values that no job has: beyond what any line bears, deeper than the well many times over.
//!
//! A logger writes them when an instrument fails (error codes, bytes torn in transfer). Where most of a column lies
//! there, its unit is another one, which is told elsewhere.

use kerfwatch::calibrate::imported::IMPOSSIBLE as BREAKING_LOADS;
use kerfwatch::job::{Job, significant};

/// Times the depth of the well: more than feet for metres make of it.
const WELLS: f64 = 5.0;

/// Values of one column beyond a limit.
#[derive(Debug)]
pub(super) struct Beyond {
    limit: f64,
    /// What the limit is.
    told: String,
    unit: &'static str,
    count: u64,
    first: Option<(u64, f64)>,
}

impl Beyond {
    /// Tensions that would have parted the line of `job` long before.
    pub(super) fn line(job: &Job) -> Self {
        let breaking = job.line.breaking_load.si();
        Self {
            limit: BREAKING_LOADS * breaking,
            told: format!(
                "more than {BREAKING_LOADS} times the {} N that break the line",
                significant(breaking)
            ),
            unit: "N",
            count: 0,
            first: None,
        }
    }

    /// Depths that the well of `job` has not.
    pub(super) fn well(job: &Job) -> Self {
        let surveyed = job.survey.last().map_or(0.0, |station| station.md.si());
        let deepest = surveyed.max(job.info.interval_bottom.si());
        Self {
            limit: WELLS * deepest,
            told: format!(
                "more than {WELLS} times the {} m of the well",
                significant(deepest)
            ),
            unit: "m",
            count: 0,
            first: None,
        }
    }

    /// Whether `value` of row `line` lies beyond; counted if so.
    pub(super) fn take(&mut self, value: f64, line: u64) -> bool {
        // A job without such a figure has no limit.
        let beyond = value.abs() > self.limit;
        if beyond {
            self.count += 1;
            self.first.get_or_insert((line, value));
        }
        beyond
    }

    /// Row of the first, and what is to be said of them, where they are the fewer of `all` values.
    pub(super) fn told(&self, all: u64) -> Option<(u64, String)> {
        let (line, value) = self.first.filter(|_| 2 * self.count <= all)?;
        let (are, first) = match self.count {
            1 => ("value is", "it is"),
            _ => ("values are", "the first is"),
        };
        let problem = format!(
            "{} {are} impossible: {first} {} {}, {}; they are left out of the result, but can raise alarms",
            self.count,
            significant(value),
            self.unit,
            self.told
        );
        Some((line, problem))
    }
}
