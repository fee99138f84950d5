//! `[depth]`: port, protocol, calibration.

use super::channel::{channel_on, scale};
use super::quantity::Dimension as D;
use super::section::Section;
use super::{Counts, DepthChannel, LoadChannel, Protocol};
use crate::units::Metres;

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
        20.0,
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
