//! Values that are each readable but can't be true, alone or together.
//!
//! *Input*: a job in which an unreadable value is NaN. Every test is written so that NaN passes:
//! what could not be read was reported before. *Limits*: bounds are wide, they catch slips of unit
//! and of decimal point; the narrow ones say "warning" and name where they come from.

use super::quantity::Dimension as D;
use super::report::Report;
use super::{Job, SurveyStation};
use crate::units::GRAVITY;
use std::f64::consts::PI;

/// Checks the whole job.
pub(super) fn check(job: &Job, report: &Report<'_>) {
    interval(job, report);
    fluid(job, report);
    line(job, report);
    tool_and_cutter(job, report);
    tubular(job, report);
    couplings(job, report);
    weight_on_line(job, report);
    alarm(job, report);
    services(job, report);
}

/// One station by itself.
pub(super) fn survey_station(name: &str, station: &SurveyStation, report: &Report<'_>) {
    report.within(name, "md", station.md.si(), D::Length, 0.0, 15_000.0);
    report.within(name, "inc", station.inc.si(), D::Angle, 0.0, PI);
    report.within(name, "azi", station.azi.si(), D::Angle, -2.0 * PI, 2.0 * PI);
}

/// Stations against each other, in file order.
pub(super) fn survey_order(survey: &[SurveyStation], report: &Report<'_>) {
    for (position, pair) in survey.windows(2).enumerate() {
        if pair[1].md.si() <= pair[0].md.si() {
            report.fault(
                &format!("survey {}", position + 2),
                "md",
                format!(
                    "{}, not below the station before it at {}",
                    D::Length.show(pair[1].md.si()),
                    D::Length.show(pair[0].md.si())
                ),
                "the stations in order of measured depth, each depth once",
            );
        }
    }
}

fn interval(job: &Job, report: &Report<'_>) {
    let top = job.info.interval_top.si();
    let bottom = job.info.interval_bottom.si();
    report.within("job", "interval_top", top, D::Length, 0.0, 15_000.0);
    report.within("job", "interval_bottom", bottom, D::Length, 0.0, 15_000.0);
    let bin_fits = report.within("job", "bin", job.info.bin.si(), D::Length, 0.01, 10.0);
    if top >= bottom {
        report.fault(
            "job",
            "interval_bottom",
            format!(
                "{}, which is not below interval_top at {}",
                D::Length.show(bottom),
                D::Length.show(top)
            ),
            "the greater depth in interval_bottom (depth grows down the hole)",
        );
    } else if bin_fits && bottom - top < job.info.bin.si() {
        report.fault(
            "job",
            "bin",
            format!(
                "{}, longer than the interval",
                D::Length.show(job.info.bin.si())
            ),
            "a bin shorter than the interval, e.g. bin = \"0.1 m\"",
        );
    } else if bottom - top > 1000.0 {
        report.warn(
            "job",
            "interval_bottom",
            format!("an interval of {}", D::Length.show(bottom - top)),
            "the interval that is cut in one job, if this is not it",
        );
    }
    // A single station at the surface means a vertical well, as deep as it takes.
    if let Some(last) = job.survey.last()
        && job.survey.len() > 1
    {
        let beyond = bottom - last.md.si();
        let found = format!(
            "{}, which is {} below the last survey station",
            D::Length.show(bottom),
            D::Length.show(beyond)
        );
        // About one stand-off of survey stations; the usual spacing is 30 m (common practice).
        if beyond > 50.0 {
            report.fault(
                "job",
                "interval_bottom",
                found,
                "a survey that reaches the interval, or an interval inside it",
            );
        } else if beyond > 0.0 {
            report.warn(
                "job",
                "interval_bottom",
                found,
                "one more [[survey]] station below the interval; the last direction is carried on",
            );
        }
    }
}

