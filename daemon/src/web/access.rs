//! Who may look and who may change something.
//!
//! | from | look | change |
//! |---|---|---|
//! | loopback, no token set | yes | no |
//! | loopback, token set | yes | with the token |
//! | elsewhere (only possible with a token set) | with the token | with the token |
//!
//! What a reverse proxy on this machine hands on comes from loopback and is meant for others: it is
//! known by its host name (one given with `--name`) or by `X-Forwarded-For`, and counts as from
//! elsewhere. Whoever may not look can ask `/healthz` all the same, but learns only whether all is well; the page's own
//! files and the description of the interface hold nothing of a run and are for everybody.
//!
//! The token comes as `Authorization: Bearer ...` or, after `POST /api/v1/session`, as a cookie that
//! scripts cannot read and that other sites' requests do not carry (`HttpOnly`, `SameSite=Strict`).
//! Changes must come from the page's own origin: `Origin` (or `Sec-Fetch-Site`) is checked, and
//! `Host` must name an address or `localhost`, so that a foreign name pointed at 127.0.0.1 is
//! refused. Comparison takes the same time for every wrong token: digests of equal length are
//! compared without an early end.

mod headers;

pub(crate) use headers::{COOKIE, is_loopback, is_over_tls};

use axum::http::{HeaderMap, header};
use headers::{cookie, host_name, is_forwarded, origin, same_origin};
use sha2::{Digest, Sha256};
use std::collections::VecDeque;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Changes accepted in a window.
const CHANGES_MAX: usize = 20;
/// Wrong tokens from one address before it has to wait for the window to pass. By address, so that
/// nobody can lock the crew out by guessing from elsewhere.
const WRONG_MAX: usize = 10;
/// Wrong tokens remembered over all addresses.
const WRONG_KEPT: usize = 10_000;
const WINDOW: Duration = Duration::from_secs(10);

type Sha = [u8; 32];

/// Rules of one server.
#[derive(Debug)]
pub(crate) struct Access {
    token: Option<Sha>,
    session: Option<Sha>,
    changes: Mutex<VecDeque<Instant>>,
    wrong: Mutex<VecDeque<(IpAddr, Instant)>>,
    /// Host names besides addresses and `localhost` that are ours (behind a reverse proxy).
    names: Vec<String>,
}

/// Why a request was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Refusal {
    #[error(
        "this daemon has no token set, so nothing can be changed from the page: set [page] token_env in the job file"
    )]
    NoToken,
    #[error("a token is needed: send `Authorization: Bearer TOKEN` or sign in on the page")]
    Missing,
    #[error("wrong token")]
    Wrong,
    #[error("the request comes from another site")]
    Origin,
    #[error(
        "the Host header names neither an address, nor localhost, nor a name given with --name"
    )]
    Host,
    #[error("too many requests: wait ten seconds")]
    Rate,
}

impl Access {
    pub(crate) fn new(token: Option<&str>, names: Vec<String>) -> Self {
        Self {
            token: token.map(|token| digest(token.as_bytes())),
            session: token.map(|token| digest(session_value(token).as_bytes())),
            changes: Mutex::default(),
            wrong: Mutex::default(),
            names,
        }
    }

    /// Can anything be changed at all?
    pub(crate) fn takes_changes(&self) -> bool {
        self.token.is_some()
    }

    /// May this request read?
    pub(crate) fn may_look(&self, peer: SocketAddr, headers: &HeaderMap) -> Result<(), Refusal> {
        self.host(headers)?;
        if is_loopback(peer.ip()) && !self.is_handed_on(headers) {
            return Ok(());
        }
        self.holds_token(origin(peer, headers), headers)
    }

    /// May this request change something?
    pub(crate) fn may_change(&self, peer: SocketAddr, headers: &HeaderMap) -> Result<(), Refusal> {
        self.host(headers)?;
        same_origin(headers)?;
        if self.token.is_none() {
            return Err(Refusal::NoToken);
        }
        self.holds_token(origin(peer, headers), headers)?;
        self.within_rate()
    }

    /// Checks a token typed on the page; the cookie value to set.
    pub(crate) fn sign_in(
        &self,
        peer: SocketAddr,
        headers: &HeaderMap,
        token: &str,
    ) -> Result<String, Refusal> {
        self.host(headers)?;
        same_origin(headers)?;
        if self.token.is_none() {
            return Err(Refusal::NoToken);
        }
        self.is_token(origin(peer, headers), token.as_bytes())?;
        Ok(session_value(token))
    }

    fn holds_token(&self, peer: IpAddr, headers: &HeaderMap) -> Result<(), Refusal> {
        let bearer = headers
            .get(header::AUTHORIZATION)
            .map(|value| value.as_bytes());
        if let Some(value) = bearer {
            let token = value.strip_prefix(b"Bearer ").ok_or(Refusal::Missing)?;
            return self.is_token(peer, token);
        }
        let value = cookie(headers).ok_or(Refusal::Missing)?;
        self.judge(peer, self.session, value.as_bytes())
    }

    fn is_token(&self, peer: IpAddr, token: &[u8]) -> Result<(), Refusal> {
        self.judge(peer, self.token, token.trim_ascii())
    }

    fn judge(&self, peer: IpAddr, known: Option<Sha>, given: &[u8]) -> Result<(), Refusal> {
        let mut wrong = self.wrong.lock().unwrap_or_else(PoisonError::into_inner);
        wrong.retain(|(_, time)| time.elapsed() <= WINDOW);
        if wrong.iter().filter(|(from, _)| *from == peer).count() >= WRONG_MAX {
            return Err(Refusal::Rate);
        }
        if known.is_some_and(|known| same(&known, &digest(given))) {
            return Ok(());
        }
        if wrong.len() >= WRONG_KEPT {
            wrong.pop_front();
        }
        wrong.push_back((peer, Instant::now()));
        Err(Refusal::Wrong)
    }

    fn within_rate(&self) -> Result<(), Refusal> {
        let mut changes = self.changes.lock().unwrap_or_else(PoisonError::into_inner);
        changes.retain(|time| time.elapsed() <= WINDOW);
        if changes.len() >= CHANGES_MAX {
            return Err(Refusal::Rate);
        }
        changes.push_back(Instant::now());
        Ok(())
    }

    fn host(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let name = host_name(headers).ok_or(Refusal::Host)?;
        let ours = name.eq_ignore_ascii_case("localhost")
            || name.trim_matches(['[', ']']).parse::<IpAddr>().is_ok()
            || self.is_name(name);
        if ours { Ok(()) } else { Err(Refusal::Host) }
    }

    fn is_name(&self, name: &str) -> bool {
        self.names.iter().any(|own| own.eq_ignore_ascii_case(name))
    }

    /// By a reverse proxy on this machine.
    fn is_handed_on(&self, headers: &HeaderMap) -> bool {
        is_forwarded(headers) || host_name(headers).is_some_and(|name| self.is_name(name))
    }
}

/// The cookie does not hold the token itself, so that a copied cookie jar does not give it away.
fn session_value(token: &str) -> String {
    let mut hasher = Sha256::new();
    hasher.update(b"kerfwatch page session\0");
    hasher.update(token.trim().as_bytes());
    hasher
        .finalize()
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

fn digest(bytes: &[u8]) -> Sha {
    Sha256::digest(bytes).into()
}

fn same(a: &Sha, b: &Sha) -> bool {
    let differing = a.iter().zip(b).fold(0, |all, (x, y)| all | (x ^ y));
    std::hint::black_box(differing) == 0
}

#[cfg(test)]
mod tests;
