//! Weights, stretch and margins expected with the wheels in the middle of the interval.

use super::Text;
use crate::job::Job;
use crate::job::quantity::{Dimension as D, significant};
use crate::model::Motion;
use crate::model::line::{LineInFluid, tool_weight_in_fluid_n};
use crate::model::profile_table::ProfileTable;
use crate::model::soft_string::{critical_inclination_rad, tool_pull_n};
use crate::model::weakest_link::{Link, WeakestLink};
use crate::model::wellpath::WellPath;
use crate::units::{METRES_PER_FOOT, NEWTONS_PER_LBF};

/// Line speed of the example of a stall, m/s.
const STROKING_M_S: f64 = 0.3;

pub(super) fn expected(job: &Job, text: &mut Text) {
    let path = match WellPath::from_survey(&job.survey) {
        Ok(path) => path,
        Err(error) => {
            text.row("survey", format!("can't be used: {error}"));
            return;
        }
    };
    let wheels = 0.5 * (job.info.interval_top.si() + job.info.interval_bottom.si());
    let socket = (wheels - job.tool.cutter_offset.si()).max(1.0);
    let line = LineInFluid::from_job(&job.line, &job.fluid);
    let table = ProfileTable::new(
        &path,
        line,
        job.line.friction_up,
        job.line.friction_down,
        socket + 100.0,
    );
    let packing = job.line.stuffing_box_friction.si();
    let tool = tool_weight_in_fluid_n(
        job.tool.mass.si(),
        job.tool.displaced_volume.si(),
        job.fluid.density.si(),
    );
    let inc = path.inclination_rad(wheels);
    let surface = |motion: Motion, friction: f64| {
        // The tool lies on the low side with the line's friction, for want of its own.
        let end = tool_pull_n(tool, inc, friction, motion);
        let below_box = table.surface_tension(motion, end, socket);
        (
            below_box,
            line.above_stuffing_box_n(below_box, packing, motion),
        )
    };
    let (at_rest_below, at_rest) = surface(Motion::Rest, 0.0);
    let (_, pick_up) = surface(Motion::Up, job.line.friction_up);
    let (_, slack_off) = surface(Motion::Down, job.line.friction_down);
    let tvd = path.position(wheels).tvd_m;
    text.row(
        "depth of the wheels",
        format!(
            "{} along hole, {} vertical, {}",
            D::Length.show(wheels),
            D::Length.show(tvd),
            D::Angle.show(inc)
        ),
    );
    let end_at_rest = tool * inc.cos();
    text.row(
        "line weight in fluid",
        D::Force.show(at_rest_below - end_at_rest),
    );
    text.row("tool weight in fluid", D::Force.show(tool));
    text.row("static weight", D::Force.show(at_rest));
    text.row("pick-up weight", D::Force.show(pick_up));
    text.row("slack-off weight", D::Force.show(slack_off));
    if slack_off <= 0.0 {
        text.row(
            "",
            format!(
                "the tool does not go down by its own weight here; with this friction a line slides down to {}",
                D::Angle.show(critical_inclination_rad(job.line.friction_down))
            ),
        );
    }
    text.row(
        "pressure on the line",
        format!("{}, pushing it out", D::Force.show(line.pressure_force_n())),
    );
    let stretch = table.stretch(Motion::Rest, at_rest_below, socket);
    let other = table.stretch_static_corrections(socket);
    text.row(
        "stretch at rest",
        format!(
            "{} by tension, {} by temperature and pressure",
            D::Length.show(stretch),
            D::Length.show(other)
        ),
    );
    let stiffness = line.stiffness_n_m(socket);
    text.row(
        "line stiffness",
        format!(
            "{} N/m ({} lbf/ft), tool held fast",
            significant(stiffness),
            significant(stiffness * METRES_PER_FOOT / NEWTONS_PER_LBF)
        ),
    );
    text.row(
        "echo of a jerk",
        format!("after {}", D::Time.show(2.0 * line.travel_time_s(socket))),
    );
    let links = WeakestLink::from_job(job);
    let by_link = links.surface_limit(&table, packing, Motion::Rest, socket);
    let limit = by_link.limit_n;
    let (link, link_n) = if by_link.weak_point_n < by_link.line_n {
        ("the weak point", by_link.weak_point_n)
    } else {
        ("the line at surface", by_link.line_n)
    };
    text.row(
        "tension limit",
        match (by_link.by, links.given_n) {
            (Link::Given, _) => format!(
                "{}, as given; {link} parts at {}",
                D::Force.show(limit),
                D::Force.show(link_n)
            ),
            (_, Some(given)) => format!(
                "{}, at which {link} parts, below the {} given",
                D::Force.show(limit),
                D::Force.show(given)
            ),
            (_, None) => format!(
                "{}, {} of {link}",
                D::Force.show(limit),
                links.line_fraction
            ),
        },
    );
    let margin = limit - pick_up;
    if margin > 0.0 {
        text.row(
            "margin over pick-up",
            format!(
                "{}: with the tool held, {} at {}",
                D::Force.show(margin),
                D::Time.show(margin / (stiffness * STROKING_M_S)),
                D::Speed.show(STROKING_M_S)
            ),
        );
    } else {
        text.row(
            "margin over pick-up",
            "none: the tool can't be pulled within the limit",
        );
    }
}
