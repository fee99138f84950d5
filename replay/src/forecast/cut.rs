//! Strokes until a joint is split, as a distribution over what is not known before the job.
//!
//! *Model*: the groove law of the core (`kerfwatch::model::groove_law`), passes of one wheel turned
//! into strokes. *Unknowns*, drawn with a fixed seed:
//! - contact pressure: the job's, with 10 %; without one 0.8 to 1.7 GPa with 90 % probability,
//!   median 1.17 GPa, for 552 MPa yield, in proportion to yield (an engineering prior);
//! - radial force: the job's, with its standard deviation, else 10 %;
//! - bite going down: half to all of the radial force;
//! - each joint: wall between nominal and its tolerance below, hardness 5 %;
//! - back wall yields when 85 to 100 % of the wall is cut.
//!
//! The last four are common practice, no source. Couplings are not cut: the wheels do not reach.

use super::chance::{Chance, quantile};
use kerfwatch::job::Job;
use kerfwatch::model::groove_law::{UniversalSequence, Wheel, work_j_m};
use serde::Serialize;

/// Draws for the full forecast.
pub(crate) const DRAWS: usize = 4000;

/// Strokes beyond this are never: no crew strokes for a month.
pub const STROKES_MAX: f64 = 1e5;

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

/// What the cutter is, before any draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutterPlan {
    /// Wheels in one groove.
    pub wheels: u32,
    /// Nominal wheel; its pressure is the median of the prior.
    pub wheel: Wheel,
    /// Standard deviation of the log of contact pressure.
    pub pressure_log_sd: f64,
    /// Standard deviation of radial force over its mean.
    pub force_sd: f64,
    /// Nominal wall, m.
    pub wall_m: f64,
    /// Wall tolerance below nominal, fraction.
    pub wall_tolerance: f64,
}

/// Median of the prior and its spread when the job gives no contact pressure.
const PRIOR_MEDIAN_PA: f64 = 1.166e9;
const PRIOR_LOG_SD: f64 = 0.229;
const PRIOR_YIELD_PA: f64 = 552e6;

impl CutterPlan {
    /// From a job.
    pub fn new(job: &Job) -> Self {
        let (pressure_pa, pressure_log_sd) = match job.cutter.contact_pressure {
            Some(given) => (given.si(), 0.1),
            None => {
                let yields = job.tubular.yield_strength.si() / PRIOR_YIELD_PA;
                (PRIOR_MEDIAN_PA * yields, PRIOR_LOG_SD)
            }
        };
        let force = job.cutter.radial_force.si();
        Self {
            wheels: job.cutter.wheels,
            wheel: Wheel {
                force_n: force,
                radius_m: job.cutter.radius.si(),
                half_angle_rad: 0.5 * job.cutter.edge_angle.si(),
                pressure_pa,
                flat_width_m: 0.0,
                reach_m: job.cutter.reach.si(),
            },
            pressure_log_sd,
            force_sd: job.cutter.radial_force_sd.map_or(0.1, |sd| sd.si() / force),
            wall_m: job.tubular.wall.si(),
            wall_tolerance: job.tubular.wall_tolerance,
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

    /// Drag of a whole stroke, all wheels, on a groove of depth `d0_m`, N.
    pub fn stroke_drag_n(&self, d0_m: f64) -> f64 {
        let after = (0..self.wheels).fold(d0_m, |d, _| self.wheel.pass_m(d));
        let u_tan_b = self.wheel.pressure_pa * self.wheel.half_angle_rad.tan();
        work_j_m(d0_m, after, u_tan_b)
    }

    /// Drag of the first stroke down, after one stroke up on uncut wall, N: the largest drag that
    /// the weight of the tool has to overcome.
    pub fn first_down_drag_n(&self) -> f64 {
        let after = (0..self.wheels).fold(0.0, |d, _| self.wheel.pass_m(d));
        self.stroke_drag_n(after)
    }

    /// Strokes until each joint and until all `joints` are split.
    pub fn strokes(
        &self,
        joints: usize,
        draws: usize,
        seed: u64,
        sequence: &UniversalSequence,
    ) -> (Vec<Quantiles>, Quantiles) {
        let mut chance = Chance::new(seed);
        let mut by_joint = vec![Vec::with_capacity(draws); joints];
        let mut all = Vec::with_capacity(draws);
        for _ in 0..draws {
            let pressure = self.wheel.pressure_pa * (self.pressure_log_sd * chance.normal()).exp();
            let force = (self.wheel.force_n * (1.0 + self.force_sd * chance.normal()))
                .max(0.1 * self.wheel.force_n);
            let down = chance.between(0.5, 1.0);
            // A pass advances as the square of the force once the groove is there.
            let passes_per_stroke = f64::from(self.wheels) * 0.5 * (1.0 + down * down);
            let mut longest = 0.0_f64;
            for strokes in &mut by_joint {
                let wall = self.wall_m * (1.0 - self.wall_tolerance * chance.even());
                let hardness = (0.05 * chance.normal()).exp();
                let needed = wall * chance.between(0.85, 1.0);
                let wheel = Wheel {
                    force_n: force,
                    pressure_pa: pressure * hardness,
                    ..self.wheel
                };
                let n = if needed > self.wheel.reach_m {
                    f64::INFINITY
                } else {
                    (sequence.passes_to(needed, wheel.kappa()) / passes_per_stroke).ceil()
                };
                longest = longest.max(n);
                strokes.push(n);
            }
            all.push(longest);
        }
        let joints = by_joint
            .iter_mut()
            .map(|strokes| Quantiles::of(strokes, STROKES_MAX))
            .collect();
        (joints, Quantiles::of(&mut all, STROKES_MAX))
    }
}

#[cfg(test)]
#[path = "cut_tests.rs"]
mod tests;
