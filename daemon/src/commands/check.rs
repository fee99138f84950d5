//! `check`: what was understood of a job file, which ports there are, and whether the instruments talk.

use super::{block_on, complain, job, live_clock, print};
use crate::cli::{CheckArgs, exit};
use crate::ports::PortConfig;
use crate::ports::discover::serial_ports;
use crate::ports::listen::{Heard, listen};
use crate::web::{PATIENCE, PageConfig, TOKEN_CHARS_MIN};
use kerfwatch::calibrate::{Demands, DepthScale, Fault, LoadScale};
use kerfwatch::decode::{PortDecoder, RawReading};
use kerfwatch::input::ChannelId;
use kerfwatch::job::{Dimension, Job, significant, summary};
use std::path::Path;
use std::time::Duration;

/// Bytes shown as they came.
const SHOWN_BYTES: usize = 160;

/// A port of the job, and what came.
struct Listened {
    number: u8,
    address: String,
    seconds: f64,
    heard: Heard,
}

pub(super) fn check(args: &CheckArgs) -> u8 {
    let found: Vec<String> = if args.ports {
        let ports = serial_ports(Path::new("/"));
        ports.iter().map(|port| port.address()).collect()
    } else {
        Vec::new()
    };
    let Some(file) = &args.job else {
        let text = if args.json {
            format!(
                "{:#}\n",
                serde_json::json!({"format": 1, "serial_ports": found})
            )
        } else {
            list(&found)
        };
        return print(&text);
    };
    let (read, _) = match job(file, &args.set, args.json) {
        Ok(job) => job,
        Err(code) => return code,
    };
    // What `run` would refuse is told here already.
    if let Err(error) = PortConfig::of_job(&read.job, &live_clock()) {
        complain(&format_args!("{}: {error}", file.display()));
        return exit::BAD_INPUT;
    }
    let page_note = match page(&read.job) {
        Ok(note) => note,
        Err(code) => return code,
    };
    let listened = if args.ports {
        match hear(&read.job, args.listen_s) {
            Ok(listened) => listened,
            Err(code) => return code,
        }
    } else {
        Vec::new()
    };
    let mut text = String::new();
    if args.json {
        let answer = serde_json::json!({
            "format": 1,
            "summary": summary(&read.job),
            "warnings": read.warnings,
            "page_note": page_note,
            "serial_ports": found,
            "ports": listened.iter().map(as_json).collect::<Vec<_>>(),
        });
        text = format!("{answer:#}\n");
    } else {
        text.push_str(&summary(&read.job));
        for warning in &read.warnings {
            text.push_str(&format!("warning: {warning}\n"));
        }
        if let Some(note) = &page_note {
            text.push_str(&format!("note: {note}\n"));
        }
        if args.ports {
            text.push('\n');
            text.push_str(&list(&found));
        }
        for port in &listened {
            text.push_str(&as_text(port, &read.job));
        }
    }
    print(&text);
    if listened.iter().any(|port| port.heard.advice().is_some()) {
        exit::FAILED
    } else {
        exit::OK
    }
}

/// Refuses a page that `run` would refuse, in the same words. Given: what `run` needs beyond the job file. The token
/// may be set for the service only, and not for whoever checks: that alone is no reason to refuse.
fn page(job: &Job) -> Result<Option<String>, u8> {
    let variable = job.page.token_env.as_deref();
    let token = match variable.map(std::env::var) {
        Some(Ok(token)) if !token.trim().is_empty() => Some(token),
        _ => None,
    };
    let missing = variable.filter(|_| token.is_none());
    let config = PageConfig {
        listen: job.page.listen.clone(),
        // Stands for the one that is not known here.
        token: token.or_else(|| missing.map(|_| "x".repeat(TOKEN_CHARS_MIN))),
        names: Vec::new(),
        patience: PATIENCE,
    };
    if let Err(error) = block_on(config.allowed())? {
        complain(&error);
        return Err(exit::BAD_INPUT);
    }
    Ok(missing.map(|variable| {
        format!("the token variable {variable} is not set here; where `run` starts it has to be: export {variable}=$(openssl rand -hex 16)")
    }))
}

