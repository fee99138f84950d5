//! What an estimator said: the final result, and what it showed while the job ran.

use super::ten_strokes::Ahead;
use kerfwatch::result::{GrooveBin, Joint, RunResult, State};

/// Groove and forecast shown at a time of the job.
#[derive(Debug, Clone)]
pub struct Shown {
    /// When, s.
    pub time_s: f64,
    /// Bins.
    pub groove: Vec<GrooveBin>,
    /// Joints, with strokes left.
    pub joints: Vec<Joint>,
    /// What ten more strokes bring, by joint.
    pub ahead: Vec<Option<Ahead>>,
}

/// State shown at a time of the job.
#[derive(Debug, Clone, Copy)]
pub struct Watched {
    /// When, s.
    pub time_s: f64,
    /// What was shown.
    pub state: State,
    /// Line paid out, m.
    pub line_m: f64,
}

/// Everything that is scored.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// The final result.
    pub result: RunResult,
    /// Groove at the times of the truth's history.
    pub shown: Vec<Shown>,
    /// State shown around each true stall or slack, in order.
    pub watched: Vec<Watched>,
    /// Times at which an overpull alarm was raised.
    pub overpulls: Vec<f64>,
    /// Time to compute, s.
    pub took_s: f64,
}

/// Times at which the shown state is watched: every 0.1 s from shortly before each true stall or
/// slack to 15 s after its start.
#[derive(Debug)]
pub struct Watch {
    times: Vec<f64>,
    next: usize,
}

impl Watch {
    /// For stalls starting at the given times.
    pub fn new(starts: impl Iterator<Item = f64>) -> Self {
        let mut times: Vec<f64> = starts
            .flat_map(|start| (-5..150).map(move |k| start + 0.1 * f64::from(k)))
            .collect();
        times.sort_by(f64::total_cmp);
        times.dedup();
        Self { times, next: 0 }
    }

    /// Whether a watch fell due by `now`; advances.
    pub fn due(&mut self, now: f64) -> bool {
        let before = self.next;
        while self.times.get(self.next).is_some_and(|time| *time <= now) {
            self.next += 1;
        }
        self.next > before
    }
}
