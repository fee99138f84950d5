//! Strokes until a joint is split, and drag on the way there, as distributions over [`Unknowns`].
//!
//! *Model*: the groove law of the core (`kerfwatch::model::groove_law`), passes of one wheel turned
//! into strokes; a pass advances as the square of the force once the groove is there. A joint *opens*
//! when its first place gives way and is *split* when its last place has: places of 0.4 m differ in
//! hardness and in how early the back wall yields. Couplings are not cut: the wheels do not reach.

use super::chance::{Chance, quantile};
use super::unknowns::{Draw, Unknowns};
use kerfwatch::job::Job;
use kerfwatch::model::groove_law::{UniversalSequence, Wheel, work_j_m};
use serde::Serialize;

/// Draws for the full forecast.
pub(crate) const DRAWS: usize = 4000;

/// Strokes beyond this are never: no crew strokes for a month.
pub const STROKES_MAX: f64 = 1e5;

/// Length of pipe that is alike, m.
pub(super) const PLACE_M: f64 = 0.4;
/// Most places drawn for one joint; the extremes of more hardly differ.
const PLACES_MAX: usize = 24;

/// 5 %, 50 %, 90 % and 95 % quantiles; `null`: it never comes through.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Quantiles {
    /// 5 %.
    pub p05: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 90 %.
    pub p90: Option<f64>,
    /// 95 %.
    pub p95: Option<f64>,
}

impl Quantiles {
    /// Of values in any order; beyond `most` is `None`.
    pub(crate) fn of(values: &mut [f64], most: f64) -> Self {
        values.sort_by(f64::total_cmp);
        let at = |q| quantile(values, q).filter(|v| *v <= most);
        Self {
            p05: at(0.05),
            p50: at(0.5),
            p90: at(0.9),
            p95: at(0.95),
        }
    }

    /// All multiplied by a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        let by = |v: Option<f64>| v.map(|v| v * factor);
        Self {
            p05: by(self.p05),
            p50: by(self.p50),
            p90: by(self.p90),
            p95: by(self.p95),
        }
    }
}

/// 5 %, 50 % and 95 % quantiles of something that always is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// 5 %.
    pub low: f64,
    /// Median.
    pub mid: f64,
    /// 95 %.
    pub high: f64,
}

impl Spread {
    /// Of values in any order; zero where there are none.
    pub(crate) fn of(values: &mut [f64]) -> Self {
        values.sort_by(f64::total_cmp);
        let at = |q| quantile(values, q).unwrap_or(0.0);
        Self {
            low: at(0.05),
            mid: at(0.5),
            high: at(0.95),
        }
    }
}

/// Strokes of one joint.
#[derive(Debug, Clone, PartialEq)]
pub struct JointStrokes {
    /// Until its first place gives way.
    pub opens: Quantiles,
    /// Until its last place has given way.
    pub split: Quantiles,
}

/// What the cutter is, before any draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutterPlan {
    /// Wheels in one groove.
    pub wheels: u32,
    /// Nominal wheel; its pressure is the median of the prior.
    pub wheel: Wheel,
    /// What is not known.
    pub unknowns: Unknowns,
    /// Nominal wall, m.
    pub wall_m: f64,
}

/// Drag of one stroke, N.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct StrokeDrag {
    /// Cutting going up, all wheels.
    pub(super) up: f64,
    /// Cutting of the next stroke, down.
    pub(super) down: f64,
    /// Rolling going up.
    pub(super) rolling_up: f64,
    /// Rolling going down.
    pub(super) rolling_down: f64,
}

impl CutterPlan {
    /// From a job.
    pub fn new(job: &Job) -> Self {
        let unknowns = Unknowns::new(job);
        Self {
            wheels: job.cutter.wheels,
            wheel: Wheel::from_job(&job.cutter, unknowns.pressure_pa),
            unknowns,
            wall_m: job.tubular.wall.si(),
        }
    }

    /// Passes of one wheel through a wall with nothing unknown.
    pub fn passes_nominal(&self, sequence: &UniversalSequence) -> f64 {
        sequence.passes_to(self.wall_m, self.wheel.kappa())
    }

