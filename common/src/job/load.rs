//! `[load]`: port, protocol, calibration, effect of temperature on the cell.

use super::channel::{channel, raw_or_quantity, scale};
use super::quantity::{Dimension as D, split_number};
use super::section::Section;
use super::{CellTemperature, LoadChannel, Mount, TemperatureUnit};
use crate::model::load_path::{relative_error_per_rad, tension_per_force};
use crate::units::{Newtons, Radians};

/// Error of tension for a degree of error of the angle at a sheave beyond which the crew is told.
const ANGLE_ERROR_MAX: f64 = 0.03;

/// Parts of the breaking load between which a tension is believed where the job does not say. No line carries more than
/// it breaks at: the certificate gives the least that holds, most wires hold some per cent more, and scale and
/// temperature of a cell are off by some per cent; what reads half as much again is a cell at its end stop, or the wrong
/// unit. Below nothing a wrong zero may read, and what pushes for longer is told apart elsewhere.
const MOST: f64 = 1.5;
const LEAST: f64 = -0.5;
/// Tension over force of a sheave whose lines are parallel: for an angle that is refused anyway.
const STEEPEST: f64 = 0.5;

/// `[load]`; `None` without a port. `breaking_load` bounds what is believable.
pub(super) fn load(section: &Section<'_>, breaking_load: f64) -> Option<LoadChannel> {
    let span = scale(section, D::Force, "N");
    let tare = raw_or_quantity(section, "tare", D::Force, span).unwrap_or(0.0);
    let angle = section.quantity("angle", D::Angle);
    let mount = section.choice("mount", &[("deadline", false), ("sheave", true)]);
    let mount = mounted(section, mount, angle);
    let per_force = match mount {
        Mount::Sheave { angle } => tension_per_force(angle.si()).unwrap_or(STEEPEST),
        Mount::Deadline => 1.0,
    };
    let believable = |part: f64| tare + part * breaking_load / per_force / span;
    let (a, b) = (believable(LEAST), believable(MOST));
    let temperature = temperature(section, breaking_load);
    let channel = channel(section, "load", 10.0, (a.min(b), a.max(b)), D::Force, span)?;
    Some(LoadChannel {
        channel,
        span: Newtons(span),
        tare,
        mount,
        temperature,
    })
}

fn mounted(section: &Section<'_>, mount: Option<bool>, angle: Option<f64>) -> Mount {
    match (mount, angle) {
        (Some(true), Some(angle)) => {
            let error_per_degree = relative_error_per_rad(angle) * 1f64.to_radians();
            if !angle.is_nan() && tension_per_force(angle).is_none() {
                section.fault(
                    "angle",
                    D::Angle.show(angle),
                    "the angle between the two line parts at the sheave, from 0 to below 180 deg \
                     (0: parts parallel)",
                );
            } else if error_per_degree > ANGLE_ERROR_MAX {
                section.warn(
                    "angle",
                    format!(
                        "{}, where a degree of error changes tension by {:.1} %",
                        D::Angle.show(angle),
                        100.0 * error_per_degree
                    ),
                    "a sheave position with a smaller angle between the line parts",
                );
            }
            Mount::Sheave {
                angle: Radians(angle),
            }
        }
        (Some(true), None) => {
            section.fault(
                "angle",
                "nothing, though mount = \"sheave\"",
                "the angle between the two line parts: angle = \"90 deg\"",
            );
            Mount::Deadline
        }
        (Some(false), Some(_)) => {
            section.warn(
                "angle",
                "an angle that mount = \"deadline\" does not use",
                "mount = \"sheave\"",
            );
            Mount::Deadline
        }
        (None, Some(angle)) if angle.is_finite() => {
            section.fault(
                "mount",
                "nothing, though an angle is given",
                "mount = \"sheave\"",
            );
            Mount::Deadline
        }
        _ => Mount::Deadline,
    }
}

/// The temperature keys; `None` when the job gives no effect of temperature.
fn temperature(section: &Section<'_>, breaking_load: f64) -> Option<CellTemperature> {
    let zero = section.quantity("temperature_zero", D::Force);
    let span = section.number("temperature_span");
    let reference = degrees(section, "temperature_reference");
    let constant = degrees(section, "temperature");
    let unit = section.choice(
        "temperature_unit",
        &[
            ("degc", TemperatureUnit::Celsius),
            ("c", TemperatureUnit::Celsius),
            ("degf", TemperatureUnit::Fahrenheit),
            ("f", TemperatureUnit::Fahrenheit),
            ("k", TemperatureUnit::Kelvin),
        ],
    );
    let sent = section
        .text("pattern")
        .is_some_and(|pattern| pattern.contains("<temperature>"));
    if let Some(zero) = zero
        && zero.abs() > 0.01 * breaking_load
    {
        section.fault(
            "temperature_zero",
            D::Force.show(zero),
            "the force that the empty cell shows for each kelvin: a few newtons at most",
        );
    }
    if let Some(span) = span
        && span.abs() > 0.01
    {
        section.fault(
            "temperature_span",
            format!("{span}"),
            "the part by which a reading grows for each kelvin, e.g. 0.0002 or \"0.02 %\"",
        );
    }
    if zero.is_none() && span.is_none() {
        if sent || constant.is_some() {
            section.warn(
                "temperature_span",
                "nothing, so the temperature of the cell changes no reading",
                "temperature_zero and temperature_span from the data sheet of the cell",
            );
        }
        return None;
    }
    if !sent && constant.is_none() {
        section.warn(
            "temperature",
            "nothing, so the cell is taken to be at temperature_reference",
            "temperature = \"35 degC\", or a part of the pattern named temperature",
        );
    }
    Some(CellTemperature {
        zero_per_kelvin: Newtons(zero.unwrap_or(0.0)),
        span_per_kelvin: span.unwrap_or(0.0),
        reference_c: reference.unwrap_or(20.0),
        constant_c: constant,
        unit: unit.unwrap_or(TemperatureUnit::Celsius),
    })
}

/// A temperature, not a difference: degrees Celsius from "35 degC", "95 degF" or "308 K".
fn degrees(section: &Section<'_>, key: &'static str) -> Option<f64> {
    let text = section.text(key)?;
    let celsius = split_number(text.trim()).ok().and_then(|(value, unit)| {
        let unit = match unit.trim() {
            "degC" | "C" | "°C" | "celsius" => TemperatureUnit::Celsius,
            "degF" | "F" | "°F" | "fahrenheit" => TemperatureUnit::Fahrenheit,
            "K" | "kelvin" => TemperatureUnit::Kelvin,
            _ => return None,
        };
        unit.celsius(value)
    });
    if celsius.is_none() {
        section.fault(
            key,
            format!("\"{text}\""),
            format!("a temperature from -60 to 150 degC: {key} = \"35 degC\" (or degF, K)"),
        );
    }
    celsius
}
