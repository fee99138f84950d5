//! What the page and other programs may change: marks, alarms, signing in. Each change is an input of the run and
//! leaves a line in the log. Described in `openapi.json`.

use super::{Peer, Server, failure};
use crate::progress::count;
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use kerfwatch::alarm::AlarmKind;
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::snapshot::AlarmView;
use serde::Deserialize;
use std::sync::Arc;

const TEXT_MAX: usize = 500;
const AUTHOR_MAX: usize = 80;
const SHELVE_S_MAX: f64 = 3600.0;

/// A mark as posted: `{"mark": "note", "author": "...", "text": "..."}`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NewMark {
    mark: String,
    #[serde(default)]
    pub(crate) author: String,
    text: Option<String>,
    metres: Option<f64>,
}

impl NewMark {
    /// The mark, or what is wrong with it.
    pub(crate) fn kind(&self) -> Result<MarkKind, String> {
        let metres = || {
            self.metres
                .filter(|metres| metres.is_finite() && metres.abs() < 20_000.0)
                .ok_or_else(|| format!("`{}` needs `metres`, a number below 20000", self.mark))
        };
        match self.mark.as_str() {
            "cutter_out" => Ok(MarkKind::CutterOut),
            "cutter_in" => Ok(MarkKind::CutterIn),
            "weight_check" => Ok(MarkKind::WeightCheck),
            "note" => match self.text.as_deref().map(str::trim) {
                Some(text) if !text.is_empty() && text.chars().count() <= TEXT_MAX => {
                    Ok(MarkKind::Note(text.to_owned()))
                }
                _ => Err(format!("`note` needs `text` of 1 to {TEXT_MAX} characters")),
            },
            "zero" => Ok(MarkKind::Zero(metres()?)),
            "reference_depth" => Ok(MarkKind::ReferenceDepth(metres()?)),
            other => Err(format!(
                "unknown mark `{other}`: one of cutter_out, cutter_in, weight_check, note, zero, reference_depth"
            )),
        }
    }
}

pub(crate) async fn post_mark(
    State(server): State<Arc<Server>>,
    peer: Peer,
    headers: HeaderMap,
    body: Result<Json<NewMark>, JsonRejection>,
) -> Response {
    if let Err(refused) = server.may_change(peer.0, &headers) {
        return *refused;
    }
    let Json(new) = match body {
        Ok(body) => body,
        Err(error) => return failure(error.status(), &error.body_text()),
    };
    match new.kind() {
        Ok(kind) => change(&server, peer, kind, &new.author).await,
        Err(text) => failure(StatusCode::UNPROCESSABLE_ENTITY, &text),
    }
}

/// Body of the alarm actions.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AlarmAction {
    #[serde(default)]
    author: String,
    seconds: Option<f64>,
    /// Which alarm of the kind; without it every one is meant.
    about: Option<String>,
}

/// Not what must never be silent, nor what concerns the daemon itself: that is acknowledged, or
/// mended. Of overpull only the lesser alarm (pull above pick-up weight), while it stands alone.
fn may_shelve(alarms: &[AlarmView], kind: &str) -> bool {
    match kind {
        _ if AlarmKind::is_of_daemon(kind) => false,
        "overpull" => {
            let mut standing = alarms.iter().filter(|alarm| alarm.kind == kind).peekable();
            standing.peek().is_some() && standing.all(|alarm| alarm.level == "low")
        }
        _ => true,
    }
}

pub(crate) async fn alarm(
    State(server): State<Arc<Server>>,
    peer: Peer,
    Path((kind, action)): Path<(String, String)>,
    headers: HeaderMap,
    body: Result<Json<AlarmAction>, JsonRejection>,
) -> Response {
    if let Err(refused) = server.may_change(peer.0, &headers) {
        return *refused;
    }
    let Json(body) = match body {
        Ok(body) => body,
        Err(error) => return failure(error.status(), &error.body_text()),
    };
    let now = Arc::clone(&server.published.snapshot.borrow());
    match alarm_mark(&kind, &action, &body, &now.alarms) {
        Ok(mark) => change(&server, peer, mark, &body.author).await,
        Err((status, text)) => failure(status, &text),
    }
}

