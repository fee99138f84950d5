//! Body of the fuzz target of the page's interface: an ordinary function that must return, whatever
//! a stranger sends.

use super::access::Access;
use super::api::Since;
use super::changes::{AlarmAction, NewMark, SignIn, alarm_mark, author_of};
use super::stream;
use axum::Json;
use axum::extract::Query;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Uri};
use kerfwatch::input::MarkKind;
use std::net::SocketAddr;

/// Nothing that `data` can hold opens with it: only its digest is compared.
const TOKEN: &str = "not to be found in any corpus";

/// A request: the address in the first line, then header lines `name: value`, an empty line, the body.
///
/// # Panics
/// When headers open what only the token opens, or a change is taken whose numbers or texts are out
/// of bounds.
pub fn request(data: &[u8]) {
    let (head, body) = split_at_blank_line(data);
    let mut lines = head.split(|&byte| byte == b'\n');
    let address = lines.next().unwrap_or_default();
    let headers = headers(lines);
    let uri = Uri::try_from(address).unwrap_or_default();

    let query = Query::<Since>::try_from_uri(&uri);
    let last = headers
        .get("last-event-id")
        .and_then(|value| value.to_str().ok());
    let since = query.ok().and_then(|Query(query)| query.since);
    assert!(!stream::left_off("run", since, last).is_nan());

    let sign_in = Json::<SignIn>::from_bytes(body);
    may_do_nothing(&headers, sign_in.ok().map(|Json(body)| body.token));

    if let Ok(Json(new)) = Json::<NewMark>::from_bytes(body)
        && let Ok(kind) = new.kind()
    {
        assert_bounded(&kind);
        assert!(author_of(&new.author).chars().count() <= 80);
    }
    let mut parts = uri.path().rsplit('/');
    let (action, alarm) = (parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    if let Ok(Json(body)) = Json::<AlarmAction>::from_bytes(body)
        && let Ok(kind) = alarm_mark(alarm, action, &body, &[])
    {
        assert_bounded(&kind);
        assert!(!matches!(&kind, MarkKind::Shelve(alarm, _) if alarm.starts_with("overpull")));
    }
}

fn split_at_blank_line(data: &[u8]) -> (&[u8], &[u8]) {
    match data.windows(2).position(|pair| pair == b"\n\n") {
        Some(at) => (&data[..at], &data[at + 2..]),
        None => (data, &[]),
    }
}

fn headers<'a>(lines: impl Iterator<Item = &'a [u8]>) -> HeaderMap {
    let mut headers = HeaderMap::new();
    for line in lines.take(32) {
        if let Some(at) = line.iter().position(|&byte| byte == b':')
            && let Ok(name) = HeaderName::from_bytes(&line[..at])
            && let Ok(value) = HeaderValue::from_bytes(line[at + 1..].trim_ascii())
        {
            headers.append(name, value);
        }
    }
    headers
}

fn may_do_nothing(headers: &HeaderMap, token: Option<String>) {
    let near = SocketAddr::from(([127, 0, 0, 1], 1));
    let far = SocketAddr::from(([192, 0, 2, 7], 1));
    for token_set in [None, Some(TOKEN)] {
        let access = Access::new(token_set, vec!["rig.example".to_owned()]);
        let _ = access.may_look(near, headers);
        assert!(access.may_look(far, headers).is_err());
        for peer in [near, far] {
            assert!(access.may_change(peer, headers).is_err());
            if let Some(token) = &token {
                assert!(access.sign_in(peer, headers, token).is_err());
            }
        }
    }
}

fn assert_bounded(kind: &MarkKind) {
    match kind {
        MarkKind::Note(text) => assert!((1..=500).contains(&text.chars().count())),
        MarkKind::Zero(metres) | MarkKind::ReferenceDepth(metres) => {
            assert!(metres.is_finite() && metres.abs() < 20_000.0);
        }
        MarkKind::Shelve(_, seconds) => assert!(*seconds > 0.0 && *seconds <= 3600.0),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::request;

    #[test]
    fn requests_that_are_nearly_right_are_judged_without_panic() {
        for text in [
            "/api/v1/stream?since=nan\nhost: localhost\nlast-event-id: run:nan",
            "/api/v1/history?since=1e999&points=-1",
            "/api/v1/marks\nhost: 127.0.0.1\ncookie: kerfwatch_session=00\n\n{\"mark\":\"zero\",\"metres\":1e999}",
            "/api/v1/alarms/overpull/shelve\nhost: [::1]:8760\norigin: null\n\n{\"seconds\":10}",
            "/api/v1/alarms/slack/shelve\n\n{\"seconds\":1e308,\"author\":\"\\u0000\"}",
            "/api/v1/session\nhost: localhost\nauthorization: Bearer \n\n{\"token\":\"\"}",
            "",
        ] {
            request(text.as_bytes());
        }
    }
}
