//! What the guard judges by: limit of tension and expected pick-up weight, by line paid out.
//!
//! *Input*: a job; later what was learned of friction and weight from free passes ([`Pull`]). *Output*: tables
//! each 10 m, N, read in between by straight lines. Worked out once, never for a reading.

use crate::job::Job;
use crate::model::Motion;
use crate::model::line::{LineInFluid, tool_weight_in_fluid_n};
use crate::model::profile_table::ProfileTable;
use crate::model::soft_string::tool_pull_n;
use crate::model::weakest_link::WeakestLink;
use crate::model::wellpath::WellPath;
use std::sync::Arc;

/// Spacing of the tables, m.
const STEP_M: f64 = 10.0;

/// More than rounding makes of a place, m.
const ROUNDING_M: f64 = 1e-6;

/// What the guard needs to know of a job: limit and expected pick-up weight by line paid out.
#[derive(Debug, Clone, PartialEq)]
pub struct GuardModel {
    /// Limit of surface tension at 0, 10, 20, ... m, N.
    limit_n: Vec<f64>,
    /// Expected pick-up weight there.
    pick_up: Arc<PickUpTable>,
    limit_least_n: f64,
    /// E A of the line, N.
    pub(super) ea_n: f64,
    /// Of the line, N s/m.
    pub(super) impedance_n_s_m: f64,
    /// Pull allowed above pick-up weight, N.
    pub(super) overpull_n: f64,
    /// Time before the limit at which to warn, s.
    pub(super) approaching_s: f64,
}

impl GuardModel {
    /// The tables for a job, with the friction of the job file.
    pub fn new(job: &Job) -> Self {
        let well = Well::new(job);
        let table = well.table(job.line.friction_up, job.line.friction_down);
        let link = WeakestLink::from_job(job);
        let limit_n: Vec<f64> = well
            .places()
            .map(|md| {
                link.surface_limit(&table, well.packing_n, Motion::Rest, md)
                    .limit_n
            })
            .collect();
        Self {
            limit_least_n: limit_n.iter().copied().fold(f64::INFINITY, f64::min),
            limit_n,
            pick_up: Arc::new(well.pick_up(&table, &Pull::of_job(job))),
            ea_n: well.line.ea_n,
            impedance_n_s_m: well.line.impedance_n_s_m(),
            overpull_n: job.alarm.overpull.si(),
            approaching_s: job.alarm.approaching.si(),
        }
    }

    /// Limit of surface tension, N; without a depth the least of all.
    pub fn limit_n(&self, line_m: Option<f64>) -> f64 {
        line_m.map_or(self.limit_least_n, |line| self.piece(line).limit_n(line))
    }

    /// Expected pick-up weight without cutting, N.
    pub fn pick_up_n(&self, line_m: f64) -> f64 {
        self.piece(line_m).pick_up_n(line_m)
    }

    /// The piece of the tables that holds with `line_m` m paid out.
    pub(super) fn piece(&self, line_m: f64) -> Piece {
        let limit_n = Straight::of(&self.limit_n, place(line_m));
        let pick_up_n = Straight::of(&self.pick_up.pick_up_n, place(line_m));
        let from_m = limit_n.low.max(pick_up_n.low) * STEP_M;
        let to_m = (limit_n.low.min(pick_up_n.low) + 1.0) * STEP_M;
        Piece {
            limit_n,
            pick_up_n,
            within_m: (from_m + ROUNDING_M, to_m - ROUNDING_M),
        }
    }

    /// From now on pick-up weight is what `table` says.
    pub(super) fn use_pick_up(&mut self, table: &Arc<PickUpTable>) {
        self.pick_up = Arc::clone(table);
    }
}

/// Expected pick-up weight at 0, 10, 20, ... m of line paid out, without cutting, N.
#[derive(Debug, Clone, PartialEq)]
pub struct PickUpTable {
    pick_up_n: Vec<f64>,
}

impl PickUpTable {
    /// What was learned from free passes, for a job.
    pub fn learned(job: &Job, pull: &Pull) -> Self {
        let well = Well::new(job);
        let table = well.table(pull.line_friction, job.line.friction_down);
        well.pick_up(&table, pull)
    }
}

