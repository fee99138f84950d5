//! What the page and other programs ask for. Described in `openapi.json`; what they may change: [`super::changes`].

use super::access::Refusal;
use super::{Connection, Peer, Server, failure};
use crate::forward::ForwardView;
use crate::progress::read;
use crate::publish::{MarkView, Published};
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use kerfwatch::job::Display;
use kerfwatch::result::{GrooveBin, Joint};
use kerfwatch::snapshot::{Outlook, Snapshot};
use kerfwatch::time::seconds;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// What the page has to know of the job. Units in the names.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct JobView {
    version: &'static str,
    run_id: String,
    run_folder: String,
    started_utc: String,
    speed: f64,
    name: String,
    well: String,
    display: &'static str,
    interval_top_m: f64,
    interval_bottom_m: f64,
    bin_m: f64,
    couplings_m: Vec<f64>,
    coupling_length_m: f64,
    wall_mm: f64,
    upper_stop_m: Option<f64>,
    lower_stop_m: Option<f64>,
    changes: bool,
}

impl JobView {
    pub(crate) fn of(server: &Server) -> Self {
        let published = &server.published;
        let job = &published.job;
        Self {
            version: env!("CARGO_PKG_VERSION"),
            run_id: published.run_id.clone(),
            run_folder: published.run_folder.clone(),
            started_utc: published.started_utc.clone(),
            speed: published.speed,
            name: job.info.name.clone(),
            well: job.info.well.clone(),
            display: match job.info.display {
                Display::Metric => "metric",
                Display::Field => "field",
            },
            interval_top_m: job.info.interval_top.0,
            interval_bottom_m: job.info.interval_bottom.0,
            bin_m: job.info.bin.0,
            couplings_m: job.couplings.iter().map(|depth| depth.0).collect(),
            coupling_length_m: job.tubular.coupling_length.0,
            wall_mm: job.tubular.wall.as_millimetres(),
            upper_stop_m: job.alarm.upper_stop.map(|depth| depth.0),
            lower_stop_m: job.alarm.lower_stop.map(|depth| depth.0),
            // The demonstration takes its token from the command line, not from the job.
            changes: server.access.takes_changes(),
        }
    }
}

/// Groove and joints, with what going on brings them, sent less often than the rest.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub(crate) struct GrooveView {
    groove: Vec<GrooveBin>,
    joints: Vec<Joint>,
    outlook: Vec<Outlook>,
}

impl GrooveView {
    pub(crate) fn of(snapshot: &Snapshot) -> Self {
        Self {
            groove: snapshot.groove.clone(),
            joints: snapshot.joints.clone(),
            outlook: snapshot.outlook.clone(),
        }
    }
}

/// State of the daemon itself.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Health {
    /// No thread has failed, and what comes in is being recorded now: the disk takes it, and no input was lost in the
    /// last seconds.
    ok: bool,
    /// Newest input taken in, run time.
    ingest_s: f64,
    /// Newest input the pipeline has finished.
    core_s: f64,
    /// On disk up to here.
    recorded_s: f64,
    recorded_bytes: u64,
    record_lost: u64,
    /// Of these, some in the last seconds.
    record_losing: bool,
    record_errors: u64,
    sync_ms_max: f64,
    /// Room left where the run is recorded; `null` when the system does not say.
    disk_free_bytes: Option<u64>,
    ports_opened: u64,
    ports_lost: u64,
    clock_steps: u64,
    standstills: u64,
    /// The part of an interrupted run that has been read back, 0 to 1; `None` when there is nothing to read back
    /// any more. Until then strokes, groove and earlier alarms are not known.
    reading_back: Option<f64>,
    streams: u64,
    streams_dropped: u64,
    /// `None`: the job does not ask for forwarding.
    forward: Option<ForwardView>,
}

