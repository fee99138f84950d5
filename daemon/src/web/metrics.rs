//! `/metrics`: figures for a monitoring system, OpenMetrics text 1.0.
//!
//! *Source*: the OpenMetrics 1.0 specification (RFC draft of the Prometheus project): families
//! with `# TYPE`, `# UNIT`, `# HELP`; counters end in `_total`; the text ends with `# EOF`.

use super::Server;
use crate::forward::ForwardView;
use crate::progress::{Progress, read};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use kerfwatch::result::State as ToolState;
use kerfwatch::snapshot::Snapshot;
use kerfwatch::time::seconds;
use std::fmt::Write;
use std::sync::Arc;
use std::sync::atomic::Ordering;

pub(crate) async fn metrics(State(server): State<Arc<Server>>) -> Response {
    let published = &server.published;
    let snapshot = Arc::clone(&published.snapshot.borrow());
    let mut page = Families::default();
    page.info(
        "kerfwatch_build",
        "Version of the daemon.",
        &[("version", env!("CARGO_PKG_VERSION"))],
    );
    of_snapshot(&mut page, &snapshot);
    of_progress(&mut page, &published.progress);
    (
        [(
            header::CONTENT_TYPE,
            "application/openmetrics-text; version=1.0.0; charset=utf-8",
        )],
        page.end(),
    )
        .into_response()
}

fn of_snapshot(page: &mut Families, now: &Snapshot) {
    page.gauge(
        "kerfwatch_line_tension_newtons",
        "newtons",
        "Line tension.",
        now.tension_n,
    );
    page.gauge(
        "kerfwatch_expected_tension_newtons",
        "newtons",
        "Expected line tension without cutting.",
        now.expected_n,
    );
    page.gauge(
        "kerfwatch_tension_limit_newtons",
        "newtons",
        "Tension limit at this depth.",
        Some(now.limit_n),
    );
    page.gauge(
        "kerfwatch_drag_newtons",
        "newtons",
        "Excess drag at the tool.",
        now.drag_n,
    );
    page.gauge(
        "kerfwatch_line_paid_out_meters",
        "meters",
        "Line paid out.",
        now.line_m,
    );
    page.gauge(
        "kerfwatch_tool_depth_meters",
        "meters",
        "Depth of the cutter wheels along hole.",
        now.tool_depth_m,
    );
    page.counter(
        "kerfwatch_strokes",
        "Strokes ended.",
        u64::from(now.strokes),
    );
    let split = now.groove.iter().filter(|bin| bin.through).count();
    page.gauge(
        "kerfwatch_bins_split",
        "",
        "Depth bins taken as split.",
        Some(split as f64),
    );
    page.gauge(
        "kerfwatch_line_bends_most",
        "",
        "Most bends of any section of line.",
        Some(f64::from(now.bends_max)),
    );
    page.gauge(
        "kerfwatch_line_life_used_ratio",
        "ratio",
        "Largest part of bending life used.",
        now.life_used,
    );
    page.state(now.state);
    page.family(
        "kerfwatch_alarm_standing",
        "gauge",
        "",
        "1 for each alarm that is not normal.",
    );
    for alarm in &now.alarms {
        let labels = [
            ("kind", &*alarm.kind),
            ("level", &alarm.level),
            ("state", &alarm.state),
        ];
        page.sample("kerfwatch_alarm_standing", &labels, 1.0);
    }
    page.family(
        "kerfwatch_channel_readings",
        "counter",
        "",
        "Good readings of an instrument.",
    );
    for channel in &now.channels {
        page.sample(
            "kerfwatch_channel_readings_total",
            &[("channel", &channel.name)],
            channel.readings as f64,
        );
    }
    page.family(
        "kerfwatch_channel_bad_frames",
        "counter",
        "",
        "Frames of an instrument that did not decode.",
    );
    for channel in &now.channels {
        page.sample(
            "kerfwatch_channel_bad_frames_total",
            &[("channel", &channel.name)],
            channel.bad_frames as f64,
        );
    }
    page.family(
        "kerfwatch_channel_rate_hertz",
        "gauge",
        "hertz",
        "Readings per second of an instrument.",
    );
    for channel in &now.channels {
        page.sample(
            "kerfwatch_channel_rate_hertz",
            &[("channel", &channel.name)],
            channel.rate_hz,
        );
    }
    page.family(
        "kerfwatch_channel_age_seconds",
        "gauge",
        "seconds",
        "Age of the newest good reading.",
    );
    for channel in &now.channels {
        if let Some(age) = channel.age_s {
            page.sample(
                "kerfwatch_channel_age_seconds",
                &[("channel", &channel.name)],
                age,
            );
        }
    }
    page.family(
        "kerfwatch_channel_fault",
        "gauge",
        "",
        "1 while an instrument has this fault.",
    );
    for channel in now
        .channels
        .iter()
        .filter(|channel| !channel.fault.is_empty())
    {
        page.sample(
            "kerfwatch_channel_fault",
            &[("channel", &channel.name), ("fault", &channel.fault)],
            1.0,
        );
    }
    page.counter(
        "kerfwatch_gaps",
        "Silences longer than the channel's limit.",
        now.quality.gaps,
    );
    page.counter(
        "kerfwatch_late_readings",
        "Readings too late to be merged.",
        now.quality.late,
    );
    page.counter(
        "kerfwatch_out_of_range_readings",
        "Readings out of range or not finite.",
        now.quality.out_of_range,
    );
    page.counter(
        "kerfwatch_spikes",
        "Single readings set aside as spikes.",
        now.quality.spikes,
    );
}

