//! The live stream: server-sent events, made once and shared by all readers.
//!
//! | event | when | data |
//! |---|---|---|
//! | `hello` | first | run id, start, speed, job for the page |
//! | `strokes` | on connecting, when an interrupted run has been read back, and at the end | the newest strokes, oldest first |
//! | `points` | on connecting (what was missed) and 10 times a second | columns of [`crate::history`] |
//! | `now` | 10 times a second | the snapshot without groove and joints |
//! | `groove` | on connecting, once a second when it changed, and at the end | groove bins and joints |
//! | `told` | at once; after an alarm `now` follows at once too | a stroke, an alarm, a mark |
//! | `warning` | at once | what the overpull guard has found, before the pipeline has it |
//! | `health` | once a second | counters of ingest, recorder, page |
//! | `ended` | last, after `strokes`, `groove` and `now` of the result | time of the newest reading |
//!
//! *Back-fill*: `?since=SECONDS`, or the browser's own `Last-Event-ID` (`RUN:SECONDS`), which is
//! honoured for the same run only. A reader drops points not newer than its newest.
//! *Slow readers*: each has a bounded backlog of [`BACKLOG`] events; who falls behind is cut off
//! and reconnects. The daemon never waits for a reader.

use super::Server;
use super::api::{GrooveView, JobView, health};
use super::seats::{Follows, Seat};
use crate::guard::Warning;
use crate::outputs::Horn;
use crate::progress::count;
use crate::publish::{Published, Told};
use axum::body::{Body, Bytes};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use kerfwatch::snapshot::Snapshot;
use serde::Serialize;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::broadcast;
use tokio_util::sync::CancellationToken;

/// Events a reader may lag behind.
pub(crate) const BACKLOG: usize = 256;
/// Streams at a time.
pub(crate) const STREAMS_MAX: u64 = 100;
/// Points sent to a reader that connects.
pub(crate) const BACKFILL_POINTS: usize = 6_000;
const STEP: Duration = Duration::from_millis(100);
const STEPS_PER_SECOND: u64 = 10;

/// One event as it goes over the wire.
fn event(name: &str, id: Option<&str>, data: &impl Serialize) -> Bytes {
    let mut text = format!("event: {name}\n");
    if let Some(id) = id {
        text.push_str("id: ");
        text.push_str(id);
        text.push('\n');
    }
    text.push_str("data: ");
    // All types here serialise: no maps with odd keys, and NaN becomes null.
    text.push_str(&serde_json::to_string(data).unwrap_or_default());
    text.push_str("\n\n");
    Bytes::from(text)
}

fn id_of(run: &str, at_s: f64) -> String {
    format!("{run}:{at_s:.3}")
}

fn without_groove(snapshot: &Snapshot) -> Snapshot {
    Snapshot {
        groove: Vec::new(),
        joints: Vec::new(),
        outlook: Vec::new(),
        ..snapshot.clone()
    }
}

/// A finding of the overpull guard as it goes over the wire. The alarm of the pipeline, which can be
/// acknowledged, follows in `now`.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct GuardWarning {
    kind: &'static str,
    at_s: f64,
    tension_n: f64,
    limit_n: f64,
}

/// What has been heard of the guard.
#[derive(Debug)]
struct Heard {
    overpulls: u64,
    overpull: Option<Warning>,
    approaching: Option<Warning>,
}

impl Heard {
    fn of(horn: &Horn) -> Self {
        Self {
            overpulls: horn.overpulls,
            overpull: horn.overpull,
            approaching: horn.approaching,
        }
    }

    /// What has begun since `before`.
    fn since(&self, before: &Self) -> impl Iterator<Item = GuardWarning> {
        let overpull = self
            .overpull
            .filter(|_| self.overpulls > before.overpulls)
            .map(|warning| ("overpull", warning));
        let approaching = self
            .approaching
            .filter(|_| self.approaching != before.approaching)
            .map(|warning| ("approaching", warning));
        overpull
            .into_iter()
            .chain(approaching)
            .map(|(kind, warning)| GuardWarning {
                kind,
                at_s: warning.at_s,
                tension_n: warning.tension_n,
                limit_n: warning.limit_n,
            })
    }
}

