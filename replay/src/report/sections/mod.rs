//! The sections of the run report, in reading order.

mod calibration;
mod cut;
mod events;
mod faults;
mod line;
mod outcome;
mod record;

pub(super) use calibration::calibration;
pub(super) use cut::{groove, tension_and_strokes};
pub(super) use events::events;
pub(super) use line::line_wear;
pub(super) use outcome::outcome;
pub(super) use record::{foundations, marks, quality};

use super::traces::Traces;
use crate::run_folder::{Recomputed, RunFolder};
use crate::summary::MarksRead;
use crate::units_shown::Units;
use kerfwatch::infer::friction::Learned;
use kerfwatch::job::Job;
use kerfwatch::pipeline::HighestTension;
use kerfwatch::recording::Verification;
use kerfwatch::result::RunResult;

/// What all sections draw from.
pub(super) struct Source<'s> {
    pub(super) folder: &'s RunFolder,
    pub(super) done: &'s Recomputed,
    pub(super) traces: &'s Traces,
    pub(super) verified: &'s Verification,
    pub(super) units: Units,
    /// Friction, weight and offset found while the tool ran free.
    pub(super) learned: Option<Learned>,
    pub(super) highest: Option<HighestTension>,
    /// Strokes made with the cutter out, as marks and drag tell.
    pub(super) with_cutter_out: usize,
    /// Drag of the tool with the wheels out that does not fall, up and down, N.
    pub(super) rolling_n: Option<(f64, f64)>,
    /// Marks of the cutter, and which are not taken as they were set.
    pub(super) marks: MarksRead,
}

impl Source<'_> {
    fn job(&self) -> &Job {
        &self.folder.job.job
    }

    fn result(&self) -> &RunResult {
        &self.done.result
    }
}