/// What to write as `port` for each serial port of this machine.
fn list(found: &[String]) -> String {
    if found.is_empty() {
        return "this machine has no serial port; a device server is tcp:HOST:PORT\n".to_owned();
    }
    let mut text = "serial ports of this machine\n".to_owned();
    for address in found {
        text.push_str(&format!("  {address}\n"));
    }
    text
}

fn hear(job: &Job, listen_s: f64) -> Result<Vec<Listened>, u8> {
    let ports = PortConfig::of_job(job, &live_clock()).map_err(|error| {
        complain(&error);
        exit::BAD_INPUT
    })?;
    let seconds = listen_s.clamp(0.1, 3600.0);
    block_on(async {
        let mut tasks = Vec::new();
        for port in ports {
            let (number, address) = (port.number, port.address.clone());
            let decoder = PortDecoder::new(job, number).ok();
            let time = Duration::from_secs_f64(seconds);
            let task = tokio::spawn(listen(port, decoder, time, |_| {}));
            tasks.push((number, address, task));
        }
        let mut listened = Vec::new();
        for (number, address, task) in tasks {
            listened.push(Listened {
                number,
                address,
                seconds,
                heard: task.await.unwrap_or_default(),
            });
        }
        listened
    })
}

fn as_json(port: &Listened) -> serde_json::Value {
    let heard = &port.heard;
    serde_json::json!({
        "port": port.number,
        "address": port.address,
        "opened": heard.opened,
        "bytes": heard.bytes,
        "beginning": shown(&heard.beginning),
        "readings": heard.readings,
        "bad_frames": heard.counts.bad,
        "newest": heard.newest.iter().map(|reading| reading.raw).collect::<Vec<_>>(),
        "advice": heard.advice(),
    })
}

fn as_text(port: &Listened, job: &Job) -> String {
    let heard = &port.heard;
    let mut text = format!(
        "{}: in {} s {} bytes, {} readings ({} a second), {} bad frames\n",
        port.address,
        significant(port.seconds),
        heard.bytes,
        heard.readings,
        significant((heard.readings as f64 / port.seconds).round()),
        heard.counts.bad
    );
    if heard.bytes > 0 {
        text.push_str(&format!("  as it came  {}\n", shown(&heard.beginning)));
    }
    for reading in newest_of_each(&heard.newest) {
        text.push_str(&format!("  {}\n", understood(reading, job)));
    }
    if let Some(advice) = heard.advice() {
        text.push_str(&format!("  {advice}\n"));
    }
    text
}

fn newest_of_each(newest: &[RawReading]) -> Vec<&RawReading> {
    let mut of_each: Vec<&RawReading> = Vec::new();
    for reading in newest.iter().rev() {
        if of_each.iter().all(|known| known.channel != reading.channel) {
            of_each.push(reading);
        }
    }
    of_each.reverse();
    of_each
}

/// A reading as sent, and what the calibration of the job makes of it.
fn understood(reading: &RawReading, job: &Job) -> String {
    let raw = reading.raw;
    if let (ChannelId::Load, Some(load)) = (reading.channel, &job.load) {
        let tension_n = LoadScale::new(load).apply(reading.raw);
        return format!(
            "load        {raw} as sent: {} of line tension{}",
            Dimension::Force.show(tension_n),
            objection(reading, job, tension_n)
        );
    }
    if let (ChannelId::Depth, Some(depth)) = (reading.channel, &job.depth) {
        let line_m = DepthScale::new(depth).apply(reading.raw);
        return format!(
            "depth       {raw} as sent: {} of line paid out{}",
            Dimension::Length.show(line_m),
            objection(reading, job, line_m)
        );
    }
    let channel = format!("{:?}", reading.channel).to_lowercase();
    format!("{channel:<12}{raw} as sent")
}

/// What `run` would say against such a reading; empty when nothing.
fn objection(reading: &RawReading, job: &Job, value: f64) -> String {
    match Demands::of(job, reading.channel).objects(reading.raw, value) {
        Fault::None => String::new(),
        fault => format!("; not believed: {}", fault.in_words()),
    }
}

/// Bytes with escapes where they are no plain text.
fn shown(bytes: &[u8]) -> String {
    bytes
        .iter()
        .take(SHOWN_BYTES)
        .flat_map(|byte| std::ascii::escape_default(*byte))
        .map(char::from)
        .collect()
}
