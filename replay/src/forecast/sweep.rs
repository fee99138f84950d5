//! Wheels by radial force by line size in one table, so that the crew can pick the tool string.

use super::cut::{CutterPlan, Quantiles};
use super::weights::Hang;
use kerfwatch::job::Job;
use kerfwatch::model::groove_law::UniversalSequence;
use serde::Serialize;

/// Draws per cell of the sweep: enough for a table in whole strokes.
const DRAWS: usize = 800;

/// Usual slickline sizes, inch (trade sizes).
pub const LINE_INCHES: [f64; 4] = [0.092, 0.108, 0.125, 0.160];

/// Rolling drag of wheels and back rollers over radial force: between 3 % (axle alone) and 10 %; from
/// memory. Used to see whether the tool still goes down.
pub const ROLLING: f64 = 0.06;

/// What stands in the way of a choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// Nothing.
    None,
    /// The wheels do not reach through the wall.
    Reach,
    /// Tension on the first stroke is above the limit of the line.
    Line,
    /// Likewise, of the weak point.
    WeakPoint,
    /// The tool does not go down against its own drag.
    GoingDown,
}

impl Limit {
    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Self::None => "-",
            Self::Reach => "reach",
            Self::Line => "line",
            Self::WeakPoint => "weak point",
            Self::GoingDown => "going down",
        }
    }
}

/// One choice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Choice {
    /// Wheels in one groove.
    pub wheels: u32,
    /// Radial force of one wheel.
    pub radial_force_n: f64,
    /// Wire diameter.
    pub line_m: f64,
    /// The choice of the job itself.
    pub of_the_job: bool,
    /// Strokes until all joints are split.
    pub strokes: Quantiles,
    /// Hours of stroking.
    pub hours: Quantiles,
    /// Cutting and rolling drag on the first stroke.
    pub first_drag_n: f64,
    /// Surface tension on the first stroke up, at the bottom of the interval.
    pub first_up_n: f64,
    /// Limit less that.
    pub margin_n: f64,
    /// Force left to drive the tool down after the first stroke up.
    pub down_reserve_n: f64,
    /// What stands in the way.
    pub limit: Limit,
}

/// All choices; `hours_per_stroke` for the stroke of the job.
pub(super) fn sweep(
    job: &Job,
    plan: &CutterPlan,
    joints: usize,
    hours_per_stroke: f64,
    seed: u64,
    sequence: &UniversalSequence,
) -> Vec<Choice> {
    let mut wheels: Vec<u32> = vec![1, 2, 3, 4, plan.wheels];
    wheels.sort_unstable();
    wheels.dedup();
    let mut lines: Vec<f64> = LINE_INCHES.iter().map(|inch| inch * 0.0254).collect();
    let own = job.line.diameter.si();
    // A trade size to within 1 % is the line of the job.
    match lines.iter_mut().find(|d| (**d / own - 1.0).abs() < 0.01) {
        Some(line) => *line = own,
        None => lines.push(own),
    }
    lines.sort_by(f64::total_cmp);
    let hangs: Vec<(f64, Hang)> = lines
        .into_iter()
        .filter_map(|d| Some((d, Hang::with_line(job, d)?)))
        .collect();
    let bottom = job.info.interval_bottom.si();
    let mut choices = Vec::new();
    for wheels in wheels {
        for factor in [0.5, 0.75, 1.0, 1.25, 1.5] {
            let mut plan_here = *plan;
            plan_here.wheels = wheels;
            plan_here.wheel.force_n = plan.wheel.force_n * factor;
            let (_, strokes) = plan_here.strokes(joints.max(1), DRAWS, seed, sequence);
            let rolling = ROLLING * plan_here.wheel.force_n * f64::from(wheels);
            let drag = plan_here.stroke_drag_n(0.0) + rolling;
            for (line_m, hang) in &hangs {
                let at = hang.at(bottom, drag, drag);
                let up = hang.weight_n(bottom, kerfwatch::model::Motion::Up, drag);
                let margin = at.limit_n - up;
                let down = at.drive_down_n - plan_here.first_down_drag_n() - rolling;
                choices.push(Choice {
                    wheels,
                    radial_force_n: plan_here.wheel.force_n,
                    line_m: *line_m,
                    of_the_job: wheels == plan.wheels && factor == 1.0 && *line_m == own,
                    strokes,
                    hours: strokes.times(hours_per_stroke),
                    first_drag_n: drag,
                    first_up_n: up,
                    margin_n: margin,
                    down_reserve_n: down,
                    limit: limit(&plan_here, margin, at.limited_by, down),
                });
            }
        }
    }
    choices
}

/// What stands in the way first.
pub(super) fn limit(plan: &CutterPlan, margin_n: f64, limited_by: &str, down_n: f64) -> Limit {
    if plan.wheel.reach_m < 0.85 * plan.wall_m {
        Limit::Reach
    } else if margin_n < 0.0 && limited_by == "weak point" {
        Limit::WeakPoint
    } else if margin_n < 0.0 {
        Limit::Line
    } else if down_n < 0.0 {
        Limit::GoingDown
    } else {
        Limit::None
    }
}
