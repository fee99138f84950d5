//! Strokes to split, and what a coupling means.

use super::Text;
use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::model::groove_law::UniversalSequence;
use crate::model::groove_law::Wheel;

/// Contact pressures between which pipe steel usually lies, Pa (references, "what the physics says").
const PRESSURES: (f64, f64) = (0.8e9, 1.7e9);

pub(super) fn cut(job: &Job, text: &mut Text) {
    let sequence = UniversalSequence::new();
    let strokes = |pressure_pa: f64| {
        let wheel = Wheel {
            force_n: job.cutter.radial_force.si(),
            radius_m: job.cutter.radius.si(),
            half_angle_rad: 0.5 * job.cutter.edge_angle.si(),
            pressure_pa,
            flat_width_m: 0.0,
            reach_m: job.cutter.reach.si(),
        };
        sequence.passes_to(job.tubular.wall.si(), wheel.kappa()) / f64::from(job.cutter.wheels)
    };
    text.row(
        "strokes to split",
        match job.cutter.contact_pressure {
            Some(pressure) => format!(
                "about {:.0} at {}, every wheel cutting both ways",
                strokes(pressure.si()).ceil(),
                D::Pressure.show(pressure.si())
            ),
            None => format!(
                "about {:.0} to {:.0} for contact pressures of {} to {}, every wheel cutting both ways",
                strokes(PRESSURES.0).ceil(),
                strokes(PRESSURES.1).ceil(),
                D::Pressure.show(PRESSURES.0),
                D::Pressure.show(PRESSURES.1)
            ),
        },
    );
    let inside = job.tubular.od.si() - 2.0 * job.tubular.wall.si();
    let coupling = 0.5 * (job.tubular.coupling_od.si() - inside);
    text.row(
        "metal at a coupling",
        format!(
            "{}, {}",
            D::Length.show(coupling),
            if job.cutter.reach.si() >= coupling {
                "within reach of the wheels"
            } else {
                "beyond reach: couplings stay whole"
            }
        ),
    );
}
