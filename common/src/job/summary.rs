//! What was understood of a job, in words and in both unit systems, with derived figures.
//!
//! *Input -> output*: a checked job -> text for people (`kerfwatchd check JOB`). *Units*: metric
//! first, field units in brackets, whatever the job's `display`. *Source of the figures*: [`crate::model`]; the formulas are named there.

use super::quantity::{Dimension as D, significant};
use super::{Channel, Counts, Job, Mount, Protocol};
use crate::model::Motion;
use crate::model::groove_law::{UniversalSequence, Wheel};
use crate::model::line::{LineInFluid, tool_weight_in_fluid_n};
use crate::model::profile_table::ProfileTable;
use crate::model::weakest_link::{Link, WeakestLink};
use crate::model::wellpath::WellPath;
use crate::units::{METRES_PER_FOOT, NEWTONS_PER_LBF};

/// Contact pressures between which pipe steel usually lies, Pa (references, "what the physics says").
const PRESSURES: (f64, f64) = (0.8e9, 1.7e9);
/// Line speed of the example of a stall, m/s.
const STROKING_M_S: f64 = 0.3;

/// The text. Ends with a line break.
pub fn summary(job: &Job) -> String {
    let mut text = Text::default();
    inputs(job, &mut text);
    text.heading("Expected with the wheels in the middle of the interval");
    expected(job, &mut text);
    text.heading("Cut");
    cut(job, &mut text);
    text.heading("Instruments and services");
    services(job, &mut text);
    text.out
}

#[derive(Debug, Default)]
struct Text {
    out: String,
}

impl Text {
    fn heading(&mut self, words: &str) {
        self.out.push_str(&format!("\n{words}\n"));
    }

    fn row(&mut self, label: &str, value: impl AsRef<str>) {
        self.out
            .push_str(&format!("  {label:<24}{}\n", value.as_ref()));
    }
}

