//! One request to the server, through the `influxdb2` crate. Nothing else here knows that crate.
//!
//! Its weakness, as of 0.5.2, and what is done about it:
//! - It keeps the status and the text of an answer but not its headers, so `Retry-After` is lost: after 429 or 503
//!   an empty request asks once more, through `reqwest` itself, for how long to wait.
//! - Any 2xx but 204 comes back as an error. So it stays: 204 is what a write API answers, and nothing else does; a
//!   login page of a hotel or a camp, a portal or a web server answers 200 and has taken nothing.
//! - It panics on an address that does not parse and drops the path of one that does: both are refused first.
//! - It is built on `reqwest` 0.11 and `rustls` 0.21 with roots compiled in: a server with a certificate of the
//!   owner's own authority is not trusted; put a reverse proxy in between. `rustls` 0.21 brings its own cryptography,
//!   no provider has to be installed.
//! - Points typed by it are escaped by its own rules: only raw text is handed over (`write_line_protocol`).

use influxdb2::{Client, ClientBuilder, RequestError};
use kerfwatch::job;
use reqwest::header::{AUTHORIZATION, HeaderValue, RETRY_AFTER};
use reqwest::{StatusCode, Url, redirect};
use std::path::Path;
use std::time::Duration;

/// Longest text of an answer that is repeated.
const TEXT_MAX: usize = 200;
/// Longest wait that a server may ask for.
const WAIT_MAX: Duration = Duration::from_secs(3600);

/// What came of a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// The server has the points.
    Taken,
    /// Some or all of the points are bad (400, 422); good ones may have been taken.
    BadPoints(String),
    /// Too much at once (413).
    TooLarge,
    /// Not now.
    NotNow(Trouble),
}

/// Why nothing can be sent at present.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Trouble {
    /// In plain words, with a remedy where somebody has to act.
    pub(super) text: String,
    /// Somebody has to act: waiting alone will not help.
    pub(super) needs_someone: bool,
    /// How long the server asks to be left alone.
    pub(super) wait: Option<Duration>,
}

impl Trouble {
    fn passing(text: String) -> Self {
        Self {
            text,
            needs_someone: false,
            wait: None,
        }
    }

    pub(super) fn lasting(text: String) -> Self {
        Self {
            text,
            needs_someone: true,
            wait: None,
        }
    }
}

/// A server, ready to be written to. Does not implement `Debug`: it holds the token.
pub(super) struct Server {
    client: Client,
    /// The same without the crate in between.
    plain: reqwest::Client,
    write_url: Url,
    token: String,
    org: String,
    bucket: String,
}

/// Server, organisation and bucket in words, without what an address may hold of secrets.
pub(super) fn target(forward: &job::Forward) -> String {
    let server = Url::parse(&forward.url)
        .map_or_else(|_| "?".to_owned(), |url| url.origin().ascii_serialization());
    format!("{server} {} {}", forward.org, forward.bucket)
}

impl Server {
    /// Reads the token afresh and makes ready; sends nothing yet.
    ///
    /// # Errors
    /// In words: an address or a token that cannot be used.
    pub(super) fn new(
        forward: &job::Forward,
        connect: Duration,
        whole: Duration,
    ) -> Result<Self, String> {
        let url = Url::parse(&forward.url).map_err(|e| {
            format!("[forward] url does not parse: {e}; write url = \"http://127.0.0.1:8086\"")
        })?;
        if url.path() != "/" || url.query().is_some() || !url.username().is_empty() {
            return Err(
                "[forward] url must be scheme, host and port only, e.g. url = \"http://127.0.0.1:8086\"".to_owned(),
            );
        }
        let token = token(forward)?;
        let limited = || {
            reqwest::Client::builder()
                .connect_timeout(connect)
                .timeout(whole)
                .redirect(redirect::Policy::none())
        };
        let write_url = url
            .join("/api/v2/write")
            .map_err(|e| format!("[forward] url: {e}"))?;
        Ok(Self {
            client: ClientBuilder::with_builder(limited(), url, forward.org.clone(), token.clone())
                .build()
                .map_err(|e| format!("the HTTP client does not start: {e}"))?,
            plain: limited()
                .build()
                .map_err(|e| format!("the HTTP client does not start: {e}"))?,
            write_url,
            token,
            org: forward.org.clone(),
            bucket: forward.bucket.clone(),
        })
    }

    /// Sends points as line protocol text.
    pub(super) async fn send(&self, lines: String) -> Answer {
        let sent = self
            .client
            .write_line_protocol(&self.org, &self.bucket, lines)
            .await;
        match sent {
            Ok(()) => Answer::Taken,
            Err(RequestError::Http { status, text }) => self.judge(status, &text).await,
            Err(RequestError::ReqwestProcessing { source }) => {
                let what = if source.is_timeout() {
                    "the server does not answer in time"
                } else if source.is_builder() {
                    let text = "the token holds characters that cannot be sent".to_owned();
                    return Answer::NotNow(Trouble::lasting(text));
                } else {
                    "the server cannot be reached"
                };
                // Without the address: it may hold more than should be shown.
                let cause = self.short(&root_cause(&source.without_url()));
                Answer::NotNow(match tls_remedy(&cause) {
                    Some(remedy) => Trouble::lasting(format!("{what} ({cause}): {remedy}")),
                    None => Trouble::passing(format!("{what} ({cause})")),
                })
            }
            Err(other) => Answer::NotNow(Trouble::passing(self.short(&other.to_string()))),
        }
    }

