//! Job text -> checked [`Job`], or every fault in it.
//!
//! *Input -> output*: TOML text and the name to show in messages -> [`ReadJob`] or [`Findings`].
//! *Units*: quoted quantities in any usual unit, SI inside. *Limits*: unknown keys are faults;
//! keys with a sensible default may be left out, those that matter with a warning that names the
//! value assumed. *Errors*: all at once, in file order; reading never panics.

use super::check;
use super::findings::{Finding, Findings};
use super::outputs;
use super::quantity::Dimension as D;
use super::report::Report;
use super::section::Section;
use super::{
    AlarmLimits, BendingLife, Cutter, Display, Fluid, Forward, Job, JobInfo, Line, Page, Record,
    Sheave, SurveyStation, Tool, Tubular,
};
use super::{depth, load};
use crate::units::{
    CubicMetres, KelvinPerMetre, Kilograms, KilogramsPerCubicMetre, Metres, MetresPerSecond,
    Newtons, Pascals, PerKelvin, Radians, Seconds,
};
use toml::de::{DeTable, DeValue};

/// A job that can be used, with what is worth a look.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadJob {
    /// The job.
    pub job: Job,
    /// Assumed values and doubtful ones, in file order.
    pub warnings: Vec<Finding>,
}

/// Density of carbon steel, kg/m3 (references, section "hanging wire").
const STEEL: f64 = 7850.0;

/// Reads a job file. `file_name` is only used in messages.
///
/// # Errors
/// All faults found, never an empty list.
pub fn read_job(text: &str, file_name: &str) -> Result<ReadJob, Findings> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let report = Report::new(file_name, text);
    let (document, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        for error in errors {
            let at = error.span().map_or(0, |span| span.start);
            report.fault_at(
                at,
                "",
                "",
                format!("text that is not TOML ({})", error.message().trim()),
                "key = \"value\" under a [section]; quote every quantity",
                None,
            );
        }
        return Err(report.finish().0);
    }
    let job = read_document(document.get_ref(), &report);
    check::check(&job, &report);
    let bad = report.has_faults();
    let (findings, warnings) = report.finish();
    if bad {
        Err(findings)
    } else {
        Ok(ReadJob { job, warnings })
    }
}

fn read_document<'a>(document: &'a DeTable<'a>, report: &'a Report<'a>) -> Job {
    let root = Section::new("", Some(document), report);
    let top = |name: &'static str| {
        let table = root.raw(name).and_then(|value| {
            report.place(name, "", value.span());
            let table = value.get_ref().as_table();
            if table.is_none() {
                let found = super::section::shown(value.get_ref());
                report.fault("", name, found, format!("a section [{name}]"));
            }
            table
        });
        Section::new(name, table, report)
    };

    let info = read_info(&top("job"));
    let survey = read_survey(&root, report);
    let fluid = read_fluid(&top("fluid"));
    let line = read_line(&top("line"));
    let tool = read_tool(&top("tool"));
    let cutter = read_cutter(&top("cutter"));
    let tubular = read_tubular(&root, report);
    let couplings = read_couplings(&root);

    let section = top("load");
    let load = load::load(&section, line.breaking_load.si());
    section.finish();
    let section = top("depth");
    let (depth, counts) = depth::depth(&section, load.as_ref());
    section.finish();

    let alarm = read_alarm(&top("alarm"));
    let record = read_record(&top("record"));
    let forward = read_forward(&top("forward"));
    let page = read_page(&top("page"));
    root.finish();
    Job {
        info,
        survey,
        fluid,
        line,
        tool,
        cutter,
        tubular,
        couplings,
        load,
        depth,
        counts,
        alarm,
        record,
        forward,
        page,
    }
}

fn read_info(section: &Section<'_>) -> JobInfo {
    let named = |key: &'static str| {
        section.text(key).unwrap_or_else(|| {
            section.warn(
                key,
                "nothing",
                format!("the name for the report: {key} = \"...\""),
            );
            "unnamed".to_owned()
        })
    };
    let info = JobInfo {
        name: named("name"),
        well: named("well"),
        interval_top: Metres(section.required("interval_top", D::Length)),
        interval_bottom: Metres(section.required("interval_bottom", D::Length)),
        display: section
            .choice(
                "display",
                &[("metric", Display::Metric), ("field", Display::Field)],
            )
            .unwrap_or(Display::Metric),
        bin: Metres(section.quantity("bin", D::Length).unwrap_or(0.1)),
    };
    section.finish();
    info
}

