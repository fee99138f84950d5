//! Instruments, alarms, record, page and server.

use super::Text;
use crate::job::quantity::{Dimension as D, significant};
use crate::job::{Channel, Counts, Job, Mount, Protocol};

pub(super) fn services(job: &Job, text: &mut Text) {
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
            "pull {} above pick-up, speed {}, warning {} before the limit",
            D::Force.show(alarm.overpull.si()),
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
    let line = if channel.port.starts_with("serial:") {
        format!(" at {}", channel.serial)
    } else {
        String::new()
    };
    format!("{}{line}, {protocol}", channel.port)
}
