//! What `[load]` and `[depth]` have in common: port, protocol, scale, limits.
//!
//! *Units*: `min`, `max`, `tare` are raw readings when written as plain numbers, or forces and
//! lengths at the instrument when written with a unit. *Errors*: reported, never returned.

use super::quantity::{Dimension as D, parse_quantity, unit_factor};
use super::section::{Section, shown};
use super::serial::{self, SerialLine};
use super::{Channel, ModbusRegister, Protocol, RegisterKind};
use crate::units::Seconds;
use toml::de::DeValue;

/// One number per line, the plainest of all instruments.
fn number_pattern(capture: &str) -> String {
    format!(r"(?P<{capture}>[-+]?[0-9]+(?:\.[0-9]+)?)")
}

/// SI per raw unit from `unit` and `span`.
pub(super) fn scale(section: &Section<'_>, want: D, si_unit: &str) -> f64 {
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
pub(super) fn raw_or_quantity(
    section: &Section<'_>,
    key: &'static str,
    want: D,
    scale: f64,
) -> Option<f64> {
    match section.raw(key)?.get_ref() {
        DeValue::String(text) if text.trim().parse::<f64>().is_err() => {
            section.quantity(key, want).map(|si| si / scale)
        }
        _ => section.number(key),
    }
}

pub(super) fn channel(
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

pub(super) fn channel_on(
    section: &Section<'_>,
    capture: &str,
    port: Option<String>,
    frozen_after_s: f64,
    believable: (f64, f64),
    want: D,
    scale: f64,
    inherit: Option<&Channel>,
) -> Option<Channel> {
    let serial = serial::read(
        section,
        inherit.map_or_else(SerialLine::default, |c| c.serial),
    );
    let protocol = protocol(section, capture, inherit, port.is_some());
    if serial.framing.data_bits == 7 && !matches!(protocol, Protocol::Pattern { .. }) {
        section.fault(
            "data_bits",
            "7, though only text lines do with seven",
            "data_bits = 8, which is also the default",
        );
    }
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
        (Some(port), _) => serial::port(section, &port)?,
        (None, Some(channel)) => channel.port.clone(),
        (None, None) => return None,
    };
    Some(Channel {
        port,
        serial,
        protocol,
        stale_after: Seconds(stale_after),
        frozen_after: Seconds(frozen_after),
        raw_min,
        raw_max,
    })
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
    let said = section
        .raw("protocol")
        .and_then(|value| value.get_ref().as_str());
    let named = match said.filter(|text| serial::is_modbus_tcp(text)) {
        Some(text) => {
            let write = format!("\"modbus-rtu\"{}", serial::MODBUS_TCP);
            section.fault("protocol", format!("\"{text}\""), write);
            Some(Named::Modbus)
        }
        None => section.choice(
            "protocol",
            &[
                ("pattern", Named::Pattern),
                ("modbus-rtu", Named::Modbus),
                ("packet", Named::Packet),
            ],
        ),
    };
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
                if !["load", "depth", "seq", "t", "temperature"].contains(&name) {
                    section.fault(
                        "pattern",
                        format!("a part named {name}"),
                        "only parts named load, depth, seq, t, temperature",
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