fn inputs(job: &Job, text: &mut Text) {
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

fn expected(job: &Job, text: &mut Text) {
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
        let end = tool * (inc.cos() + motion.friction_sign() * friction * inc.sin());
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
        text.row("", "the tool does not go down by its own weight here");
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
    let fraction = match job.alarm.tension_limit {
        Some(_) => 1.0,
        None => job.alarm.tension_fraction,
    };
    let link = WeakestLink {
        breaking_load_n: job.line.breaking_load.si(),
        line_fraction: fraction,
        weak_point_n: job.tool.weak_point.si(),
        weak_point_fraction: fraction,
    };
    let by_link = link.surface_limit(&table, packing, Motion::Rest, socket);
    let by = match by_link.by {
        Link::Line => "the line at surface",
        Link::WeakPoint => "the weak point",
    };
    let limit = match job.alarm.tension_limit {
        Some(given) if given.si() < by_link.limit_n => {
            text.row(
                "tension limit",
                format!(
                    "{}, as given; {by} parts at {}",
                    D::Force.show(given.si()),
                    D::Force.show(by_link.limit_n)
                ),
            );
            given.si()
        }
        _ => {
            text.row(
                "tension limit",
                format!("{}, {fraction} of {by}", D::Force.show(by_link.limit_n)),
            );
            by_link.limit_n
        }
    };
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

fn cut(job: &Job, text: &mut Text) {
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

fn services(job: &Job, text: &mut Text) {
    match &job.load {
        Some(load) => {
            let mount = match load.mount {
                Mount::Deadline => "cell in the line".to_owned(),
                Mount::Sheave { angle } => format!(
                    "cell on a sheave, {} between the parts",
                    D::Angle.show(angle.si())
                ),
            };
            text.row(
                "load",
                format!(
                    "{}; one unit is {}, tare {}, {mount}",
                    channel(&load.channel),
                    D::Force.show(load.span.si()),
                    significant(load.tare)
                ),
            );
            if let Some(effect) = load.temperature {
                text.row(
                    "load cell temperature",
                    format!(
                        "{} and {} of the reading for each kelvin above {} degC",
                        D::Force.show(effect.zero_per_kelvin.si()),
                        significant(effect.span_per_kelvin),
                        significant(effect.reference_c)
                    ),
                );
            }
        }
        None => text.row("load", "no port: for import and recompute only"),
    }
    let counts = match job.counts {
        Counts::Tensioned => "counted on loaded line",
        Counts::Relaxed => "unstretched length",
    };
    match &job.depth {
        Some(depth) => text.row(
            "depth",
            format!(
                "{}; one unit is {}, {counts}",
                channel(&depth.channel),
                D::Length.show(depth.metres_per_unit.si() * depth.direction)
            ),
        ),
        None => text.row(
            "depth",
            format!("no port: for import and recompute only; {counts}"),
        ),
    }
    let alarm = &job.alarm;
    text.row(
        "alarms",
        format!(
            "pull {} above pick-up, slack {} below slack-off, speed {}, warning {} before the limit",
            D::Force.show(alarm.overpull.si()),
            D::Force.show(alarm.slack.si()),
            D::Speed.show(alarm.speed.si()),
            D::Time.show(alarm.approaching.si())
        ),
    );
    let stop = |stop: Option<crate::units::Metres>| {
        stop.map_or_else(|| "none".to_owned(), |depth| D::Length.show(depth.si()))
    };
    text.row(
        "stops",
        format!(
            "upper {}, lower {}",
            stop(alarm.upper_stop),
            stop(alarm.lower_stop)
        ),
    );
    text.row(
        "record",
        format!(
            "folder {}, synced every {}",
            job.record.folder,
            D::Time.show(job.record.sync.si())
        ),
    );
    text.row(
        "forward",
        job.forward.as_ref().map_or_else(
            || "off".to_owned(),
            |f| {
                format!(
                    "{} org {} bucket {}, {}",
                    f.url,
                    f.org,
                    f.bucket,
                    D::Frequency.show(f.rate_hz)
                )
            },
        ),
    );
    text.row("page", format!("http://{}", job.page.listen));
}

fn channel(channel: &Channel) -> String {
    let protocol = match &channel.protocol {
        Protocol::Pattern { pattern } => format!("lines like {pattern}"),
        Protocol::ModbusRtu(register) => format!(
            "Modbus unit {} function {} register {}, {:?}, {}",
            register.unit,
            register.function,
            register.register,
            register.kind,
            D::Frequency.show(register.poll_hz)
        ),
        Protocol::Packet => "packets".to_owned(),
    };
    let baud = if channel.port.starts_with("serial:") {
        format!(" at {} baud", channel.baud)
    } else {
        String::new()
    };
    format!("{}{baud}, {protocol}", channel.port)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    fn of(change: (&str, &str)) -> String {
        let text = print_default_job().replace(change.0, change.1);
        summary(
            &read_job(&text, "job.toml")
                .unwrap_or_else(|f| panic!("{f}"))
                .job,
        )
    }

    #[test]
    fn every_derived_figure_is_there_in_both_unit_systems() {
        let text = of(("", ""));
        for row in [
            "line weight in fluid",
            "static weight",
            "pick-up weight",
            "slack-off weight",
            "stretch at rest",
            "line stiffness",
            "tension limit",
        ] {
            let line = text.lines().find(|l| l.trim_start().starts_with(row));
            let line = line.unwrap_or_else(|| panic!("{row} not in\n{text}"));
            assert!(line.contains('('), "{line}");
        }
        assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    }

    // References, section 1: 0.108 in line of 2000 m in 1000 kg/m3 weighs 0.3970 N/m.
    #[test]
    fn weight_and_stiffness_agree_with_the_table_of_hanging_wire() {
        let plain = print_default_job()
            .replace("density = \"1030 kg/m3\"", "density = \"1000 kg/m3\"")
            .replace("\"25 deg\"", "\"0 deg\"")
            .replace("\"26 deg\"", "\"0 deg\"")
            .replace("interval_top = \"2000 m\"", "interval_top = \"1992.4 m\"")
            .replace(
                "interval_bottom = \"2019 m\"",
                "interval_bottom = \"2012.4 m\"",
            );
        let text = summary(
            &read_job(&plain, "job.toml")
                .unwrap_or_else(|f| panic!("{f}"))
                .job,
        );
        assert!(text.contains("line weight in fluid    794 N"), "{text}");
        assert!(text.contains("591 N/m"), "{text}");
    }

    #[test]
    fn a_tool_that_does_not_go_down_and_a_limit_in_newtons_are_said() {
        assert!(of(("friction_down = 0.2", "friction_down = 0.9")).contains("slack-off weight"));
        assert!(
            of(("#tension_limit = \"3500 N\"", "tension_limit = \"3500 N\""))
                .contains("3500 N (786.8 lbf), as given")
        );
    }
}
