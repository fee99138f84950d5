//! Forces of the first strokes and on the way through the wall, with what is not known: does the
//! line stand the first stroke up, and does the weight of the tool take the wheels down again?

use super::chance::Chance;
use super::cut::{CutterPlan, Spread};
use super::unknowns::Draw;
use super::weights::{Hang, Weights};
use serde::Serialize;

/// Draws for forces.
pub(super) const DRAWS: usize = 1000;

/// Groove depths, as parts of the wall, at which drag is told.
const STAGES: [f64; 6] = [0.0, 0.1, 0.25, 0.5, 0.75, 0.95];

/// Drag at one stage of the cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageDrag {
    /// Groove depth as a part of the wall.
    pub wall_fraction: f64,
    /// Cutting drag of all wheels at the tool, going up.
    pub cutting_n: Spread,
    /// Rolling drag going up, which does not fall.
    pub rolling_n: Spread,
    /// Rise of surface tension going up, over the weight with the cutter in.
    pub surface_up_n: Spread,
    /// Cutting and rolling drag at the tool, going down.
    pub down_n: Spread,
}

/// Forces of the first strokes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FirstStrokes {
    /// Cutting and rolling drag on the first stroke up.
    pub drag_n: Spread,
    /// Surface tension on it, at the bottom of the interval.
    pub up_n: Spread,
    /// Tension limit less that.
    pub margin_n: Spread,
    /// Probability that it goes beyond the limit.
    pub over_limit_probability: f64,
    /// Force left to drive the tool down on the next stroke.
    pub down_reserve_n: Spread,
    /// Probability that the tool is too light to go down then.
    pub too_light_probability: f64,
}

/// Draws shared by all that follows, so that choices are compared like with like.
pub(super) fn draws(plan: &CutterPlan, seed: u64) -> Vec<Draw> {
    let mut chance = Chance::new(seed);
    (0..DRAWS)
        .map(|_| plan.unknowns.draw(&mut chance))
        .collect()
}

/// Drag by stage of the cut.
pub(super) fn stages(plan: &CutterPlan, draws: &[Draw], gain_up: f64) -> Vec<StageDrag> {
    STAGES
        .into_iter()
        .map(|part| {
            let drags: Vec<_> = draws
                .iter()
                .map(|draw| plan.drag(draw, part * plan.wall_m))
                .collect();
            let of = |value: &dyn Fn(usize) -> f64| {
                Spread::of(&mut (0..drags.len()).map(value).collect::<Vec<f64>>())
            };
            StageDrag {
                wall_fraction: part,
                cutting_n: of(&|i| drags[i].up),
                rolling_n: of(&|i| drags[i].rolling_up),
                surface_up_n: of(&|i| (drags[i].up + drags[i].rolling_up) * gain_up),
                down_n: of(&|i| drags[i].down + drags[i].rolling_down),
            }
        })
        .collect()
}

/// Forces of the first strokes with the wheels at the bottom of the interval, where `at` was taken.
pub(super) fn first_strokes(
    plan: &CutterPlan,
    draws: &[Draw],
    hang: &Hang,
    at: &Weights,
) -> FirstStrokes {
    let up_sd = (at.up_high_n - at.up_n) / super::weights::TO_95;
    let rows: Vec<(f64, f64, f64)> = draws
        .iter()
        .map(|draw| {
            let drag = plan.drag(draw, 0.0);
            let first = drag.up + drag.rolling_up;
            let up = at.up_n + up_sd * draw.weight_error + at.gain_up * first;
            let drive = hang.drive_down_n(at.depth_m, draw.tool_friction, draw.tool_weight);
            (first, up, drive - drag.down - drag.rolling_down)
        })
        .collect();
    let of = |value: &dyn Fn(&(f64, f64, f64)) -> f64| {
        Spread::of(&mut rows.iter().map(value).collect::<Vec<f64>>())
    };
    let share = |yes: &dyn Fn(&(f64, f64, f64)) -> bool| {
        rows.iter().filter(|r| yes(r)).count() as f64 / rows.len().max(1) as f64
    };
    FirstStrokes {
        drag_n: of(&|r| r.0),
        up_n: of(&|r| r.1),
        margin_n: of(&|r| at.limit_n - r.1),
        over_limit_probability: share(&|r| r.1 > at.limit_n),
        down_reserve_n: of(&|r| r.2),
        too_light_probability: share(&|r| r.2 < 0.0),
    }
}
