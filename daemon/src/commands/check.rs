//! `check`: what was understood of a job file, and whether its instruments talk.

use super::{block_on, complain, job, live_clock, print};
use crate::cli::{CheckArgs, exit};
use crate::ports::PortConfig;
use crate::ports::listen::{Heard, listen};
use kerfwatch::decode::PortDecoder;
use kerfwatch::input::PortNumber;
use kerfwatch::job::{Job, summary};
use std::time::Duration;

pub(super) fn check(args: &CheckArgs) -> u8 {
    let (read, _) = match job(&args.job, &args.set, args.json) {
        Ok(job) => job,
        Err(code) => return code,
    };
    let heard = if args.ports {
        match hear(&read.job, args.listen_s) {
            Ok(heard) => heard,
            Err(code) => return code,
        }
    } else {
        Vec::new()
    };
    let bad_ports = heard.iter().any(|(_, heard)| heard.advice().is_some());
    let mut text = String::new();
    if args.json {
        let ports: Vec<_> = heard
            .iter()
            .map(|(port, heard)| port_json(*port, heard))
            .collect();
        let answer = serde_json::json!({
            "format": 1,
            "summary": summary(&read.job),
            "warnings": read.warnings,
            "ports": ports,
        });
        text = format!("{answer:#}\n");
    } else {
        text.push_str(&summary(&read.job));
        for warning in &read.warnings {
            text.push_str(&format!("warning: {warning}\n"));
        }
        for (port, heard) in &heard {
            text.push_str(&port_text(*port, heard));
        }
    }
    print(&text);
    if bad_ports { exit::FAILED } else { exit::OK }
}

fn hear(job: &Job, listen_s: f64) -> Result<Vec<(PortNumber, Heard)>, u8> {
    let ports = PortConfig::of_job(job, &live_clock()).map_err(|error| {
        complain(&error);
        exit::BAD_INPUT
    })?;
    let time = Duration::from_secs_f64(listen_s.clamp(0.1, 3600.0));
    block_on(async {
        let mut tasks = Vec::new();
        for port in ports {
            let number = port.number;
            let decoder = PortDecoder::new(job, number).ok();
            let task = tokio::spawn(listen(port, decoder, time, |_| {}));
            tasks.push((number, task));
        }
        let mut heard = Vec::new();
        for (number, task) in tasks {
            heard.push((number, task.await.unwrap_or_default()));
        }
        heard
    })
}

fn port_json(port: PortNumber, heard: &Heard) -> serde_json::Value {
    serde_json::json!({
        "port": port,
        "opened": heard.opened,
        "bytes": heard.bytes,
        "readings": heard.readings,
        "bad_frames": heard.counts.bad,
        "newest": heard.newest.iter().map(|reading| reading.raw).collect::<Vec<_>>(),
        "advice": heard.advice(),
    })
}

fn port_text(port: PortNumber, heard: &Heard) -> String {
    let newest: Vec<String> = heard
        .newest
        .iter()
        .map(|reading| format!("{:?} {}", reading.channel, reading.raw).to_lowercase())
        .collect();
    let mut text = format!(
        "port {port}\n  {} bytes, {} readings, {} bad frames\n",
        heard.bytes, heard.readings, heard.counts.bad
    );
    if !newest.is_empty() {
        text.push_str(&format!("  newest: {}\n", newest.join(", ")));
    }
    if let Some(advice) = heard.advice() {
        text.push_str(&format!("  {advice}\n"));
    }
    text
}