    async fn judge(&self, status: StatusCode, text: &str) -> Answer {
        let said = self.short(text);
        let code = status.as_u16();
        match code {
            200..=299 => Answer::NotNow(Trouble::lasting(format!(
                "the answer is not that of a write API ({code} {said}): correct [forward] url, or, where the network \
                 asks for a login first, log in with a browser on this machine"
            ))),
            400 | 422 => Answer::BadPoints(said),
            413 => Answer::TooLarge,
            401 | 403 => Answer::NotNow(Trouble::lasting(format!(
                "the server refuses the token ({code} {said}): renew the token that [forward] names"
            ))),
            404 => Answer::NotNow(Trouble::lasting(format!(
                "the server knows no such place (404 {said}): create bucket `{}` in organisation `{}`, or correct [forward]",
                self.bucket, self.org
            ))),
            300..=399 => Answer::NotNow(Trouble::lasting(format!(
                "the server has moved ({code}): correct [forward] url, or, where the network asks for a login \
                 first, log in with a browser on this machine"
            ))),
            429 | 503 => Answer::NotNow(Trouble {
                wait: self.asked_wait().await,
                ..Trouble::passing(format!("the server is busy ({code} {said})"))
            }),
            500..=599 => Answer::NotNow(Trouble::passing(format!(
                "the server is in trouble ({code} {said})"
            ))),
            _ => Answer::NotNow(Trouble::lasting(format!(
                "the server refuses ({code} {said}): is it an InfluxDB 2 write API?"
            ))),
        }
    }

    /// How long the server asks to be left alone, from an empty request; `None`: it does not say.
    async fn asked_wait(&self) -> Option<Duration> {
        let mut request = self
            .plain
            .post(self.write_url.clone())
            .query(&[("bucket", &self.bucket), ("org", &self.org)]);
        if !self.token.is_empty() {
            let mut value = HeaderValue::from_str(&format!("Token {}", self.token)).ok()?;
            value.set_sensitive(true);
            request = request.header(AUTHORIZATION, value);
        }
        let answer = request.send().await.ok()?;
        let text = answer.headers().get(RETRY_AFTER)?.to_str().ok()?;
        retry_after(text, jiff::Timestamp::now())
    }

    /// Fit for a line of the log: short, on one line, and never with the token.
    fn short(&self, text: &str) -> String {
        let text = if self.token.is_empty() {
            text.to_owned()
        } else {
            text.replace(&self.token, "[token]")
        };
        text.chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .take(TEXT_MAX)
            .collect()
    }
}

/// Seconds, or a date in the form of RFC 9110 (10.2.3).
fn retry_after(text: &str, now: jiff::Timestamp) -> Option<Duration> {
    let text = text.trim();
    let wait = match text.parse::<u64>() {
        Ok(seconds) => Duration::from_secs(seconds),
        Err(_) => {
            let then = jiff::fmt::rfc2822::DateTimeParser::new()
                .parse_timestamp(text)
                .ok()?;
            let seconds = then.as_second().saturating_sub(now.as_second());
            Duration::from_secs(u64::try_from(seconds).unwrap_or(0))
        }
    };
    Some(wait.min(WAIT_MAX))
}

/// What to do when no connection comes about for what `rustls` says of certificate or protocol; it says so in words only.
fn tls_remedy(cause: &str) -> Option<&'static str> {
    if cause.contains("InvalidContentType") {
        return Some("it does not speak TLS: write [forward] url with http://");
    }
    let what = cause.strip_prefix("invalid peer certificate: ")?;
    Some(match what {
        "Expired" | "NotValidYet" => "renew its certificate, or set the clock of this machine",
        "NotValidForName" => "write [forward] url with the name that its certificate is for",
        _ => {
            "only certificates of public authorities are trusted: put a reverse proxy with one in front of the server, \
             or, in a network of your own, write [forward] url with http://; where the network asks for a login first, \
             log in with a browser on this machine"
        }
    })
}

fn root_cause(error: &dyn std::error::Error) -> String {
    let mut cause = error;
    while let Some(source) = cause.source() {
        cause = source;
    }
    cause.to_string()
}

/// The token from the environment or a file; empty when the job names neither.
fn token(forward: &job::Forward) -> Result<String, String> {
    let token = match (&forward.token_env, &forward.token_file) {
        (Some(name), _) => std::env::var(name).map_err(|_| {
            format!("variable {name} of [forward] token_env is not set: set it, or use token_file")
        })?,
        (None, Some(file)) => std::fs::read_to_string(Path::new(file))
            .map_err(|e| format!("cannot read [forward] token_file {file}: {e}"))?,
        (None, None) => String::new(),
    };
    Ok(token.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_that_does_not_do_is_told_with_a_remedy() {
        for (cause, word) in [
            (
                "invalid peer certificate: UnknownIssuer",
                "public authorities",
            ),
            ("invalid peer certificate: Expired", "clock"),
            ("invalid peer certificate: NotValidForName", "name"),
            (
                "invalid peer certificate: Other(CaUsedAsEndEntity)",
                "reverse proxy",
            ),
            (
                "received corrupt message of type InvalidContentType",
                "http://",
            ),
        ] {
            let remedy = tls_remedy(cause).unwrap();
            assert!(remedy.contains(word), "{cause}: {remedy}");
        }
        assert_eq!(tls_remedy("Connection refused (os error 111)"), None);
    }

    #[test]
    fn retry_after_is_read_as_seconds_or_date_and_kept_within_an_hour() {
        let now: jiff::Timestamp = "2026-05-01T06:00:00Z".parse().unwrap();
        for (text, seconds) in [
            ("7", Some(7)),
            ("99999", Some(3600)),
            ("Fri, 01 May 2026 06:00:30 GMT", Some(30)),
            ("Fri, 01 May 2026 05:00:00 GMT", Some(0)),
            ("soon", None),
        ] {
            let wait = retry_after(text, now).map(|wait| wait.as_secs());
            assert_eq!(wait, seconds, "{text}");
        }
    }
}
