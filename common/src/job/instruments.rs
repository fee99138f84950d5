//! `[load]` and `[depth]`: port, protocol, calibration.
//!
//! *Units*: `min`, `max`, `tare` are raw readings when written as plain numbers, or forces and
//! lengths at the instrument when written with a unit. *Errors*: reported, never returned.

use super::quantity::{Dimension as D, parse_quantity, unit_factor};
use super::section::{Section, shown};
use super::{
    Channel, Counts, DepthChannel, LoadChannel, ModbusRegister, Mount, Protocol, RegisterKind,
};
use crate::units::{Metres, Newtons, Radians, Seconds};
use toml::de::DeValue;

/// One number per line, the plainest of all instruments.
fn number_pattern(capture: &str) -> String {
    format!(r"(?P<{capture}>[-+]?[0-9]+(?:\.[0-9]+)?)")
}

/// `[load]`; `None` without a port. `breaking_load` bounds what is believable.
pub(super) fn load(section: &Section<'_>, breaking_load: f64) -> Option<LoadChannel> {
    let span = scale(section, D::Force, "N");
    let tare = raw_or_quantity(section, "tare", D::Force, span).unwrap_or(0.0);
    let angle = section.quantity("angle", D::Angle);
    let mount = section.choice("mount", &[("deadline", false), ("sheave", true)]);
    let mount = match (mount, angle) {
        (Some(true), Some(angle)) => {
            if !angle.is_nan() && !(0.0..std::f64::consts::PI).contains(&angle) {
                section.fault(
                    "angle",
                    D::Angle.show(angle),
                    "the angle between the two line parts at the sheave, from 0 to below 180 deg \
                     (0: parts parallel)",
                );
            } else if angle > 150f64.to_radians() {
                section.warn(
                    "angle",
                    format!(
                        "{}, where a degree of error changes tension by more than 3 %",
                        D::Angle.show(angle)
                    ),
                    "a sheave position with an angle below 150 deg",
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
    };
    // Twice the breaking load on either leg of a sheave, and a little below zero for drift.
    let believable = |force: f64| tare + force / span;
    let (a, b) = (
        believable(-0.5 * breaking_load),
        believable(4.0 * breaking_load),
    );
    let channel = channel(section, "load", 10.0, (a.min(b), a.max(b)), D::Force, span)?;
    Some(LoadChannel {
        channel,
        span: Newtons(span),
        tare,
        mount,
    })
}

/// `[depth]`; `None` without a port, unless `[load]` decodes both from its own port.
pub(super) fn depth(
    section: &Section<'_>,
    load: Option<&LoadChannel>,
) -> (Option<DepthChannel>, Counts) {
    let counts = section
        .choice(
            "counts",
            &[
                ("tensioned", Counts::Tensioned),
                ("relaxed", Counts::Relaxed),
            ],
        )
        .unwrap_or(Counts::Tensioned);
    let wear = section.number("wear").unwrap_or(0.0);
    if !(-0.05..=0.2).contains(&wear) && !wear.is_nan() {
        section.fault(
            "wear",
            format!("{wear}"),
            "the fraction of wheel circumference lost, e.g. wear = 0.002 or \"0.2 %\"",
        );
    }
    let circumference = section.quantity("circumference", D::Length);
    let per_turn = section.number("counts_per_turn");
    if let Some(length) = circumference
        && !(length > 0.05 && length < 10.0)
        && !length.is_nan()
    {
        section.fault(
            "circumference",
            D::Length.show(length),
            "the length of line per turn, e.g. \"0.5 m\"",
        );
    }
    if let Some(per_turn) = per_turn
        && !(per_turn > 0.0 && per_turn < 1e7)
        && !per_turn.is_nan()
    {
        section.fault(
            "counts_per_turn",
            format!("{per_turn}"),
            "the encoder counts of one turn, e.g. 1024",
        );
    }
    let metres_per_unit = match (circumference, per_turn) {
        (Some(length), Some(per_turn)) => {
            for key in ["unit", "span"] {
                if section.raw(key).is_some() {
                    section.fault(
                        key,
                        "a second scale beside circumference and counts_per_turn",
                        "only one of the two",
                    );
                }
            }
            length / per_turn
        }
        (Some(_), None) => {
            section.fault(
                "counts_per_turn",
                "nothing, though circumference is given",
                "the counts of one turn, e.g. counts_per_turn = 1024",
            );
            f64::NAN
        }
        (None, Some(_)) => {
            section.fault(
                "circumference",
                "nothing, though counts_per_turn is given",
                "the length of one turn, e.g. circumference = \"0.5 m\"",
            );
            f64::NAN
        }
        (None, None) => scale(section, D::Length, "m"),
    } * (1.0 - wear);
    let direction = section
        .choice(
            "direction",
            &[
                ("in", 1.0),
                ("out", -1.0),
                ("down", 1.0),
                ("up", -1.0),
                ("normal", 1.0),
                ("reversed", -1.0),
                ("1", 1.0),
                ("+1", 1.0),
                ("-1", -1.0),
            ],
        )
        .unwrap_or(1.0);
    let zero = section.quantity("zero", D::Length).unwrap_or(0.0);
    let shared = load.filter(|load| {
        matches!(&load.channel.protocol, Protocol::Pattern { pattern } if pattern.contains("<depth>"))
            || load.channel.protocol == Protocol::Packet
    });
    let port = section.text("port");
    let same_port = match (&port, load) {
        (None, _) => shared.is_some(),
        (Some(port), Some(load)) => *port == load.channel.port,
        _ => false,
    };
    let inherit = if same_port { load } else { None };
    let channel = channel_on(
        section,
        "depth",
        port,
        0.0,
        (f64::MIN, f64::MAX),
        D::Length,
        metres_per_unit,
        inherit.map(|load| &load.channel),
    );
    let channel = channel.map(|channel| DepthChannel {
        channel,
        metres_per_unit: Metres(metres_per_unit),
        direction,
        zero: Metres(zero),
    });
    (channel, counts)
}

/// SI per raw unit from `unit` and `span`.
fn scale(section: &Section<'_>, want: D, si_unit: &str) -> f64 {
    let unit = section.text("unit");
    let has_span = section.raw("span").is_some();
    let factor = match &unit {
        Some(unit) => unit_factor(unit.trim(), want).unwrap_or_else(|problem| {
            section.fault(
                "unit",
                problem,
                format!("the unit of the raw reading: {}", want.units().join(", ")),
            );
            f64::NAN
        }),
        None => {
            if !has_span && section.text("port").is_some() {
                section.warn(
                    "unit",
                    format!("nothing, so the raw reading is taken to be in {si_unit}"),
                    format!("the unit of the raw reading: unit = \"{si_unit}\""),
                );
            }
            1.0
        }
    };
    let span = match section.raw("span").map(|value| value.get_ref()) {
        None => factor,
        Some(DeValue::String(text)) if text.trim().parse::<f64>().is_err() => {
            section.quantity("span", want).unwrap_or(f64::NAN)
        }
        // A plain number corrects the unit: raw value times span is in `unit`.
        Some(_) => section.number("span").unwrap_or(f64::NAN) * factor,
    };
    if span == 0.0 {
        section.fault(
            "span",
            "0",
            format!(
                "the {} of one raw unit, e.g. \"0.5 {si_unit}\"",
                want.name()
            ),
        );
        return f64::NAN;
    }
    span
}

/// A raw reading: a plain number, or a quantity that is divided by the scale.
fn raw_or_quantity(section: &Section<'_>, key: &'static str, want: D, scale: f64) -> Option<f64> {
    match section.raw(key)?.get_ref() {
        DeValue::String(text) if text.trim().parse::<f64>().is_err() => {
            section.quantity(key, want).map(|si| si / scale)
        }
        _ => section.number(key),
    }
}

fn channel(
    section: &Section<'_>,
    capture: &str,
    frozen_after_s: f64,
    believable: (f64, f64),
    want: D,
    scale: f64,
) -> Option<Channel> {
    let port = section.text("port");
    channel_on(
        section,
        capture,
        port,
        frozen_after_s,
        believable,
        want,
        scale,
        None,
    )
}

fn channel_on(
    section: &Section<'_>,
    capture: &str,
    port: Option<String>,
    frozen_after_s: f64,
    believable: (f64, f64),
    want: D,
    scale: f64,
    inherit: Option<&Channel>,
) -> Option<Channel> {
    let baud = section.whole("baud", 50, 4_000_000);
    let protocol = protocol(section, capture, inherit, port.is_some());
    let stale_after = section.quantity("stale_after", D::Time).unwrap_or(2.0);
    let frozen_after = section
        .quantity("frozen_after", D::Time)
        .unwrap_or(frozen_after_s);
    if stale_after <= 0.0 {
        section.fault(
            "stale_after",
            D::Time.show(stale_after),
            "a time above 0, e.g. \"2 s\"",
        );
    }
    if frozen_after < 0.0 {
        section.fault(
            "frozen_after",
            D::Time.show(frozen_after),
            "a time, or 0 for never",
        );
    }
    let raw_min = raw_or_quantity(section, "min", want, scale).unwrap_or(believable.0);
    let raw_max = raw_or_quantity(section, "max", want, scale).unwrap_or(believable.1);
    let (raw_min, raw_max) = if scale < 0.0 && raw_min > raw_max {
        (raw_max, raw_min)
    } else {
        (raw_min, raw_max)
    };
    if raw_min >= raw_max {
        section.fault(
            "min",
            format!("{raw_min}, which is not below max = {raw_max}"),
            "min below max",
        );
    }
    let port = match (port, inherit) {
        (Some(port), _) => checked_port(section, &port)?,
        (None, Some(channel)) => channel.port.clone(),
        (None, None) => return None,
    };
    Some(Channel {
        port,
        baud: baud.map_or_else(|| inherit.map_or(9600, |c| c.baud), |b| b as u32),
        protocol,
        stale_after: Seconds(stale_after),
        frozen_after: Seconds(frozen_after),
        raw_min,
        raw_max,
    })
}

fn checked_port(section: &Section<'_>, port: &str) -> Option<String> {
    let port = port.trim();
    if let Some(device) = port.strip_prefix("serial:") {
        if !device.is_empty() {
            return Some(port.to_owned());
        }
    } else if let Some(address) = port.strip_prefix("tcp:") {
        if let Some((host, number)) = address.rsplit_once(':')
            && !host.is_empty()
            && number.parse::<u16>().is_ok_and(|n| n > 0)
        {
            return Some(port.to_owned());
        }
    } else if port.starts_with('/') {
        return Some(format!("serial:{port}"));
    }
    section.fault(
        "port",
        format!("\"{port}\""),
        "\"serial:/dev/ttyUSB0\" or \"tcp:host:port\"",
    );
    None
}

fn protocol(
    section: &Section<'_>,
    capture: &str,
    inherit: Option<&Channel>,
    complain: bool,
) -> Protocol {
    #[derive(Clone, Copy, PartialEq)]
    enum Named {
        Pattern,
        Modbus,
        Packet,
    }
    let named = section.choice(
        "protocol",
        &[
            ("pattern", Named::Pattern),
            ("modbus-rtu", Named::Modbus),
            ("packet", Named::Packet),
        ],
    );
    let pattern = section.text("pattern");
    // Every key is read whatever the protocol, so that each is known and checked.
    let register = modbus(section, named == Some(Named::Modbus));
    let named = named.or(match (&pattern, &inherit) {
        (Some(_), _) => Some(Named::Pattern),
        (None, Some(_)) => None,
        (None, None) if section.raw("register").is_some() => Some(Named::Modbus),
        _ => Some(Named::Pattern),
    });
    match (named, pattern, inherit) {
        (Some(Named::Modbus), ..) => Protocol::ModbusRtu(register),
        (Some(Named::Packet), ..) => Protocol::Packet,
        (Some(Named::Pattern), Some(pattern), _) => {
            check_pattern(section, &pattern, capture);
            Protocol::Pattern { pattern }
        }
        (_, None, Some(channel)) => {
            if let Protocol::Pattern { pattern } = &channel.protocol {
                check_pattern(section, pattern, capture);
            }
            channel.protocol.clone()
        }
        _ => {
            let pattern = number_pattern(capture);
            if complain {
                section.warn(
                    "pattern",
                    format!("nothing, so the first number of each line is taken as the {capture}"),
                    format!(
                        "a regular expression with a named part: pattern = '(?P<{capture}>[0-9.]+)'"
                    ),
                );
            }
            Protocol::Pattern { pattern }
        }
    }
}

fn check_pattern(section: &Section<'_>, pattern: &str, capture: &str) {
    // As the decoder reads it: bytes, not Unicode, whatever other crates ask of `regex` in the same build.
    match regex::bytes::RegexBuilder::new(pattern)
        .unicode(false)
        .size_limit(1 << 20)
        .build()
    {
        Err(error) => {
            let reason = error.to_string();
            let reason = reason
                .lines()
                .last()
                .unwrap_or("not a regular expression")
                .trim();
            section.fault(
                "pattern",
                format!("a pattern that can't be used ({reason})"),
                format!("a regular expression with a named part (?P<{capture}>...)"),
            );
        }
        Ok(expression) => {
            if !expression
                .capture_names()
                .flatten()
                .any(|name| name == capture)
            {
                section.fault(
                    "pattern",
                    format!("a pattern without a part named {capture}"),
                    format!("the number in brackets with its name: (?P<{capture}>[-+0-9.]+)"),
                );
            }
            for name in expression.capture_names().flatten() {
                if !["load", "depth", "seq", "t"].contains(&name) {
                    section.fault(
                        "pattern",
                        format!("a part named {name}"),
                        "only parts named load, depth, seq, t",
                    );
                }
            }
        }
    }
}

fn modbus(section: &Section<'_>, wanted: bool) -> ModbusRegister {
    let register = section.whole("register", 0, 65_535);
    if wanted && register.is_none() && section.raw("register").is_none() {
        section.fault(
            "register",
            "nothing, though protocol = \"modbus-rtu\"",
            "the zero-based register address, e.g. register = 0",
        );
    }
    let poll = section.raw("poll").and_then(|value| match value.get_ref() {
        DeValue::String(text) => match (
            parse_quantity(text, D::Frequency),
            parse_quantity(text, D::Time),
        ) {
            (Ok(hertz), _) => Some(hertz),
            (_, Ok(every)) if every > 0.0 => Some(1.0 / every),
            (Err(problem), _) => {
                section.fault("poll", problem, "polls per second, or the time between polls: poll = \"20 Hz\" or \"50 ms\"");
                None
            }
        },
        other => {
            section.fault(
                "poll",
                format!("{} without a unit", shown(other)),
                "polls per second, or the time between polls: poll = \"20 Hz\" or \"50 ms\"",
            );
            None
        }
    });
    if let Some(hertz) = poll
        && !(0.1..=2000.0).contains(&hertz)
    {
        section.fault(
            "poll",
            D::Frequency.show(hertz),
            "a rate from 0.1 to 2000 Hz",
        );
    }
    ModbusRegister {
        unit: section.whole("unit_address", 1, 247).unwrap_or(1) as u8,
        function: section.whole("function", 3, 4).unwrap_or(3) as u8,
        register: register.unwrap_or(0) as u16,
        kind: section
            .choice(
                "type",
                &[
                    ("i16", RegisterKind::I16),
                    ("u16", RegisterKind::U16),
                    ("i32", RegisterKind::I32),
                    ("u32", RegisterKind::U32),
                    ("f32", RegisterKind::F32),
                    ("int16", RegisterKind::I16),
                    ("uint16", RegisterKind::U16),
                    ("int32", RegisterKind::I32),
                    ("uint32", RegisterKind::U32),
                    ("float", RegisterKind::F32),
                    ("float32", RegisterKind::F32),
                ],
            )
            .unwrap_or(RegisterKind::I16),
        swap_words: section
            .choice(
                "word_order",
                &[
                    ("high-first", false),
                    ("low-first", true),
                    ("big", false),
                    ("little", true),
                    ("normal", false),
                    ("swapped", true),
                ],
            )
            .unwrap_or(false),
        poll_hz: poll.unwrap_or(20.0),
    }
}
