//! What another run takes, from the groove as it stands: strokes left over any stretch, and the drag of the next stroke,
//! for wheels that bite otherwise than those of the last stroke.
//!
//! *Input*: an estimate, a stretch of the interval (m along hole) and what a stroke of the coming wheels counts against
//! one of the last ([`super::pass_counts`] of their jobs). *Output*: strokes, median and 90 %; N at the tool.
//! *Limits*: the forecast of [`super::forecast`]; every stroke to come is taken to go over all of the stretch. Metal and law
//! stay as seen, wear to come is not counted.

use super::GrooveEstimate;
use super::drag_model::NEVER;
use super::forecast::{Pace, strokes_left};
use super::ledger::Ledger;
use super::through::Through;
use crate::job::Job;
use std::ops::Range;

/// Drag of the next stroke, N at the tool: of the cut in the mean over the stretch (places taken as split have none), and
/// of wheels and rollers that roll.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextDrag {
    /// Going up.
    pub up: f64,
    /// Going down.
    pub down: f64,
}

impl GrooveEstimate {
    /// Bins of a stretch that can be cut.
    fn members(&self, ledger: &Ledger, stretch_m: &Range<f64>) -> Vec<usize> {
        let all = 0..ledger.bins.count;
        all.filter(|&j| !self.coupling[j] && stretch_m.contains(&ledger.bins.middle(j)))
            .collect()
    }

    /// Splits with the probabilities that are told: those count that a place may be another than it is taken for.
    fn through_as_told(&self, ledger: &Ledger) -> Through {
        let mut through = self.through.clone();
        for bin in &self.bins {
            let place = (bin.top_m - ledger.bins.top) / ledger.bins.step;
            if let Some(probability) = through.probability.get_mut(place.round() as usize) {
                *probability = bin.through_probability;
            }
        }
        through
    }

    /// Strokes over the stretch until all of it is split, median and 90 %; `None` where that cannot be told. `sure`: places
    /// that are split with at least that probability are done.
    pub fn strokes_left(
        &self,
        ledger: &Ledger,
        job: &Job,
        stretch_m: &Range<f64>,
        counts: f64,
        sure: f64,
    ) -> Option<(f64, f64)> {
        let fit = self.fit.as_ref()?;
        let members = self.members(ledger, stretch_m);
        let pace = Pace::of(ledger, &self.engaged, Some(fit), job).of_whole_strokes(counts);
        let through = self.through_as_told(ledger);
        let is_open = |j: usize| through.at[j] == NEVER || through.probability[j] < sure;
        strokes_left(&members, fit, &self.belief, &through, &pace, is_open)
    }

    /// Drag of the next stroke over the stretch; `None` before anything was cut.
    pub fn next_drag(
        &self,
        ledger: &Ledger,
        job: &Job,
        stretch_m: &Range<f64>,
        counts: f64,
    ) -> Option<NextDrag> {
        let fit = self.fit.as_ref()?;
        let members = self.members(ledger, stretch_m);
        let passes = f64::from(job.cutter.wheels) * fit.bite.wheels.newest() * counts;
        let rolls = (fit.bite.wheels.newest() * counts).sqrt();
        let mean = |base: f64, bite: f64| {
            let drag = members.iter().map(|&j| {
                let before = self.through.passes[j];
                let holds = 1.0 - self.through.probability[j];
                holds * fit.next_cutting_drag(before, bite * passes)
            });
            let cutting = drag.sum::<f64>() / members.len().max(1) as f64;
            cutting + rolls * base.max(0.0)
        };
        Some(NextDrag {
            up: mean(fit.base.0, 1.0),
            down: mean(fit.base.1, fit.bite.down),
        })
    }
}
