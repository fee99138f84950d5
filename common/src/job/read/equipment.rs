//! What hangs in the well: fluid, line, tool, cutter, pipe and its couplings.

use crate::job::quantity::Dimension as D;
use crate::job::report::Report;
use crate::job::section::Section;
use crate::job::{BendingLife, Cutter, Fluid, Line, Sheave, Tool, Tubular};
use crate::units::{
    CubicMetres, KelvinPerMetre, Kilograms, KilogramsPerCubicMetre, Metres, Newtons, Pascals,
    PerKelvin, Radians,
};
use toml::de::DeValue;

/// Density of carbon steel, kg/m3 (textbook figure).
const STEEL: f64 = 7850.0;

pub(super) fn read_fluid(section: &Section<'_>) -> Fluid {
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

pub(super) fn read_line(section: &Section<'_>) -> Line {
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

pub(super) fn read_tool(section: &Section<'_>) -> Tool {
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

pub(super) fn read_cutter(section: &Section<'_>) -> Cutter {
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

pub(super) fn read_tubular(root: &Section<'_>, report: &Report<'_>) -> Tubular {
    let value = root.raw("tubular");
    if let Some(value) = value {
        report.place("tubular", "", value.span());
    }
    let (table, named) = match value.map(|value| value.get_ref()) {
        Some(DeValue::String(text)) => (None, Some(text.to_string())),
        Some(DeValue::Table(table)) => (Some(table), None),
        Some(other) => {
            let found = crate::job::section::shown(other);
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
    let known = size.map(|size| match crate::job::tubular_size(&size) {
        Ok(known) => known,
        Err(problem) => {
            section.fault("size", problem.0, problem.1);
            crate::job::TubularSize::UNKNOWN
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

pub(super) fn read_couplings(root: &Section<'_>) -> Vec<Metres> {
    root.list("joint")
        .iter()
        .map(|section| {
            let depth = Metres(section.required("coupling", D::Length));
            section.finish();
            depth
        })
        .collect()
}
