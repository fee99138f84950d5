//! What nobody knows before the job, and how it is drawn. One draw is one way the job may go.
//!
//! | unknown | drawn | from |
//! |---|---|---|
//! | contact pressure | job's value with 10 %; without one, median 1.17 GPa at 552 MPa yield, 0.8 to 1.7 with 90 % | `kerfwatch::model::wheel_contact` |
//! | radial force | job's value with its standard deviation, else 12.5 % | common practice, no source |
//! | bite going down | half to all of the radial force | common practice, no source |
//! | force lost by the end of the cut, edges blunted | none to 15 % of the radial force | common practice, no source |
//! | groove depth over what the groove law makes of the passes | 12 % | no groove follows one law: worked metal hardens, a thin wall yields as a whole; the core allows as much |
//! | rolling drag of wheels and rollers | 2 to 10 % of the radial force | axle friction alone gives 3 %; rest from memory |
//! | friction of the tool on the pipe | 0.15 with 0.08 | common practice, no source |
//! | weight of the tool | 2 % | weighing |
//! | line friction | job's values with 18 % | common practice, no source |
//! | by joint: wall | a quarter of the tolerance below nominal, with as much spread, never beyond the tolerance | common practice, no source |
//! | by place (0.4 m): hardness, part of the wall at which the back yields | 8 %; 85 to 100 % | back wall: slip-line theory says early, part from memory |

use super::chance::Chance;
use kerfwatch::job::Job;
use kerfwatch::model::wheel_contact::before_any_cut;

/// Standard deviation of the logarithm of a contact pressure that the job gives.
pub(super) const PRESSURE_GIVEN_SD: f64 = 0.1;
/// Standard deviation of radial force over its mean, where the job gives none.
const FORCE_SD: f64 = 0.125;
/// Radial force going down over going up.
pub(super) const BITE_DOWN: (f64, f64) = (0.5, 1.0);
/// Part of the radial force lost by the end of the cut.
pub(super) const FORCE_LOST: (f64, f64) = (0.0, 0.15);
/// Rolling drag over radial force.
pub(super) const ROLLING: (f64, f64) = (0.02, 0.10);
/// Mean and standard deviation of the friction coefficient of the tool.
pub(crate) const TOOL_FRICTION: (f64, f64) = (0.15, 0.08);
/// Standard deviation of the tool's weight, part.
pub(super) const TOOL_WEIGHT_SD: f64 = 0.02;
/// Standard deviation of line friction, part.
pub(super) const LINE_FRICTION_SD: f64 = 0.18;

/// Standard deviation of the logarithm of depth that the groove law leaves open.
pub(super) const LAW_SD: f64 = 0.12;
/// Standard deviation of the logarithm of hardness from place to place.
pub(super) const PLACE_HARDNESS_SD: f64 = 0.08;
/// Part of the wall at which the back yields.
pub(super) const PLACE_YIELDS: (f64, f64) = (0.85, 1.0);

/// Spreads for one job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unknowns {
    /// Median contact pressure, Pa.
    pub pressure_pa: f64,
    /// Standard deviation of its logarithm.
    pub pressure_log_sd: f64,
    /// Standard deviation of radial force over its mean.
    pub force_sd: f64,
    /// Wall tolerance below nominal, part.
    pub wall_tolerance: f64,
}

/// What all joints share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Draw {
    /// Contact pressure, Pa.
    pub(super) pressure_pa: f64,
    /// Radial force over nominal.
    pub(super) force: f64,
    /// Radial force going down over going up.
    pub(super) down: f64,
    /// Part of the radial force lost by the end.
    pub(super) loss: f64,
    /// Groove depth over that of the groove law.
    pub(super) law: f64,
    /// Rolling drag over radial force.
    pub(super) rolling: f64,
    /// Friction coefficient of the tool.
    pub(super) tool_friction: f64,
    /// Weight of the tool over nominal.
    pub(super) tool_weight: f64,
    /// Surface weight going up, in standard deviations of its own error.
    pub(super) weight_error: f64,
}

impl Draw {
    /// Every unknown in its middle, for figures that are told without a band.
    pub(super) fn middle(unknowns: &Unknowns) -> Self {
        let middle = |(low, high): (f64, f64)| 0.5 * (low + high);
        Self {
            pressure_pa: unknowns.pressure_pa,
            force: 1.0,
            down: middle(BITE_DOWN),
            loss: middle(FORCE_LOST),
            law: 1.0,
            rolling: middle(ROLLING),
            tool_friction: TOOL_FRICTION.0,
            tool_weight: 1.0,
            weight_error: 0.0,
        }
    }
}

impl Unknowns {
    /// From a job.
    pub fn new(job: &Job) -> Self {
        let (pressure_pa, pressure_log_sd) = match job.cutter.contact_pressure {
            Some(given) => (given.si(), PRESSURE_GIVEN_SD),
            None => {
                let expected = before_any_cut(job.tubular.yield_strength.si());
                (expected.median_pa, expected.log_sd)
            }
        };
        let force = job.cutter.radial_force.si();
        let given = job.cutter.radial_force_sd.map(|sd| sd.si() / force);
        Self {
            pressure_pa,
            pressure_log_sd,
            force_sd: given.unwrap_or(FORCE_SD),
            wall_tolerance: job.tubular.wall_tolerance,
        }
    }

    /// One way the job may go.
    pub(super) fn draw(&self, chance: &mut Chance) -> Draw {
        Draw {
            pressure_pa: self.pressure_pa * (self.pressure_log_sd * chance.normal()).exp(),
            force: (1.0 + self.force_sd * chance.normal()).max(0.1),
            down: chance.between(BITE_DOWN.0, BITE_DOWN.1),
            loss: chance.between(FORCE_LOST.0, FORCE_LOST.1),
            law: (LAW_SD * chance.normal()).exp(),
            rolling: chance.between(ROLLING.0, ROLLING.1),
            tool_friction: (TOOL_FRICTION.0 + TOOL_FRICTION.1 * chance.normal()).max(0.02),
            tool_weight: 1.0 + TOOL_WEIGHT_SD * chance.normal(),
            weight_error: chance.normal(),
        }
    }

    /// Wall of one joint over nominal.
    pub(super) fn wall(&self, chance: &mut Chance) -> f64 {
        let quarter = 0.25 * self.wall_tolerance;
        (1.0 - quarter + quarter * chance.normal()).clamp(1.0 - self.wall_tolerance, 1.0 + quarter)
    }

    /// One place along a joint: contact pressure over mean, part of the wall that must be cut.
    pub(super) fn place(chance: &mut Chance) -> (f64, f64) {
        (
            (PLACE_HARDNESS_SD * chance.normal()).exp(),
            chance.between(PLACE_YIELDS.0, PLACE_YIELDS.1),
        )
    }
}
