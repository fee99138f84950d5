//! `/metrics`: figures for a monitoring system, OpenMetrics text 1.0.

mod channels;
mod families;

use super::Server;
use crate::forward::ForwardView;
use crate::progress::{Progress, read};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use channels::of_channels;
use families::Families;
use kerfwatch::result::in_interval;
use kerfwatch::snapshot::Snapshot;
use kerfwatch::time::seconds;
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
    let inside = in_interval(&now.groove, &now.joints);
    let split = inside.iter().filter(|bin| bin.through).count();
    page.gauge(
        "kerfwatch_bins_split",
        "",
        "Depth bins of the interval taken as split.",
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
            ("about", &alarm.about),
            ("state", &alarm.state),
        ];
        page.sample("kerfwatch_alarm_standing", &labels, 1.0);
    }
    of_channels(page, &now.channels);
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
    page.counter(
        "kerfwatch_counter_leaps",
        "Leaps of the depth counter that were no line movement.",
        now.quality.counter_leaps,
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
            "kerfwatch_standstills",
            "Times the sample path did not run for a second or more.",
            &progress.standstills,
        ),
        (
            "kerfwatch_streams_dropped",
            "Page readers cut off for being slow.",
            &progress.streams_dropped,
        ),
        (
            "kerfwatch_connections_crowded_out",
            "Connections to the page closed because others wanted in.",
            &progress.crowded_out,
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
    page.gauge(
        "kerfwatch_read_back_ratio",
        "ratio",
        "Part of an interrupted run that has been read back; absent when there is nothing to read back.",
        progress.read_back.part(),
    );
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