    /// Work per metre of groove through the whole wall, J/m, all wheels together.
    pub fn work_through_j_m(&self) -> f64 {
        work_j_m(
            0.0,
            self.wall_m,
            self.wheel.pressure_pa * self.wheel.half_angle_rad.tan(),
        )
    }

    /// Drag of a whole stroke, all wheels, on a groove of depth `d0_m`, nothing unknown, N.
    pub fn stroke_drag_n(&self, d0_m: f64) -> f64 {
        self.cut(&self.wheel, d0_m).1
    }

    /// Depth after a stroke of all wheels, and its drag, N.
    fn cut(&self, wheel: &Wheel, d0_m: f64) -> (f64, f64) {
        let after = wheel.stroke_m(self.wheels, d0_m);
        let u_tan_b = wheel.pressure_pa * wheel.half_angle_rad.tan();
        (after, work_j_m(d0_m, after, u_tan_b))
    }

    /// Drag of a stroke up on a groove of depth `d0_m`, and of the stroke down that follows.
    pub(super) fn drag(&self, draw: &Draw, d0_m: f64) -> StrokeDrag {
        let part = (d0_m / self.wall_m).clamp(0.0, 1.0);
        let up = Wheel {
            force_n: self.wheel.force_n * draw.force * (1.0 - draw.loss * part),
            pressure_pa: draw.pressure_pa,
            ..self.wheel
        };
        let down = Wheel {
            force_n: up.force_n * draw.down,
            ..up
        };
        let (after, cutting_up) = self.cut(&up, d0_m);
        let rolling = draw.rolling * up.force_n * f64::from(self.wheels);
        StrokeDrag {
            up: cutting_up,
            down: self.cut(&down, after).1,
            rolling_up: rolling,
            rolling_down: rolling * draw.down,
        }
    }

    /// Strokes until each joint, of these lengths in m, and until all joints are split.
    pub fn strokes(
        &self,
        joints: &[f64],
        draws: usize,
        seed: u64,
        sequence: &UniversalSequence,
    ) -> (Vec<JointStrokes>, Quantiles) {
        let mut chance = Chance::new(seed);
        let places: Vec<usize> = joints
            .iter()
            .map(|length| ((length / PLACE_M).ceil() as usize).clamp(1, PLACES_MAX))
            .collect();
        let mut by_joint = vec![(Vec::new(), Vec::new()); joints.len()];
        let mut all = Vec::with_capacity(draws);
        for _ in 0..draws {
            let draw = self.unknowns.draw(&mut chance);
            let kept = 1.0 - draw.loss;
            let passes_per_stroke =
                f64::from(self.wheels) * 0.5 * (1.0 + draw.down * draw.down) * kept * kept;
            let mut longest = 0.0_f64;
            for ((opens, split), places) in by_joint.iter_mut().zip(&places) {
                let wall = self.wall_m * self.unknowns.wall(&mut chance);
                let (mut first, mut last) = (f64::INFINITY, 0.0_f64);
                for _ in 0..*places {
                    let (hardness, part) = Unknowns::place(&mut chance);
                    let wheel = Wheel {
                        force_n: self.wheel.force_n * draw.force,
                        pressure_pa: draw.pressure_pa * hardness,
                        ..self.wheel
                    };
                    let needed = wall * part;
                    let n = if needed > self.wheel.reach_m {
                        f64::INFINITY
                    } else {
                        (sequence.passes_to(needed / draw.law, wheel.kappa()) / passes_per_stroke)
                            .ceil()
                    };
                    first = first.min(n);
                    last = last.max(n);
                }
                opens.push(first);
                split.push(last);
                longest = longest.max(last);
            }
            all.push(longest);
        }
        let joints = by_joint
            .iter_mut()
            .map(|(opens, split)| JointStrokes {
                opens: Quantiles::of(opens, STROKES_MAX),
                split: Quantiles::of(split, STROKES_MAX),
            })
            .collect();
        (joints, Quantiles::of(&mut all, STROKES_MAX))
    }
}

#[cfg(test)]
#[path = "cut_tests.rs"]
mod tests;