/// Makes the shared events until `stop`.
pub(crate) async fn broadcaster(server: Arc<Server>, stop: CancellationToken) {
    let mut ticks = tokio::time::interval(STEP);
    ticks.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
    let mut told = server.published.told.subscribe();
    let mut horn = server.horn.clone();
    let mut guard = Heard::of(&horn.borrow_and_update());
    let (mut step, mut due) = (0_u64, false);
    let mut newest_s = f64::NEG_INFINITY;
    let mut groove = GrooveView::default();
    loop {
        let what = tokio::select! {
            () = stop.cancelled() => return,
            what = told.recv() => what.ok(),
            Ok(()) = horn.changed() => None,
            _ = ticks.tick() => {
                due = true;
                None
            }
        };
        // What the guard says comes first, whoever woke us: it judged each reading before anything in this snapshot was
        // made of it.
        let snapshot = Arc::clone(&server.published.snapshot.borrow());
        let new = Heard::of(&horn.borrow_and_update());
        for warning in new.since(&guard) {
            server.send(event("warning", None, &warning));
        }
        guard = new;
        if let Some(what) = what {
            server.send(event("told", None, &what));
            if matches!(what, Told::CaughtUp { .. }) {
                server.send(event("strokes", None, &*server.published.strokes()));
                server.send(event("health", None, &health(&server.published)));
            }
            if matches!(what, Told::Alarm { .. }) {
                server.send(event("now", None, &without_groove(&snapshot)));
            }
        }
        if !std::mem::take(&mut due) {
            continue;
        }
        step += 1;
        if server.events.receiver_count() == 0 {
            newest_s = f64::NEG_INFINITY;
            continue;
        }
        let points = {
            let history = server.published.history();
            let from = if newest_s.is_finite() {
                newest_s
            } else {
                history.newest_s() - 1.0
            };
            newest_s = history.newest_s();
            history.since(from, 400)
        };
        if !points.at_s.is_empty() {
            let id = id_of(&server.published.run_id, newest_s);
            server.send(event("points", Some(&id), &points));
        }
        server.send(event("now", None, &without_groove(&snapshot)));
        if step.is_multiple_of(STEPS_PER_SECOND) {
            let new = GrooveView::of(&snapshot);
            if new != groove {
                server.send(event("groove", None, &new));
                groove = new;
            }
            server.send(event("health", None, &health(&server.published)));
        }
    }
}