fn read_survey(root: &Section<'_>, report: &Report<'_>) -> Vec<SurveyStation> {
    let mut survey: Vec<SurveyStation> = root
        .list("survey")
        .iter()
        .map(|section| {
            let station = SurveyStation {
                md: Metres(section.required("md", D::Length)),
                inc: Radians(section.quantity("inc", D::Angle).unwrap_or(0.0)),
                azi: Radians(section.quantity("azi", D::Angle).unwrap_or(0.0)),
            };
            check::survey_station(&section.name, &station, report);
            section.finish();
            station
        })
        .collect();
    if root.raw("survey").is_none() {
        root.warn(
            "survey",
            "no [[survey]], so the well is taken to be vertical",
            "one [[survey]] for each station: md, inc, azi",
        );
    }
    check::survey_order(&survey, report);
    // The well starts at the wellhead; a survey that begins deeper is taken to be vertical above.
    if survey.first().is_none_or(|first| first.md.si() > 0.0) {
        let surface = SurveyStation {
            md: Metres(0.0),
            inc: Radians(0.0),
            azi: survey.first().map_or(Radians(0.0), |first| first.azi),
        };
        survey.insert(0, surface);
    }
    survey
}

fn read_fluid(section: &Section<'_>) -> Fluid {
    let fluid = Fluid {
        density: KilogramsPerCubicMetre(section.required("density", D::Density)),
        wellhead_pressure: Pascals(section.assumed("wellhead_pressure", D::Pressure, 0.0)),
        temperature_gradient: section
            .quantity("temperature_gradient", D::TemperatureGradient)
            .map(KelvinPerMetre),
    };
    section.finish();
    fluid
}

fn read_line(section: &Section<'_>) -> Line {
    let friction = |key: &'static str| {
        section.number(key).unwrap_or_else(|| {
            section.warn(
                key,
                "nothing, so 0.2 is assumed until it is learned",
                format!("the starting value: {key} = 0.2"),
            );
            0.2
        })
    };
    let line = Line {
        diameter: Metres(section.required("diameter", D::Length)),
        modulus: Pascals(section.assumed("modulus", D::Pressure, 200e9)),
        density: KilogramsPerCubicMetre(section.assumed("density", D::Density, STEEL)),
        breaking_load: Newtons(section.required("breaking_load", D::Force)),
        expansion: PerKelvin(
            section
                .quantity("expansion", D::Expansion)
                .unwrap_or(11.7e-6),
        ),
        length_on_drum: section.quantity("length_on_drum", D::Length).map(Metres),
        stuffing_box_friction: Newtons(section.assumed("stuffing_box_friction", D::Force, 0.0)),
        friction_up: friction("friction_up"),
        friction_down: friction("friction_down"),
        sheaves: section
            .list("sheave")
            .iter()
            .enumerate()
            .map(|(position, sheave)| {
                let read = Sheave {
                    name: sheave
                        .text("name")
                        .unwrap_or_else(|| format!("sheave {}", position + 1)),
                    diameter: Metres(sheave.required("diameter", D::Length)),
                    path: Metres(sheave.required("path", D::Length)),
                    wrap: Radians(
                        sheave
                            .quantity("wrap", D::Angle)
                            .unwrap_or(std::f64::consts::PI),
                    ),
                };
                sheave.finish();
                read
            })
            .collect(),
        bending_life: {
            let life = section.sub("bending_life");
            let number = |key: &'static str| {
                let value = life.number(key);
                if value.is_none() && life.is_present() {
                    life.fault(
                        key,
                        "nothing",
                        format!("the figure from the wire test: {key} = ..."),
                    );
                }
                value.unwrap_or(f64::NAN)
            };
            let read = BendingLife {
                stress: Pascals(if life.is_present() {
                    life.required("stress", D::Pressure)
                } else {
                    f64::NAN
                }),
                cycles: number("cycles"),
                exponent: number("exponent"),
            };
            life.finish();
            life.is_present().then_some(read)
        },
    };
    section.finish();
    line
}

fn read_tool(section: &Section<'_>) -> Tool {
    let mass = section.required("mass", D::Mass);
    let tool = Tool {
        mass: Kilograms(mass),
        displaced_volume: CubicMetres(
            section
                .quantity("displaced_volume", D::Volume)
                .unwrap_or(mass / STEEL),
        ),
        weak_point: Newtons(section.required("weak_point", D::Force)),
        cutter_offset: Metres(section.required("cutter_offset", D::Length)),
    };
    section.finish();
    tool
}

fn read_cutter(section: &Section<'_>) -> Cutter {
    let has_wheels = section.raw("wheels").is_some();
    let wheels = section.whole("wheels", 1, 64);
    if !has_wheels {
        section.fault(
            "wheels",
            "nothing",
            "the number of wheels in line, e.g. wheels = 3",
        );
    }
    let cutter = Cutter {
        wheels: wheels.unwrap_or(1) as u32,
        radius: Metres(section.required("radius", D::Length)),
        edge_angle: Radians(section.required("edge_angle", D::Angle)),
        reach: Metres(section.required("reach", D::Length)),
        radial_force: Newtons(section.required("radial_force", D::Force)),
        radial_force_sd: section.quantity("radial_force_sd", D::Force).map(Newtons),
        contact_pressure: section
            .quantity("contact_pressure", D::Pressure)
            .map(Pascals),
    };
    section.finish();
    cutter
}

