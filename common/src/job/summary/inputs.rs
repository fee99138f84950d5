//! What the crew knows: well, line, tool, cutter, pipe.

use super::Text;
use crate::job::Job;
use crate::job::quantity::{Dimension as D, significant};

pub(super) fn inputs(job: &Job, text: &mut Text) {
    text.out
        .push_str(&format!("{}, {}\n", job.info.name, job.info.well));
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    text.row(
        "interval",
        format!(
            "{} to {}, {} in bins of {}",
            D::Length.show(top),
            D::Length.show(bottom),
            D::Length.show(bottom - top),
            D::Length.show(job.info.bin.si())
        ),
    );
    let steepest = job.survey.iter().map(|s| s.inc.si()).fold(0.0, f64::max);
    let deepest = job.survey.last().map_or(0.0, |s| s.md.si());
    text.row(
        "survey",
        if deepest > 0.0 {
            format!(
                "{} stations to {}, greatest inclination {}",
                job.survey.len(),
                D::Length.show(deepest),
                D::Angle.show(steepest)
            )
        } else if steepest > 0.0 {
            format!("straight at {}", D::Angle.show(steepest))
        } else {
            "vertical".to_owned()
        },
    );
    let gradient = job.fluid.temperature_gradient.map_or_else(
        || "no temperature gradient given".to_owned(),
        |g| D::TemperatureGradient.show(g.si()),
    );
    text.row(
        "fluid",
        format!(
            "{}, wellhead {}, {gradient}",
            D::Density.show(job.fluid.density.si()),
            D::Pressure.show(job.fluid.wellhead_pressure.si())
        ),
    );
    let line = &job.line;
    text.row(
        "line",
        format!(
            "{}, {}, {}, breaks at {}",
            D::Length.show(line.diameter.si()),
            D::Pressure.show(line.modulus.si()),
            D::Density.show(line.density.si()),
            D::Force.show(line.breaking_load.si())
        ),
    );
    text.row(
        "friction to start with",
        format!(
            "{} pulling out, {} running in, stuffing box {}",
            significant(line.friction_up),
            significant(line.friction_down),
            D::Force.show(line.stuffing_box_friction.si())
        ),
    );
    for sheave in &line.sheaves {
        text.row(
            "sheave",
            format!(
                "{}: {} at {}, {:.0} deg of wrap, D/d {:.0}",
                sheave.name,
                D::Length.show(sheave.diameter.si()),
                D::Length.show(sheave.path.si()),
                sheave.wrap.si().to_degrees(),
                sheave.diameter / line.diameter
            ),
        );
    }
    text.row(
        "bending life",
        line.bending_life.map_or_else(
            || "not given: bends are counted only".to_owned(),
            |life| {
                format!(
                    "{} cycles at {}, exponent {}",
                    significant(life.cycles),
                    D::Pressure.show(life.stress.si()),
                    significant(life.exponent)
                )
            },
        ),
    );
    text.row(
        "tool",
        format!(
            "{}, displaces {}, weak point {}, wheels {} below the rope socket",
            D::Mass.show(job.tool.mass.si()),
            D::Volume.show(job.tool.displaced_volume.si()),
            D::Force.show(job.tool.weak_point.si()),
            D::Length.show(job.tool.cutter_offset.si())
        ),
    );
    let cutter = &job.cutter;
    text.row(
        "cutter",
        format!(
            "{} wheels of radius {}, edge {}, reach {}, {} each",
            cutter.wheels,
            D::Length.show(cutter.radius.si()),
            D::Angle.show(cutter.edge_angle.si()),
            D::Length.show(cutter.reach.si()),
            D::Force.show(cutter.radial_force.si())
        ),
    );
    let pipe = &job.tubular;
    text.row(
        "tubular",
        format!(
            "{} with a wall of {} (less {:.1} % allowed), yield {}",
            D::Length.show(pipe.od.si()),
            D::Length.show(pipe.wall.si()),
            100.0 * pipe.wall_tolerance,
            D::Pressure.show(pipe.yield_strength.si())
        ),
    );
    let inside = job
        .couplings
        .iter()
        .filter(|c| c.si() >= top && c.si() <= bottom)
        .count();
    text.row(
        "couplings",
        format!(
            "{} known, {inside} in the interval; {} outside, {} long",
            job.couplings.len(),
            D::Length.show(pipe.coupling_od.si()),
            D::Length.show(pipe.coupling_length.si())
        ),
    );
}