fn of_progress(page: &mut Families, progress: &Progress) {
    let time = |at: &std::sync::atomic::AtomicI64| Some(seconds(at.load(Ordering::Relaxed)));
    page.gauge(
        "kerfwatch_ingest_time_seconds",
        "seconds",
        "Run time of the newest input.",
        time(&progress.ingest_at_ns),
    );
    page.gauge(
        "kerfwatch_core_time_seconds",
        "seconds",
        "Run time the pipeline has reached.",
        time(&progress.core_at_ns),
    );
    page.gauge(
        "kerfwatch_recorded_time_seconds",
        "seconds",
        "Run time that is safely on disk.",
        time(&progress.recorded_at_ns),
    );
    let sync_s = read(&progress.sync_ns_max) as f64 * 1e-9;
    page.gauge(
        "kerfwatch_sync_longest_seconds",
        "seconds",
        "Longest sync to disk.",
        Some(sync_s),
    );
    for (name, help, counter) in [
        ("kerfwatch_inputs", "Inputs taken in.", &progress.inputs),
        (
            "kerfwatch_bytes_received",
            "Bytes from instruments.",
            &progress.bytes_received,
        ),
        (
            "kerfwatch_bytes_recorded",
            "Bytes written to the record.",
            &progress.recorded_bytes,
        ),
        (
            "kerfwatch_inputs_not_recorded",
            "Inputs lost to a slow disk.",
            &progress.record_lost,
        ),
        (
            "kerfwatch_inputs_not_processed",
            "Inputs lost to a slow pipeline.",
            &progress.core_lost,
        ),
        (
            "kerfwatch_record_errors",
            "Write errors of the record.",
            &progress.record_errors,
        ),
        (
            "kerfwatch_load_readings_guarded",
            "Load readings judged by the overpull guard.",
            &progress.guarded,
        ),
        (
            "kerfwatch_overpulls",
            "Overpulls raised by the guard.",
            &progress.overpulls,
        ),
        (
            "kerfwatch_ports_opened",
            "Times a port was opened.",
            &progress.ports_opened,
        ),
        (
            "kerfwatch_ports_lost",
            "Times a port was lost.",
            &progress.ports_lost,
        ),
        (
            "kerfwatch_clock_steps",
            "Steps of the host's clock.",
            &progress.clock_steps,
        ),
        (
            "kerfwatch_streams_dropped",
            "Page readers cut off for being slow.",
            &progress.streams_dropped,
        ),
        (
            "kerfwatch_changes",
            "Changes made from the page.",
            &progress.changes,
        ),
        (
            "kerfwatch_changes_refused",
            "Requests refused.",
            &progress.refused,
        ),
    ] {
        page.counter(name, help, read(counter));
    }
    if let Some(forward) = progress.forward.view() {
        of_forward(page, &forward);
    }
    page.gauge(
        "kerfwatch_streams_open",
        "",
        "Page readers.",
        Some(read(&progress.streams) as f64),
    );
}

