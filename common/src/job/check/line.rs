//! Fluid, line and sheaves, and what hangs on the line.

use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::job::report::Report;
use crate::model::bending::SHEAVE_RATIO_ADVISED;
use crate::model::line::{LineInFluid, tool_weight_in_fluid_n, wire_area_m2};
use crate::model::wellpath::WellPath;

pub(super) fn fluid(job: &Job, report: &Report<'_>) {
    report.all_within(
        "fluid",
        &[
            ("density", job.fluid.density.si(), D::Density, 0.0, 3000.0),
            (
                "wellhead_pressure",
                job.fluid.wellhead_pressure.si(),
                D::Pressure,
                0.0,
                150e6,
            ),
        ],
    );
    if let Some(gradient) = job.fluid.temperature_gradient {
        report.within(
            "fluid",
            "temperature_gradient",
            gradient.si(),
            D::TemperatureGradient,
            -0.02,
            0.3,
        );
    }
}

pub(super) fn line(job: &Job, report: &Report<'_>) {
    let line = &job.line;
    report.all_within(
        "line",
        &[
            ("diameter", line.diameter.si(), D::Length, 1e-3, 12e-3),
            ("modulus", line.modulus.si(), D::Pressure, 80e9, 260e9),
            ("density", line.density.si(), D::Density, 4000.0, 10_000.0),
            ("expansion", line.expansion.si(), D::Expansion, 0.0, 50e-6),
            (
                "breaking_load",
                line.breaking_load.si(),
                D::Force,
                500.0,
                200e3,
            ),
            (
                "stuffing_box_friction",
                line.stuffing_box_friction.si(),
                D::Force,
                0.0,
                20e3,
            ),
        ],
    );
    report.number_within("line", "friction_up", line.friction_up, 0.0, 1.0);
    report.number_within("line", "friction_down", line.friction_down, 0.0, 1.0);

    let strength = line.breaking_load.si() / wire_area_m2(line.diameter.si());
    // Plain steel 1500-1650 MPa, improved grades 20-40 % more (from memory).
    if !(800e6..=3000e6).contains(&strength) && strength.is_finite() {
        report.warn(
            "line",
            "breaking_load",
            format!(
                "{}, which is {} on this diameter; wire usually has 1500 to 2300 MPa",
                D::Force.show(line.breaking_load.si()),
                D::Pressure.show(strength)
            ),
            "the breaking load and the diameter of the wire certificate",
        );
    }
    if let Some(length) = line.length_on_drum {
        let needed = job.info.interval_bottom.si() - job.tool.cutter_offset.si();
        if length.si() < needed {
            report.fault(
                "line",
                "length_on_drum",
                format!(
                    "{}, too short to reach the interval",
                    D::Length.show(length.si())
                ),
                format!("at least {} of line", D::Length.show(needed)),
            );
        }
    }
    for (position, sheave) in line.sheaves.iter().enumerate() {
        let name = format!("line.sheave {}", position + 1);
        report.within(&name, "path", sheave.path.si(), D::Length, 0.0, 1000.0);
        let turns = std::f64::consts::TAU;
        report.within(&name, "wrap", sheave.wrap.si(), D::Angle, 0.0, 2.0 * turns);
        if report.within(
            &name,
            "diameter",
            sheave.diameter.si(),
            D::Length,
            0.02,
            5.0,
        ) {
            let ratio = sheave.diameter / line.diameter;
            if ratio < SHEAVE_RATIO_ADVISED {
                report.warn(
                    &name,
                    "diameter",
                    format!(
                        "{}, {ratio:.0} times the line diameter",
                        D::Length.show(sheave.diameter.si())
                    ),
                    format!(
                        "a sheave of {SHEAVE_RATIO_ADVISED} times the line diameter or more, to spare the line"
                    ),
                );
            }
        }
    }
    if let Some(life) = line.bending_life {
        report.within(
            "line.bending_life",
            "stress",
            life.stress.si(),
            D::Pressure,
            1e6,
            10e9,
        );
        report.number_within("line.bending_life", "cycles", life.cycles, 1.0, 1e9);
        report.number_within("line.bending_life", "exponent", life.exponent, 0.5, 50.0);
    }
}

/// Line and tool hanging in the fluid, without friction.
pub(super) fn weight_on_line(job: &Job, report: &Report<'_>) {
    if !(1e-3..=12e-3).contains(&job.line.diameter.si()) {
        return; // reported as such; every weight would be wrong
    }
    let Ok(path) = WellPath::from_survey(&job.survey) else {
        return; // reported station by station
    };
    let vertical = path.position(job.info.interval_bottom.si()).tvd_m;
    let line = LineInFluid::from_job(&job.line, &job.fluid).weight_n_m * vertical;
    let tool = tool_weight_in_fluid_n(
        job.tool.mass.si(),
        job.tool.displaced_volume.si(),
        job.fluid.density.si(),
    );
    let total = line + tool;
    if total >= job.line.breaking_load.si() {
        report.fault(
            "line",
            "breaking_load",
            format!(
                "{}, but line and tool alone weigh {} at the bottom of the interval",
                D::Force.show(job.line.breaking_load.si()),
                D::Force.show(total)
            ),
            "a line that carries its own weight and the tool",
        );
        return;
    }
    if tool >= job.tool.weak_point.si() {
        report.fault(
            "tool",
            "weak_point",
            format!(
                "{}, but the tool alone weighs {} in the fluid",
                D::Force.show(job.tool.weak_point.si()),
                D::Force.show(tool)
            ),
            "the load at which the weak point parts",
        );
        return;
    }
    // As in the weakest-link model: the weak point does not see the weight of the line above it.
    let weakest = |fraction: f64| {
        let line_limit = fraction * job.line.breaking_load.si();
        line_limit.min(fraction * job.tool.weak_point.si() + line)
    };
    let limit = match job.alarm.tension_limit {
        Some(limit) => limit.si(),
        None => weakest(job.alarm.tension_fraction),
    };
    let weakest = weakest(1.0);
    let key = if job.alarm.tension_limit.is_some() {
        "tension_limit"
    } else {
        "tension_fraction"
    };
    if total >= limit {
        report.warn(
            "alarm",
            key,
            format!(
                "a tension limit of {}, below the hanging weight of {} at the bottom of the interval: \
                 the overpull alarm would stand all the time",
                D::Force.show(limit),
                D::Force.show(total)
            ),
            "a stronger line or weak point, a lighter tool, or a limit agreed with the line's owner",
        );
    }
    let overpull = job.alarm.overpull.si();
    if total < limit && total + overpull > limit {
        report.warn(
            "alarm",
            "overpull",
            format!(
                "{}, but the tension limit is {} above the hanging weight: the limit is reached first",
                D::Force.show(overpull),
                D::Force.show(limit - total)
            ),
            "a pull that warns before the limit does",
        );
    }
    if job.alarm.tension_limit.is_some() && limit > weakest {
        report.warn(
            "alarm",
            "tension_limit",
            format!(
                "{}, above the weakest link, which parts at {} of surface tension: the alarm comes there, too late",
                D::Force.show(limit),
                D::Force.show(weakest)
            ),
            "a limit below the weakest link, commonly half of it (common practice)",
        );
    }
}