/// Whether there is an alarm of this kind about this: an instrument, or one of the daemon's own that stands now.
fn is_about(alarms: &[AlarmView], kind: &str, about: &str) -> bool {
    match kind {
        "sensor" => ["load", "depth"].contains(&about),
        _ if AlarmKind::is_of_daemon(kind) => alarms
            .iter()
            .any(|alarm| alarm.kind == kind && alarm.about == about),
        _ => about.is_empty(),
    }
}

/// What an action on an alarm means, or why it is refused; `alarms`: those that are not normal.
pub(crate) fn alarm_mark(
    kind: &str,
    action: &str,
    body: &AlarmAction,
    alarms: &[AlarmView],
) -> Result<MarkKind, (StatusCode, String)> {
    let refuse = |status, text: &str| Err((status, text.to_owned()));
    if !AlarmKind::NAMES.contains(&kind) {
        return refuse(StatusCode::NOT_FOUND, "no alarm of this kind");
    }
    let name = match body.about.as_deref() {
        Some(about) if !is_about(alarms, kind, about) => {
            return refuse(StatusCode::NOT_FOUND, "no alarm of this kind is about that");
        }
        // Kinds of which there is one alarm keep their plain name.
        Some(about) if kind == "sensor" || AlarmKind::is_of_daemon(kind) => {
            AlarmKind::name_of_one(kind, about)
        }
        _ => kind.to_owned(),
    };
    match action {
        "acknowledge" => Ok(MarkKind::Acknowledge(name)),
        "reset" => Ok(MarkKind::Reset(name)),
        "shelve" if !may_shelve(alarms, kind) => refuse(
            StatusCode::CONFLICT,
            "an overpull at the tension limit, and alarms about the daemon itself, cannot be shelved",
        ),
        "shelve" => match body.seconds {
            Some(seconds) if seconds > 0.0 && seconds <= SHELVE_S_MAX => {
                Ok(MarkKind::Shelve(name, seconds))
            }
            _ => refuse(
                StatusCode::UNPROCESSABLE_ENTITY,
                &format!("`shelve` needs `seconds`, above 0 and at most {SHELVE_S_MAX}"),
            ),
        },
        _ => refuse(StatusCode::NOT_FOUND, "acknowledge, shelve or reset"),
    }
}

/// A name as it goes into the record: no line breaks, not endless.
pub(crate) fn author_of(typed: &str) -> String {
    typed
        .chars()
        .filter(|c| !c.is_control())
        .take(AUTHOR_MAX)
        .collect()
}

/// Hands a change to the ingest, which records it like any other input, and leaves a line.
async fn change(server: &Server, peer: Peer, kind: MarkKind, author: &str) -> Response {
    let author = author_of(author);
    tracing::info!(target: "kerfwatchd::audit", peer = %peer.0, %author, change = ?kind, "change");
    count(&server.published.progress.changes);
    let mark = Mark { kind, author };
    match server.marks.try_send(mark) {
        Ok(()) => (
            StatusCode::ACCEPTED,
            Json(serde_json::json!({"accepted": true})),
        )
            .into_response(),
        Err(_) => failure(
            StatusCode::SERVICE_UNAVAILABLE,
            "the daemon is stopping or busy",
        ),
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SignIn {
    pub(crate) token: String,
}

pub(crate) async fn sign_in(
    State(server): State<Arc<Server>>,
    peer: Peer,
    headers: HeaderMap,
    body: Result<Json<SignIn>, JsonRejection>,
) -> Response {
    let Json(body) = match body {
        Ok(body) => body,
        Err(error) => return failure(error.status(), &error.body_text()),
    };
    match server.access.sign_in(peer.0, &headers, &body.token) {
        Ok(value) => {
            tracing::info!(target: "kerfwatchd::audit", peer = %peer.0, "signed in");
            let secure = super::access::is_over_tls(&headers);
            session_cookie(&value, if secure { "; Secure" } else { "" })
        }
        Err(refusal) => server.refuse(peer.0, refusal),
    }
}

pub(crate) async fn sign_out() -> Response {
    session_cookie("", "; Max-Age=0")
}

fn session_cookie(value: &str, more: &str) -> Response {
    let name = super::access::COOKIE;
    let cookie = format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{more}");
    (StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response()
}