fn fluid(job: &Job, report: &Report<'_>) {
    report.within(
        "fluid",
        "density",
        job.fluid.density.si(),
        D::Density,
        0.0,
        3000.0,
    );
    report.within(
        "fluid",
        "wellhead_pressure",
        job.fluid.wellhead_pressure.si(),
        D::Pressure,
        0.0,
        150e6,
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

fn line(job: &Job, report: &Report<'_>) {
    let line = &job.line;
    report.within(
        "line",
        "diameter",
        line.diameter.si(),
        D::Length,
        1e-3,
        12e-3,
    );
    report.within(
        "line",
        "modulus",
        line.modulus.si(),
        D::Pressure,
        80e9,
        260e9,
    );
    report.within(
        "line",
        "density",
        line.density.si(),
        D::Density,
        4000.0,
        10_000.0,
    );
    report.within(
        "line",
        "expansion",
        line.expansion.si(),
        D::Expansion,
        0.0,
        50e-6,
    );
    report.within(
        "line",
        "breaking_load",
        line.breaking_load.si(),
        D::Force,
        500.0,
        200e3,
    );
    report.within(
        "line",
        "stuffing_box_friction",
        line.stuffing_box_friction.si(),
        D::Force,
        0.0,
        20e3,
    );
    report.number_within("line", "friction_up", line.friction_up, 0.0, 1.0);
    report.number_within("line", "friction_down", line.friction_down, 0.0, 1.0);

    let area = PI * line.diameter.si().powi(2) / 4.0;
    let strength = line.breaking_load.si() / area;
    // Plain steel 1500-1650 MPa, improved grades 20-40 % more (from memory, see references).
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
            // D/d of 120 and above: common practice, from memory (references, section 5).
            if ratio < 120.0 {
                report.warn(
                    &name,
                    "diameter",
                    format!(
                        "{}, {ratio:.0} times the line diameter",
                        D::Length.show(sheave.diameter.si())
                    ),
                    "a sheave of 120 times the line diameter or more, to spare the line",
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

fn tool_and_cutter(job: &Job, report: &Report<'_>) {
    let (tool, cutter, tubular) = (&job.tool, &job.cutter, &job.tubular);
    report.within("tool", "mass", tool.mass.si(), D::Mass, 1.0, 2000.0);
    report.within(
        "tool",
        "weak_point",
        tool.weak_point.si(),
        D::Force,
        100.0,
        200e3,
    );
    report.within(
        "tool",
        "cutter_offset",
        tool.cutter_offset.si(),
        D::Length,
        0.0,
        50.0,
    );
    if tool.displaced_volume.si() < 0.0
        || tool.displaced_volume.si() * job.fluid.density.si() >= tool.mass.si()
    {
        report.fault(
            "tool",
            "displaced_volume",
            format!(
                "{}, in which fluid of this density bears the whole tool",
                D::Volume.show(tool.displaced_volume.si())
            ),
            "the volume of the tool, e.g. its mass divided by 7850 kg/m3",
        );
    }
    if tool.weak_point.si() > job.line.breaking_load.si() {
        report.warn(
            "tool",
            "weak_point",
            format!(
                "{}, above the breaking load of the line at {}: the line parts first, anywhere",
                D::Force.show(tool.weak_point.si()),
                D::Force.show(job.line.breaking_load.si())
            ),
            "a weak point below the breaking load",
        );
    }

    report.within("cutter", "radius", cutter.radius.si(), D::Length, 1e-3, 0.2);
    report.within(
        "cutter",
        "edge_angle",
        cutter.edge_angle.si(),
        D::Angle,
        5f64.to_radians(),
        170f64.to_radians(),
    );
    report.within(
        "cutter",
        "radial_force",
        cutter.radial_force.si(),
        D::Force,
        10.0,
        100e3,
    );
    if let Some(sd) = cutter.radial_force_sd
        && (sd.si() < 0.0 || sd.si() >= cutter.radial_force.si())
    {
        report.fault(
            "cutter",
            "radial_force_sd",
            D::Force.show(sd.si()),
            format!(
                "a standard deviation below the radial force of {}",
                D::Force.show(cutter.radial_force.si())
            ),
        );
    }
    if let Some(pressure) = cutter.contact_pressure
        && report.within(
            "cutter",
            "contact_pressure",
            pressure.si(),
            D::Pressure,
            0.1e9,
            10e9,
        )
        && !(0.5e9..=4e9).contains(&pressure.si())
    {
        report.warn(
            "cutter",
            "contact_pressure",
            format!(
                "{}; steel pipe usually gives 0.8 to 1.7 GPa",
                D::Pressure.show(pressure.si())
            ),
            "the figure of a test cut, or leave the key out",
        );
    }
    // A wall thicker than the pipe's radius is the fault then, not the cutter.
    if cutter.reach.si() < tubular.wall.si() && tubular.wall.si() < tubular.od.si() / 2.0 {
        report.fault(
            "cutter",
            "reach",
            format!(
                "{}, less than the wall of {}: this cutter can't split this pipe",
                D::Length.show(cutter.reach.si()),
                D::Length.show(tubular.wall.si())
            ),
            "how deep a wheel reaches below the inner surface, more than the wall",
        );
    }
    if cutter.reach.si() > 2.0 * cutter.radius.si() {
        report.fault(
            "cutter",
            "reach",
            format!(
                "{}, more than the whole wheel",
                D::Length.show(cutter.reach.si())
            ),
            "how deep a wheel reaches below the inner surface",
        );
    } else if cutter.reach.si() > cutter.radius.si() {
        report.warn(
            "cutter",
            "reach",
            format!(
                "{}, more than the wheel radius of {}",
                D::Length.show(cutter.reach.si()),
                D::Length.show(cutter.radius.si())
            ),
            "how deep a wheel reaches before its hub touches the pipe",
        );
    }
    let inside = tubular.od.si() - 2.0 * tubular.wall.si();
    if inside > 0.0 && 2.0 * cutter.radius.si() >= inside {
        report.fault(
            "cutter",
            "radius",
            format!(
                "{}: the wheel does not go into a pipe of {} inside",
                D::Length.show(cutter.radius.si()),
                D::Length.show(inside)
            ),
            "the radius (not the diameter) of a wheel",
        );
    }
}

fn tubular(job: &Job, report: &Report<'_>) {
    let tubular = &job.tubular;
    report.within("tubular", "od", tubular.od.si(), D::Length, 0.02, 0.6);
    report.within(
        "tubular",
        "yield",
        tubular.yield_strength.si(),
        D::Pressure,
        100e6,
        2e9,
    );
    report.within(
        "tubular",
        "coupling_length",
        tubular.coupling_length.si(),
        D::Length,
        0.0,
        1.0,
    );
    report.number_within(
        "tubular",
        "wall_tolerance",
        tubular.wall_tolerance,
        0.0,
        0.5,
    );
    if tubular.wall.si() >= tubular.od.si() / 2.0 {
        report.fault(
            "tubular",
            "wall",
            format!(
                "{}, which is thicker than the radius of {}",
                D::Length.show(tubular.wall.si()),
                D::Length.show(tubular.od.si() / 2.0)
            ),
            "the wall thickness, e.g. wall = \"6.45 mm\"",
        );
    } else {
        report.within("tubular", "wall", tubular.wall.si(), D::Length, 0.5e-3, 0.1);
    }
    if tubular.coupling_od.si() < tubular.od.si() {
        report.fault(
            "tubular",
            "coupling_od",
            format!(
                "{}, smaller than the pipe at {}",
                D::Length.show(tubular.coupling_od.si()),
                D::Length.show(tubular.od.si())
            ),
            "the outside diameter of the coupling, at least that of the pipe",
        );
    } else if tubular.coupling_od.si() > 2.0 * tubular.od.si() {
        report.fault(
            "tubular",
            "coupling_od",
            format!(
                "{}, more than twice the pipe",
                D::Length.show(tubular.coupling_od.si())
            ),
            "the outside diameter of the coupling",
        );
    }
}

fn couplings(job: &Job, report: &Report<'_>) {
    let length = job.tubular.coupling_length.si();
    for (position, coupling) in job.couplings.iter().enumerate() {
        let name = format!("joint {}", position + 1);
        let depth = coupling.si();
        report.within(&name, "coupling", depth, D::Length, 0.0, 15_000.0);
        let Some(before) = position.checked_sub(1).and_then(|p| job.couplings.get(p)) else {
            continue;
        };
        let spacing = depth - before.si();
        if spacing <= 0.0 {
            report.fault(
                &name,
                "coupling",
                format!(
                    "{}, not below the coupling before it at {}",
                    D::Length.show(depth),
                    D::Length.show(before.si())
                ),
                "the couplings in order of depth, each once",
            );
        } else if spacing < length.max(0.3) {
            report.fault(
                &name,
                "coupling",
                format!(
                    "{}, only {} below the one before it",
                    D::Length.show(depth),
                    D::Length.show(spacing)
                ),
                "the depth of the middle of each coupling",
            );
        } else if spacing > 15.0 {
            report.warn(
                &name,
                "coupling",
                format!(
                    "{} below the one before it, longer than a joint",
                    D::Length.show(spacing)
                ),
                "every coupling of the tally in and next to the interval",
            );
        }
    }
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    if job.couplings.is_empty() {
        report.warn(
            "joint",
            "",
            "no [[joint]], so couplings are not known and the interval counts as one joint",
            "one [[joint]] with coupling = \"...\" for each coupling of the tally",
        );
    } else if !job
        .couplings
        .iter()
        .any(|c| c.si() > top - 15.0 && c.si() < bottom + 15.0)
        && top < bottom
    {
        report.warn(
            "joint 1",
            "coupling",
            "no coupling in or next to the interval",
            "the couplings of the tally from above the interval to below it",
        );
    }
}

/// Line and tool hanging in the fluid, without friction; average-angle depth is near enough here.
fn weight_on_line(job: &Job, report: &Report<'_>) {
    if !(1e-3..=12e-3).contains(&job.line.diameter.si()) {
        return; // reported as such; every weight would be wrong
    }
    let bottom = job.info.interval_bottom.si();
    let mut vertical = 0.0;
    for (position, station) in job.survey.iter().enumerate() {
        let next = job.survey.get(position + 1);
        let until = next.map_or(bottom, |n| n.md.si().min(bottom));
        let inc = next.map_or(station.inc.si(), |n| 0.5 * (station.inc.si() + n.inc.si()));
        vertical += (until - station.md.si()).max(0.0) * inc.cos();
    }
    let area = PI * job.line.diameter.si().powi(2) / 4.0;
    let per_metre = area * (job.line.density.si() - job.fluid.density.si()) * GRAVITY;
    let tool =
        (job.tool.mass.si() - job.tool.displaced_volume.si() * job.fluid.density.si()) * GRAVITY;
    let line = per_metre * vertical;
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
    if job.alarm.tension_limit.is_some() && limit > weakest {
        report.fault(
            "alarm",
            "tension_limit",
            format!(
                "{}, above the weakest link, which parts at {} of surface tension",
                D::Force.show(limit),
                D::Force.show(weakest)
            ),
            "a limit below the weakest link, commonly half of it (common practice)",
        );
    }
}

fn alarm(job: &Job, report: &Report<'_>) {
    let alarm = &job.alarm;
    if let Some(limit) = alarm.tension_limit {
        report.within("alarm", "tension_limit", limit.si(), D::Force, 100.0, 200e3);
    }
    report.number_within(
        "alarm",
        "tension_fraction",
        alarm.tension_fraction,
        0.05,
        1.0,
    );
    if alarm.tension_fraction > 0.8 && alarm.tension_fraction <= 1.0 {
        report.warn(
            "alarm",
            "tension_fraction",
            format!(
                "{}, leaving little time before the weakest link parts",
                alarm.tension_fraction
            ),
            "0.5 to 0.6 (common practice; ask the owner of the line)",
        );
    }
    report.number_within("alarm", "line_life", alarm.line_life, 0.01, 1.0);
    report.within(
        "alarm",
        "overpull",
        alarm.overpull.si(),
        D::Force,
        10.0,
        200e3,
    );
    report.within("alarm", "slack", alarm.slack.si(), D::Force, 1.0, 200e3);
    report.within("alarm", "speed", alarm.speed.si(), D::Speed, 0.01, 20.0);
    report.within(
        "alarm",
        "approaching",
        alarm.approaching.si(),
        D::Time,
        0.0,
        60.0,
    );
    if let Some(upper) = alarm.upper_stop
        && upper.si() > job.info.interval_top.si()
    {
        report.fault(
            "alarm",
            "upper_stop",
            format!(
                "{}, below the top of the interval at {}",
                D::Length.show(upper.si()),
                D::Length.show(job.info.interval_top.si())
            ),
            "a stop above the interval",
        );
    }
    if let Some(lower) = alarm.lower_stop
        && lower.si() < job.info.interval_bottom.si()
    {
        report.fault(
            "alarm",
            "lower_stop",
            format!(
                "{}, above the bottom of the interval at {}",
                D::Length.show(lower.si()),
                D::Length.show(job.info.interval_bottom.si())
            ),
            "a stop below the interval",
        );
    }
}

fn services(job: &Job, report: &Report<'_>) {
    report.within("record", "sync", job.record.sync.si(), D::Time, 0.01, 60.0);
    if job.record.folder.trim().is_empty() {
        report.fault(
            "record",
            "folder",
            "an empty name",
            "the folder for runs, e.g. folder = \"runs\"",
        );
    }
    let listen = job.page.listen.as_str();
    let local = listen.strip_prefix("localhost:");
    if listen.parse::<std::net::SocketAddr>().is_err()
        && local.is_none_or(|port| port.parse::<u16>().is_err())
    {
        report.fault(
            "page",
            "listen",
            format!("\"{}\"", job.page.listen),
            "an address and port, e.g. listen = \"127.0.0.1:8760\"",
        );
    }
    if let Some(forward) = &job.forward {
        report.within(
            "forward",
            "rate",
            forward.rate_hz,
            D::Frequency,
            0.001,
            1000.0,
        );
        if !forward.url.is_empty()
            && !forward.url.starts_with("http://")
            && !forward.url.starts_with("https://")
        {
            report.fault(
                "forward",
                "url",
                format!("\"{}\"", forward.url),
                "the address of the server, e.g. url = \"http://127.0.0.1:8086\"",
            );
        }
    }
}