/// Counts itself among the open streams while it lives, and keeps the seat of its connection.
struct Open(Arc<Server>, #[expect(dead_code, reason = "held")] Follows);

impl Drop for Open {
    fn drop(&mut self) {
        self.0
            .published
            .progress
            .streams
            .fetch_sub(1, Ordering::Relaxed);
    }
}

/// The last word of a run: the figures of its result, in which the stroke under way at the end counts too, then that
/// it has ended.
fn how_it_ended(published: &Published) -> VecDeque<Bytes> {
    let snapshot = Arc::clone(&published.snapshot.borrow());
    let at_s = published.history().newest_s();
    let at_s = at_s.is_finite().then_some(at_s);
    VecDeque::from([
        event("strokes", None, &*published.strokes()),
        event("groove", None, &GrooveView::of(&snapshot)),
        event("now", None, &without_groove(&snapshot)),
        event("ended", None, &serde_json::json!({"at_s": at_s})),
    ])
}

/// Starts a stream for one reader.
pub(crate) fn open(server: Arc<Server>, seat: Arc<Seat>, since_s: f64) -> Response {
    let progress = &server.published.progress;
    let before = progress.streams.fetch_add(1, Ordering::Relaxed);
    let open = Open(Arc::clone(&server), seat.follows());
    if before >= STREAMS_MAX {
        return super::failure(
            axum::http::StatusCode::SERVICE_UNAVAILABLE,
            "too many open streams: close other pages",
        );
    }
    // Subscribed first, history second: nothing falls between them; what comes twice is dropped
    // by the reader.
    let receiver = server.events.subscribe();
    let (points, newest_s) = {
        let history = server.published.history();
        (history.since(since_s, BACKFILL_POINTS), history.newest_s())
    };
    let snapshot = Arc::clone(&server.published.snapshot.borrow());
    let id = newest_s
        .is_finite()
        .then(|| id_of(&server.published.run_id, newest_s));
    let first = VecDeque::from([
        Bytes::from_static(b"retry: 1000\n\n"),
        event("hello", None, &JobView::of(&server)),
        event("strokes", None, &*server.published.strokes()),
        event("points", id.as_deref(), &points),
        event("groove", None, &GrooveView::of(&snapshot)),
        event("now", None, &without_groove(&snapshot)),
        event("health", None, &health(&server.published)),
    ]);
    let stop = server.stop.clone();
    let events = stream::unfold(
        (first, Some(receiver), open, stop),
        |(mut first, mut receiver, open, stop)| async move {
            if let Some(bytes) = first.pop_front() {
                return Some((
                    Ok::<_, std::io::Error>(bytes),
                    (first, receiver, open, stop),
                ));
            }
            // Without it the last word has been said.
            let coming = receiver.as_mut()?;
            let received = tokio::select! {
                biased;
                received = coming.recv() => received,
                () = stop.cancelled() => {
                    let published = &open.0.published;
                    // A daemon that failed is started again: for the page it is out of reach.
                    if published.progress.failed.load(Ordering::Relaxed) {
                        return None;
                    }
                    first = how_it_ended(published);
                    return first.pop_front().map(|bytes| (Ok(bytes), (first, None, open, stop)));
                }
            };
            match received {
                Ok(bytes) => Some((Ok(bytes), (first, receiver, open, stop))),
                Err(broadcast::error::RecvError::Lagged(_)) => {
                    count(&open.0.published.progress.streams_dropped);
                    None
                }
                Err(broadcast::error::RecvError::Closed) => None,
            }
        },
    );
    (
        [
            (header::CONTENT_TYPE, "text/event-stream"),
            (header::CACHE_CONTROL, "no-store"),
        ],
        Body::from_stream(events),
    )
        .into_response()
}

/// Where a reader left off: `since` wins; `Last-Event-ID` counts for the same run only.
pub(crate) fn left_off(run_id: &str, since: Option<f64>, last_event_id: Option<&str>) -> f64 {
    since
        .filter(|since| since.is_finite())
        .or_else(|| {
            let (run, at) = last_event_id?.rsplit_once(':')?;
            (run == run_id).then(|| at.parse::<f64>().ok()).flatten()
        })
        .filter(|since| !since.is_nan())
        .unwrap_or(f64::NEG_INFINITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reader_goes_on_where_it_left_off_in_the_same_run_only() {
        assert_eq!(left_off("a:b", None, Some("a:b:12.500")), 12.5);
        assert_eq!(left_off("a", None, Some("b:12.500")), f64::NEG_INFINITY);
        assert_eq!(left_off("a", Some(3.0), Some("a:12.500")), 3.0);
        assert_eq!(left_off("a", Some(f64::NAN), None), f64::NEG_INFINITY);
        assert_eq!(left_off("a", None, Some("nonsense")), f64::NEG_INFINITY);
        assert_eq!(left_off("a", None, Some("a:nan")), f64::NEG_INFINITY);
    }

    #[test]
    fn an_event_is_one_block_of_lines() {
        let bytes = event("told", Some("r:1.000"), &"two\nlines");
        assert_eq!(bytes, "event: told\nid: r:1.000\ndata: \"two\\nlines\"\n\n");
    }
}