fn of_forward(page: &mut Families, forward: &ForwardView) {
    page.gauge(
        "kerfwatch_forward_backlog",
        "",
        "Records and entries of the run not yet on the server.",
        Some(forward.backlog as f64),
    );
    page.gauge(
        "kerfwatch_forward_delivered_time_seconds",
        "seconds",
        "Run time up to which readings are on the server.",
        Some(forward.delivered_s),
    );
    page.gauge(
        "kerfwatch_forward_waiting",
        "",
        "1 while the server takes nothing.",
        Some(f64::from(u8::from(!forward.trouble.is_empty()))),
    );
    for (name, help, value) in [
        (
            "kerfwatch_forward_points",
            "Points the server took.",
            forward.points,
        ),
        (
            "kerfwatch_forward_points_refused",
            "Points the server would not take.",
            forward.set_aside,
        ),
        (
            "kerfwatch_forward_failures",
            "Requests to the server that came to nothing.",
            forward.failures,
        ),
    ] {
        page.counter(name, help, value);
    }
}

/// Text under construction.
#[derive(Debug, Default)]
struct Families {
    text: String,
}

impl Families {
    fn family(&mut self, name: &str, kind: &str, unit: &str, help: &str) {
        let text = &mut self.text;
        // Writing to a string does not fail.
        let _ = writeln!(text, "# TYPE {name} {kind}");
        if !unit.is_empty() {
            let _ = writeln!(text, "# UNIT {name} {unit}");
        }
        let _ = writeln!(text, "# HELP {name} {help}");
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: f64) {
        let text = &mut self.text;
        text.push_str(name);
        for (n, (label, value)) in labels.iter().enumerate() {
            let value = value
                .replace('\\', "\\\\")
                .replace('"', "\\\"")
                .replace('\n', "\\n");
            let _ = write!(
                text,
                "{}{label}=\"{value}\"",
                if n == 0 { '{' } else { ',' }
            );
        }
        if !labels.is_empty() {
            text.push('}');
        }
        let _ = writeln!(text, " {value}");
    }

    /// An unknown value has no sample: a missing figure is not zero.
    fn gauge(&mut self, name: &str, unit: &str, help: &str, value: Option<f64>) {
        self.family(name, "gauge", unit, help);
        if let Some(value) = value.filter(|value| value.is_finite()) {
            self.sample(name, &[], value);
        }
    }

    fn counter(&mut self, name: &str, help: &str, value: u64) {
        self.family(name, "counter", "", help);
        self.sample(&format!("{name}_total"), &[], value as f64);
    }

    fn info(&mut self, name: &str, help: &str, labels: &[(&str, &str)]) {
        self.family(name, "info", "", help);
        self.sample(&format!("{name}_info"), labels, 1.0);
    }

    fn state(&mut self, now: ToolState) {
        let name = "kerfwatch_tool_state";
        self.family(name, "stateset", "", "What the tool does.");
        for (state, word) in [
            (ToolState::Still, "still"),
            (ToolState::Free, "free"),
            (ToolState::Cutting, "cutting"),
            (ToolState::Stalled, "stalled"),
            (ToolState::Slack, "slack"),
            (ToolState::Unknown, "unknown"),
        ] {
            self.sample(name, &[(name, word)], f64::from(u8::from(state == now)));
        }
    }

    fn end(mut self) -> String {
        self.text.push_str("# EOF\n");
        self.text
    }
}