/// What pick-up weight follows from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// Line on pipe, pulling out.
    pub line_friction: f64,
    /// Tool on pipe.
    pub tool_friction: f64,
    /// Weight of the tool over that of the job file.
    pub weight: f64,
    /// Reading of the cell at no load, N.
    pub offset_n: f64,
    /// Friction at surface, N.
    pub packing_n: f64,
}

impl Pull {
    /// As the job file has it.
    fn of_job(job: &Job) -> Self {
        Self {
            line_friction: job.line.friction_up,
            tool_friction: job.line.friction_up,
            weight: 1.0,
            offset_n: 0.0,
            packing_n: job.line.stuffing_box_friction.si(),
        }
    }
}

/// The hole, and what hangs in it.
struct Well {
    path: WellPath,
    line: LineInFluid,
    packing_n: f64,
    tool_n: f64,
    deepest_m: f64,
}

impl Well {
    fn new(job: &Job) -> Self {
        Self {
            path: WellPath::from_survey(&job.survey).unwrap_or_else(|_| WellPath::vertical()),
            line: LineInFluid::from_job(&job.line, &job.fluid),
            packing_n: job.line.stuffing_box_friction.si(),
            tool_n: tool_weight_in_fluid_n(
                job.tool.mass.si(),
                job.tool.displaced_volume.si(),
                job.fluid.density.si(),
            ),
            deepest_m: (job.info.interval_bottom.si() + 200.0).max(100.0),
        }
    }

    fn table(&self, up: f64, down: f64) -> ProfileTable {
        ProfileTable::new(&self.path, self.line, up, down, self.deepest_m)
    }

    /// Depths of the tables, m.
    fn places(&self) -> impl Iterator<Item = f64> {
        let deepest = self.deepest_m;
        (0..=(deepest / STEP_M).ceil() as usize).map(move |n| (n as f64 * STEP_M).min(deepest))
    }

    fn pick_up(&self, table: &ProfileTable, pull: &Pull) -> PickUpTable {
        let pick_up_n = self.places().map(|md| {
            let inc = self.path.inclination_rad(md);
            let weight_n = pull.weight * self.tool_n;
            let socket_n = tool_pull_n(weight_n, inc, pull.tool_friction, Motion::Up);
            let below_box = table.surface_tension(Motion::Up, socket_n, md);
            let above = (self.line).above_stuffing_box_n(below_box, pull.packing_n, Motion::Up);
            above + pull.offset_n
        });
        PickUpTable {
            pick_up_n: pick_up_n.collect(),
        }
    }
}

/// The tables between two of their depths.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    limit_n: Straight,
    pick_up_n: Straight,
    /// Lines paid out that are surely in it, whatever rounding makes of their places, m.
    within_m: (f64, f64),
}

impl Piece {
    /// Whether it is surely the piece for so much line.
    pub(super) fn holds(&self, line_m: f64) -> bool {
        self.within_m.0 < line_m && line_m < self.within_m.1
    }

    pub(super) fn limit_n(&self, line_m: f64) -> f64 {
        self.limit_n.at(place(line_m))
    }

    pub(super) fn pick_up_n(&self, line_m: f64) -> f64 {
        self.pick_up_n.at(place(line_m))
    }
}

/// A table between two of its places.
#[derive(Debug, Clone, Copy)]
struct Straight {
    low: f64,
    /// Value there, and what it rises by to the next place.
    value: f64,
    rise: f64,
    /// The end of the table.
    last: f64,
}

impl Straight {
    /// That around a place.
    fn of(table: &[f64], place: f64) -> Self {
        let last = (table.len() - 1) as f64;
        let low = (place.min(last) as usize).min(table.len().saturating_sub(2));
        let high = (low + 1).min(table.len() - 1);
        Self {
            low: low as f64,
            value: table[low],
            rise: table[high] - table[low],
            last,
        }
    }

    fn at(&self, place: f64) -> f64 {
        self.value + (place.min(self.last) - self.low) * self.rise
    }
}

/// Place in the tables of a line paid out.
fn place(line_m: f64) -> f64 {
    line_m.max(0.0) / STEP_M
}