fn read_tubular(root: &Section<'_>, report: &Report<'_>) -> Tubular {
    let value = root.raw("tubular");
    if let Some(value) = value {
        report.place("tubular", "", value.span());
    }
    let (table, named) = match value.map(|value| value.get_ref()) {
        Some(DeValue::String(text)) => (None, Some(text.to_string())),
        Some(DeValue::Table(table)) => (Some(table), None),
        Some(other) => {
            let found = super::section::shown(other);
            report.fault(
                "",
                "tubular",
                found,
                "a section [tubular] or tubular = \"5-1/2 in 17 lb/ft\"",
            );
            (None, None)
        }
        None => (None, None),
    };
    let section = Section::new("tubular", table, report);
    let size = section.text("size").or(named);
    let known = size.map(|size| match super::tubular_size(&size) {
        Ok(known) => known,
        Err(problem) => {
            section.fault("size", problem.0, problem.1);
            super::TubularSize::UNKNOWN
        }
    });
    let needed = |key: &'static str, from_size: Option<f64>, want: D| match from_size {
        Some(value) => section.quantity(key, want).unwrap_or(value),
        None => section.required(key, want),
    };
    let od = needed("od", known.map(|k| k.od), D::Length);
    let wall = needed("wall", known.map(|k| k.wall), D::Length);
    let usual = |key: &'static str, from_size: Option<f64>, want: D, default: f64| match from_size {
        Some(value) => section.quantity(key, want).unwrap_or(value),
        None => section.assumed(key, want, default),
    };
    let tubular = Tubular {
        od: Metres(od),
        wall: Metres(wall),
        wall_tolerance: section.ratio("wall_tolerance").unwrap_or(0.125),
        yield_strength: Pascals(usual("yield", None, D::Pressure, 552e6)),
        // A coupling wall about as thick as the pipe's, when nobody says.
        coupling_od: Metres(usual(
            "coupling_od",
            known.map(|k| k.coupling_od),
            D::Length,
            od + 2.0 * wall,
        )),
        coupling_length: Metres(usual(
            "coupling_length",
            known.map(|k| k.coupling_length),
            D::Length,
            0.2,
        )),
    };
    section.finish();
    tubular
}

fn read_couplings(root: &Section<'_>) -> Vec<Metres> {
    root.list("joint")
        .iter()
        .map(|section| {
            let depth = Metres(section.required("coupling", D::Length));
            section.finish();
            depth
        })
        .collect()
}

fn read_alarm(section: &Section<'_>) -> AlarmLimits {
    let alarm = AlarmLimits {
        tension_limit: section.quantity("tension_limit", D::Force).map(Newtons),
        tension_fraction: section.ratio("tension_fraction").unwrap_or(0.5),
        overpull: Newtons(section.quantity("overpull", D::Force).unwrap_or(2000.0)),
        slack: Newtons(section.quantity("slack", D::Force).unwrap_or(300.0)),
        speed: MetresPerSecond(section.quantity("speed", D::Speed).unwrap_or(2.0)),
        upper_stop: section.quantity("upper_stop", D::Length).map(Metres),
        lower_stop: section.quantity("lower_stop", D::Length).map(Metres),
        approaching: Seconds(section.quantity("approaching", D::Time).unwrap_or(2.0)),
        line_life: section.ratio("line_life").unwrap_or(0.8),
        outputs: outputs::read(section),
    };
    section.finish();
    alarm
}

fn read_record(section: &Section<'_>) -> Record {
    let record = Record {
        folder: section.text("folder").unwrap_or_else(|| "runs".to_owned()),
        sync: Seconds(section.quantity("sync", D::Time).unwrap_or(1.0)),
    };
    section.finish();
    record
}

fn read_forward(section: &Section<'_>) -> Option<Forward> {
    let needed = |key: &'static str, example: &str| {
        section.text(key).unwrap_or_else(|| {
            if section.is_present() {
                section.fault(key, "nothing", format!("{key} = \"{example}\""));
            }
            String::new()
        })
    };
    let forward = Forward {
        url: needed("url", "http://127.0.0.1:8086"),
        org: needed("org", "crew"),
        bucket: needed("bucket", "cuts"),
        token_env: section.text("token_env"),
        token_file: section.text("token_file"),
        rate_hz: section.quantity("rate", D::Frequency).unwrap_or(1.0),
    };
    section.finish();
    section.is_present().then_some(forward)
}

fn read_page(section: &Section<'_>) -> Page {
    let page = Page {
        listen: section
            .text("listen")
            .unwrap_or_else(|| "127.0.0.1:8760".to_owned()),
        token_env: section.text("token_env"),
    };
    section.finish();
    page
}
