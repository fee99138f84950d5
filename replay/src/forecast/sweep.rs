//! Wheels by radial force by line size in one table, so that the crew can pick the tool string.

use super::cut::{CutterPlan, Quantiles};
use super::outlook::{self, FirstStrokes};
use super::unknowns::PLACE_YIELDS;
use super::weights::Hang;
use kerfwatch::job::Job;
use kerfwatch::model::groove_law::UniversalSequence;
use serde::Serialize;

/// Draws for each pair of wheels and force: enough for a table in whole strokes.
const DRAWS: usize = 400;

/// Usual slickline sizes, inch (trade sizes).
pub const LINE_INCHES: [f64; 4] = [0.092, 0.108, 0.125, 0.160];

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
    /// Cutting and rolling drag on the first stroke, median.
    pub first_drag_n: f64,
    /// Surface tension on the first stroke up, at the bottom of the interval, median.
    pub first_up_n: f64,
    /// Limit less that.
    pub margin_n: f64,
    /// Force left to drive the tool down after the first stroke up, median.
    pub down_reserve_n: f64,
    /// Probability that the tool is too light to go down then.
    pub too_light_probability: f64,
    /// What stands in the way first.
    pub limit: Limit,
    /// All that does: what cures the first may leave the others.
    pub limits: Vec<Limit>,
}

/// All choices; `hours_per_stroke` for the stroke of the job, `own_strokes`: those of its own wheels and force, worked out
/// before from more draws, so that the same question gets one answer.
pub(super) fn sweep(
    job: &Job,
    plan: &CutterPlan,
    own_strokes: Quantiles,
    joints_m: &[f64],
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
    let draws = outlook::draws(plan, seed);
    let mut choices = Vec::new();
    for wheels in wheels {
        for factor in [0.5, 0.75, 1.0, 1.25, 1.5] {
            let mut plan_here = *plan;
            plan_here.wheels = wheels;
            plan_here.wheel.force_n = plan.wheel.force_n * factor;
            let own_cutter = wheels == plan.wheels && factor == 1.0;
            let strokes = if own_cutter {
                own_strokes
            } else {
                plan_here.strokes(joints_m, DRAWS, seed, sequence).1
            };
            for (line_m, hang) in &hangs {
                // Weights do not depend on the cutter; the dead band, which does, is not told here.
                let at = hang.at(bottom, 0.0, 0.0);
                let first = outlook::first_strokes(&plan_here, &draws, hang, &at);
                let limits = limits(&plan_here, &first, at.limited_by);
                choices.push(Choice {
                    wheels,
                    radial_force_n: plan_here.wheel.force_n,
                    line_m: *line_m,
                    of_the_job: own_cutter && *line_m == own,
                    strokes,
                    hours: strokes.times(hours_per_stroke),
                    first_drag_n: first.drag_n.mid,
                    first_up_n: first.up_n.mid,
                    margin_n: first.margin_n.mid,
                    down_reserve_n: first.down_reserve_n.mid,
                    too_light_probability: first.too_light_probability,
                    limit: first_of(&limits),
                    limits,
                });
            }
        }
    }
    choices
}

/// What stands in the way, more likely than not, what must be cured first before the rest; empty where nothing does.
pub(super) fn limits(plan: &CutterPlan, first: &FirstStrokes, limited_by: &str) -> Vec<Limit> {
    let line = match limited_by {
        "weak point" => Limit::WeakPoint,
        _ => Limit::Line,
    };
    [
        (
            plan.wheel.reach_m < PLACE_YIELDS.0 * plan.wall_m,
            Limit::Reach,
        ),
        (first.over_limit_probability > 0.5, line),
        (first.too_light_probability > 0.5, Limit::GoingDown),
    ]
    .into_iter()
    .filter_map(|(stands, limit)| stands.then_some(limit))
    .collect()
}

/// The first of them.
pub(super) fn first_of(limits: &[Limit]) -> Limit {
    limits.first().copied().unwrap_or(Limit::None)
}

/// All of them in words.
pub(crate) fn words(limits: &[Limit]) -> String {
    match limits {
        [] => Limit::None.word().to_owned(),
        some => some.iter().map(|l| l.word()).collect::<Vec<_>>().join(", "),
    }
}
