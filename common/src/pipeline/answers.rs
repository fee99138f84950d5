//! What can be asked of the pipeline: results, the present, what was learned.
//!
//! Nothing here changes what later inputs give; `refresh` and `glance` keep what only the present shows.

use super::{HighestTension, Pipeline};
use crate::alarm::{PickUpTable, SavedAlarms};
use crate::calibrate::Instruments;
use crate::groove::evidence::Evidence;
use crate::groove::ledger::Ledger;
use crate::groove::mark_sense::mark_sense;
use crate::groove::{self, GrooveEstimate};
use crate::infer::friction::Learned;
use crate::outcome;
use crate::result::RunResult;
use crate::snapshot::{Glance, MarkDoubt, Snapshot};
use std::sync::Arc;

impl Pipeline {
    /// All strokes with their drag by bin.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// What was learned of friction and weight.
    pub fn learned(&self) -> Option<Learned> {
        self.learned
    }

    /// The highest tension so far; `None` before the first movement of the tool is known.
    pub fn highest_tension(&self) -> Option<HighestTension> {
        self.highest
    }

    /// Alarms that are not normal, for a run that follows this one.
    pub fn saved_alarms(&self) -> SavedAlarms {
        self.watch.engine.saved(self.now)
    }

    /// The instruments as they are now, for a guard that runs ahead of the pipeline.
    pub fn instruments(&self) -> &Instruments {
        &self.instruments
    }

    /// Pick-up weight as learned, for a guard that runs ahead of the pipeline.
    pub fn pick_up(&self) -> Option<&Arc<PickUpTable>> {
        self.pick_up.as_ref()
    }

    /// Brings the live groove estimate up to date; call after a stroke has ended.
    pub fn refresh(&mut self) {
        self.live = Some(self.estimate());
        self.live_doubts = self.mark_doubts();
    }

    /// The groove estimate from all strokes so far.
    pub fn estimate(&self) -> GrooveEstimate {
        groove::estimate(&self.ledger, &self.job, self.base_prior())
    }

    /// What the groove estimate at a depth rests on; `None` outside the bins or before any cutting.
    pub fn evidence(&self, depth_m: f64) -> Option<Evidence> {
        groove::evidence::evidence(&self.ledger, &self.job, self.base_prior(), depth_m)
    }

    /// The words of the crew's marks are the other way round, as the drag of all strokes so far says; of those that
    /// were righted later [`Self::mark_doubts`] tells.
    pub fn marks_turned(&self) -> bool {
        let (sense, righted) = mark_sense(&self.ledger);
        sense.is_turned() && righted.is_none()
    }

    /// Something was cut, and no mark of the crew says when the cutter was out: the drag alone tells.
    pub fn cuts_unmarked(&self) -> bool {
        self.words().is_empty() && groove::engagement::engaged(&self.ledger).contains(&true)
    }

    /// Marks of the cutter that are not taken as they were set, as the drag of all strokes so far says.
    pub fn mark_doubts(&self) -> Vec<MarkDoubt> {
        outcome::mark_doubts(self)
    }

    /// The present.
    pub fn snapshot(&self) -> Snapshot {
        outcome::snapshot(self)
    }

    /// What the charts follow, with the extremes of tension since the last glance: call it for
    /// every point that is kept. `None`: nothing new has been judged since, and the extremes are
    /// kept for the next.
    pub fn glance(&mut self) -> Option<Glance> {
        let glance = outcome::glance(self, self.span);
        if glance.at_s <= self.glanced_s {
            return None;
        }
        self.glanced_s = glance.at_s;
        self.span = None;
        Some(glance)
    }

    /// All results so far. `id` comes from the run folder.
    pub fn result(&self, id: &str) -> RunResult {
        outcome::result(self, id)
    }
}
