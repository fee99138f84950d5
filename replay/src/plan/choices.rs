//! Wheels and radial force in one table: strokes left, pull on the first stroke, and whether the tool goes down again.

use super::stretches::{Known, middle};
use crate::forecast::unknowns::TOOL_FRICTION;
use crate::forecast::weights::Hang;
use kerfwatch::groove::next_run::NextDrag;
use kerfwatch::groove::pass_counts;
use kerfwatch::infer::friction::Learned;
use kerfwatch::job::Job;
use kerfwatch::model::Motion;
use kerfwatch::result::{Direction, Stroke};
use serde::Serialize;
use std::ops::Range;

/// Last strokes up whose highest tension is the pull of now.
const LAST: usize = 8;
/// First strokes up over metal that was not cut.
const FIRST: usize = 3;
/// Forces tried, as parts of that of the job.
const FORCES: [f64; 4] = [0.75, 1.0, 1.25, 1.5];
/// Numbers of wheels tried beside that of the job.
const WHEELS: [u32; 4] = [1, 2, 3, 4];

/// One choice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Choice {
    /// Wheels in the groove.
    pub(super) wheels: u32,
    /// Radial force of one wheel.
    pub(super) radial_force_n: f64,
    /// The choice of the job of the coming run.
    pub(super) of_the_job: bool,
    /// What a stroke counts against one of the last run.
    pub(super) stroke_counts: f64,
    /// Strokes over the whole interval until all is split, and hours.
    pub(super) strokes_p50: Option<f64>,
    pub(super) strokes_p90: Option<f64>,
    pub(super) hours_p50: Option<f64>,
    pub(super) hours_p90: Option<f64>,
    /// Highest line tension of strokes up in the groove as it is, from that of the last ones; `null` where none is known.
    pub(super) pull_n: Option<f64>,
    /// Limit in force at the bottom less that.
    pub(super) margin_n: Option<f64>,
    /// Weight along hole, less friction and drag of the first stroke down, at the bottom: what is left to drive the tool.
    pub(super) down_reserve_n: f64,
}

/// Line and tool in the well, as in the job of the coming run and as in that of the last.
pub(super) struct Hangs {
    pub(super) coming: Hang,
    pub(super) used: Hang,
}

/// All choices, fewer wheels and less force first.
pub(super) fn choices(
    known: &Known,
    coming: &Job,
    hangs: &Hangs,
    learned: Option<&Learned>,
    interval: &Range<f64>,
) -> Vec<Choice> {
    let drag = |counts| (known.estimate).next_drag(known.ledger, known.job, interval, counts);
    let Some(now) = drag(1.0) else {
        return Vec::new();
    };
    let (friction, weight) = learned.map_or((TOOL_FRICTION.0, 1.0), |l| (l.tool, l.weight));
    let hang = &hangs.coming;
    let drive_n = hang.drive_down_n(interval.end, friction, weight);
    let at_bottom = hang.at(interval.end, now.up, now.down);
    // What another tool, line or fluid adds to the pull of now.
    let weight_n = |hang: &Hang| hang.weight_n(interval.end, Motion::Up, now.up);
    let added_n = weight_n(hang) - weight_n(&hangs.used);
    let pulled = pull_of_last(&known.result.strokes).map(|n| n + added_n);
    let own = [known.job.cutter.wheels, coming.cutter.wheels];
    let mut wheels: Vec<u32> = WHEELS.into_iter().chain(own).collect();
    wheels.sort_unstable();
    wheels.dedup();
    let mut choices = Vec::new();
    for wheels in wheels {
        for part in FORCES {
            let mut job = coming.clone();
            job.cutter.wheels = wheels;
            job.cutter.radial_force.0 *= part;
            let counts = pass_counts(&job, known.job);
            let NextDrag { up, down } = drag(counts).unwrap_or(now);
            let stretch = known.stretch(interval.clone(), counts);
            let pull_n = pulled.map(|n| n + at_bottom.gain_up * (up - now.up));
            choices.push(Choice {
                wheels,
                radial_force_n: job.cutter.radial_force.si(),
                of_the_job: wheels == coming.cutter.wheels && part == 1.0,
                stroke_counts: counts,
                strokes_p50: stretch.strokes_p50,
                strokes_p90: stretch.strokes_p90,
                hours_p50: stretch.hours_p50,
                hours_p90: stretch.hours_p90,
                pull_n,
                margin_n: pull_n.map(|n| at_bottom.limit_n - n),
                down_reserve_n: drive_n - down,
            });
        }
    }
    choices
}

/// Highest tension of the last strokes up that cut, N: the middle one.
pub(super) fn pull_of_last(strokes: &[Stroke]) -> Option<f64> {
    middle(pulls(strokes).rev().take(LAST).collect())
}

/// Highest tension of the first strokes up that cut, N.
pub(super) fn pull_of_first(strokes: &[Stroke]) -> Option<f64> {
    pulls(strokes).take(FIRST).reduce(f64::max)
}

/// Highest tension of each stroke up that cut, N.
fn pulls(strokes: &[Stroke]) -> impl DoubleEndedIterator<Item = f64> {
    let cut_up = |s: &&Stroke| s.direction == Direction::Up && s.engaged_m > 0.0;
    strokes.iter().filter(cut_up).map(|s| s.peak_tension_n)
}
