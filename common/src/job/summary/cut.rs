//! Strokes to split, and what a coupling means.

use super::Text;
use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::model::groove_law::{UniversalSequence, Wheel};
use crate::model::wheel_contact::before_any_cut;

pub(super) fn cut(job: &Job, text: &mut Text) {
    let sequence = UniversalSequence::new();
    let strokes = |pressure_pa: f64| {
        let wheel = Wheel::from_job(&job.cutter, pressure_pa);
        sequence.passes_to(job.tubular.wall.si(), wheel.kappa()) / f64::from(job.cutter.wheels)
    };
    let expected = before_any_cut(job.tubular.yield_strength.si());
    text.row(
        "strokes to split",
        match job.cutter.contact_pressure {
            Some(pressure) => format!(
                "{:.0} at best at {}, every wheel cutting both ways; likely more, see kerfwatch-replay forecast",
                strokes(pressure.si()).ceil(),
                D::Pressure.show(pressure.si())
            ),
            None => format!(
                "{:.0} to {:.0} at best for contact pressures of {} to {}, every wheel cutting both ways; likely more, see kerfwatch-replay forecast",
                strokes(expected.low_pa).ceil(),
                strokes(expected.high_pa).ceil(),
                D::Pressure.show(expected.low_pa),
                D::Pressure.show(expected.high_pa)
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