pub(crate) fn health(published: &Published) -> Health {
    let progress = &published.progress;
    let time = |at: &std::sync::atomic::AtomicI64| seconds(at.load(Ordering::Relaxed));
    Health {
        ok: progress.is_well(),
        ingest_s: time(&progress.ingest_at_ns),
        core_s: time(&progress.core_at_ns),
        recorded_s: time(&progress.recorded_at_ns),
        recorded_bytes: read(&progress.recorded_bytes),
        record_lost: read(&progress.record_lost),
        record_losing: progress.is_losing(),
        record_errors: read(&progress.record_errors),
        sync_ms_max: read(&progress.sync_ns_max) as f64 * 1e-6,
        disk_free_bytes: disk_free(&published.run_folder),
        ports_opened: read(&progress.ports_opened),
        ports_lost: read(&progress.ports_lost),
        clock_steps: read(&progress.clock_steps),
        standstills: read(&progress.standstills),
        reading_back: progress.read_back.part(),
        streams: read(&progress.streams),
        streams_dropped: read(&progress.streams_dropped),
        forward: progress.forward.view(),
    }
}

fn disk_free(folder: &str) -> Option<u64> {
    let system = rustix::fs::statvfs(folder).ok()?;
    system.f_bavail.checked_mul(system.f_frsize)
}

pub(crate) async fn job(State(server): State<Arc<Server>>) -> Json<JobView> {
    Json(JobView::of(&server))
}

pub(crate) async fn snapshot(State(server): State<Arc<Server>>) -> Response {
    Json(&**server.published.snapshot.borrow()).into_response()
}

pub(crate) async fn result(State(server): State<Arc<Server>>) -> Response {
    if let Some(part) = server.published.progress.read_back.part() {
        let text = format!(
            "the record is being read back ({:.0} %): ask again later",
            100.0 * part
        );
        return failure(StatusCode::SERVICE_UNAVAILABLE, &text);
    }
    Json(&*server.published.fresh_result().await).into_response()
}

#[derive(Debug, Deserialize)]
pub(crate) struct Since {
    pub(crate) since: Option<f64>,
    points: Option<usize>,
}

pub(crate) async fn history(
    State(server): State<Arc<Server>>,
    Query(query): Query<Since>,
) -> Response {
    let since = query.since.unwrap_or(f64::NEG_INFINITY);
    let points = query.points.unwrap_or(6_000).clamp(1, 60_000);
    let columns = server.published.history().since(since, points);
    Json(columns).into_response()
}

pub(crate) async fn stream(
    State(server): State<Arc<Server>>,
    connection: Connection,
    Query(query): Query<Since>,
    headers: HeaderMap,
) -> Response {
    let last = headers
        .get("last-event-id")
        .and_then(|value| value.to_str().ok());
    let since = super::stream::left_off(&server.published.run_id, query.since, last);
    super::stream::open(server, connection.seat, since)
}

pub(crate) async fn marks(State(server): State<Arc<Server>>) -> Json<Vec<MarkView>> {
    Json(server.published.marks().clone())
}

pub(crate) async fn alarms(State(server): State<Arc<Server>>) -> Response {
    Json(&*server.published.alarms()).into_response()
}

pub(crate) async fn openapi() -> Response {
    (
        [(header::CONTENT_TYPE, "application/json")],
        include_str!("openapi.json"),
    )
        .into_response()
}

/// For watchdogs and container probes, who have no token: to whoever may not look it says no more than they need.
pub(crate) async fn healthz(
    State(server): State<Arc<Server>>,
    peer: Peer,
    headers: HeaderMap,
) -> Response {
    let health = health(&server.published);
    let status = if health.ok {
        StatusCode::OK
    } else {
        StatusCode::SERVICE_UNAVAILABLE
    };
    match server.access.may_look(peer.0, &headers) {
        Ok(()) => (status, Json(health)).into_response(),
        Err(refusal) => {
            // A guess is one wherever it is tried; else nothing was refused.
            if refusal == Refusal::Wrong {
                let _ = server.refuse(peer.0, refusal);
            }
            (status, Json(serde_json::json!({"ok": health.ok}))).into_response()
        }
    }
}
