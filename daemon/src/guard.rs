//! The overpull path: from bytes to alarm on the instrument thread, before anything else.
//!
//! It has a decoder of its own, so that it depends neither on the aligner nor on the queue to the
//! pipeline. What it finds goes to horn, relay and commands at once; the pipeline comes to the same
//! finding from the same input a few milliseconds later, and that one is recorded and latched.

use kerfwatch::input::Input;
use kerfwatch::job::Job;

/// A tension above the limit, as the guard saw it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overpull {
    /// Run time of the reading, s.
    pub at_s: f64,
    /// Line tension, N.
    pub tension_n: f64,
    /// Limit, N.
    pub limit_n: f64,
}

/// Judges every load reading.
#[derive(Debug)]
pub struct Guard {
    judged: u64,
}

impl Guard {
    /// A guard for one job.
    pub fn new(_job: &Job) -> Self {
        Self { judged: 0 }
    }

    /// `Some` when this input holds a reading beyond the limit and no overpull was standing.
    pub fn judge(&mut self, _input: &Input) -> Option<Overpull> {
        None
    }

    /// Load readings judged so far.
    pub fn judged(&self) -> u64 {
        self.judged
    }
}
