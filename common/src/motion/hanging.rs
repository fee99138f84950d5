//! What hangs in the hole, and what the tool alone pulls.

use crate::job::Job;
use crate::model::Motion;
use crate::model::line::{LineInFluid, tool_weight_in_fluid_n};
use crate::model::soft_string::tool_pull_n;
use crate::model::wellpath::WellPath;
use crate::units::GRAVITY;

/// What never changes during a run: the wire, the hole, the tool.
#[derive(Debug, Clone)]
pub struct Hanging {
    /// Axial stiffness E A, N.
    pub ea: f64,
    /// Wave speed, m/s.
    pub wave_speed: f64,
    /// Wellhead pressure times line area, N: pushes the line out.
    pub pressure_force: f64,
    /// Packing friction, N.
    pub packing: f64,
    /// Submerged weight of the tool, N.
    pub tool_weight: f64,
    /// Rope socket to wheels, m.
    pub cutter_offset: f64,
    /// The line in its fluid.
    pub wire: LineInFluid,
    /// The hole.
    pub path: WellPath,
}

impl Hanging {
    /// From the job's nominal values.
    pub fn new(job: &Job) -> Self {
        let wire = LineInFluid::from_job(&job.line, &job.fluid);
        let tool = &job.tool;
        let tool_weight = tool_weight_in_fluid_n(
            tool.mass.si(),
            tool.displaced_volume.si(),
            job.fluid.density.si(),
        );
        Self {
            ea: wire.ea_n,
            wave_speed: wire.wave_speed_m_s(),
            pressure_force: wire.pressure_force_n(),
            packing: job.line.stuffing_box_friction.si(),
            tool_weight: tool_weight.max(1.0),
            cutter_offset: tool.cutter_offset.si(),
            // The job file reader has checked the survey; a path that cannot be made is vertical.
            path: WellPath::from_survey(&job.survey).unwrap_or_else(|_| WellPath::vertical()),
            wire,
        }
    }

    /// Tension the moving tool needs at the rope socket, N, without cutting.
    pub fn tool_pull(&self, motion: Motion, md: f64, friction: f64) -> f64 {
        let inc = self.path.inclination_rad(md);
        tool_pull_n(self.tool_weight, inc, friction, motion)
    }

    /// The same up and down.
    pub fn tool_pulls(&self, md: f64, friction: (f64, f64)) -> (f64, f64) {
        let inc = self.path.inclination_rad(md);
        let pull = |motion, friction| tool_pull_n(self.tool_weight, inc, friction, motion);
        (pull(Motion::Up, friction.0), pull(Motion::Down, friction.1))
    }

    /// Time of one swing of the tool on `length` m of line, s: a mass on a spring that carries a third of its own
    /// (Rayleigh's rule, any textbook of vibration).
    pub fn swing_s(&self, length: f64) -> f64 {
        let line_kg = self.ea / (self.wave_speed * self.wave_speed) * length;
        let mass_kg = self.tool_weight / GRAVITY + line_kg / 3.0;
        std::f64::consts::TAU * (mass_kg * length / self.ea).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    /// Lowest frequencies of 0.108 in wire with a free mass, values of the shared check table. The rule is good to 3 %.
    #[test]
    fn a_tool_swings_as_the_check_values_say() {
        let job = read_job(print_default_job(), "job").unwrap().job;
        let wire = LineInFluid::new(0.108 * 0.0254, 200e9, 7850.0, 1000.0);
        for (length, mass_kg, hertz) in [
            (1000.0, 50.0, 0.6723),
            (2000.0, 50.0, 0.4234),
            (3000.0, 50.0, 0.3139),
            (2000.0, 150.0, 0.2868),
        ] {
            let hanging = Hanging {
                ea: wire.ea_n,
                wave_speed: wire.wave_speed_m_s(),
                tool_weight: mass_kg * GRAVITY,
                ..Hanging::new(&job)
            };
            let ratio = hanging.swing_s(length) * hertz;
            assert!(
                (ratio - 1.0).abs() < 0.03,
                "{length} m, {mass_kg} kg: {ratio}"
            );
        }
    }
}
