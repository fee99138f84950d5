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
//! elsewhere.
//!
//! The token comes as `Authorization: Bearer ...` or, after `POST /api/v1/session`, as a cookie that
//! scripts cannot read and that other sites' requests do not carry (`HttpOnly`, `SameSite=Strict`).
//! Changes must come from the page's own origin: `Origin` (or `Sec-Fetch-Site`) is checked, and
//! `Host` must name an address or `localhost`, so that a foreign name pointed at 127.0.0.1 is
//! refused. Comparison takes the same time for every wrong token: digests of equal length are
//! compared without an early end.

use axum::http::{HeaderMap, header};
use sha2::{Digest, Sha256};
use std::collections::VecDeque;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Name of the session cookie.
pub(crate) const COOKIE: &str = "kerfwatch_session";
const FORWARDED_FOR: &str = "x-forwarded-for";
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
        let host = headers
            .get(header::HOST)
            .and_then(|host| host.to_str().ok())
            .ok_or(Refusal::Host)?;
        let name = without_port(host);
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
        let host = headers
            .get(header::HOST)
            .and_then(|host| host.to_str().ok());
        headers.contains_key(FORWARDED_FOR)
            || host.is_some_and(|host| self.is_name(without_port(host)))
    }
}

/// Whose wrong tokens are counted: behind a proxy on this machine the last address it wrote.
fn origin(peer: SocketAddr, headers: &HeaderMap) -> IpAddr {
    let written = headers
        .get(FORWARDED_FOR)
        .filter(|_| is_loopback(peer.ip()))
        .and_then(|list| list.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
    written.unwrap_or(peer.ip())
}

/// Was the page itself asked for over TLS, ended by a proxy?
pub(crate) fn is_over_tls(headers: &HeaderMap) -> bool {
    headers
        .get("x-forwarded-proto")
        .is_some_and(|scheme| scheme == "https")
}

/// Is a listening address safe without a token?
pub(crate) fn is_loopback(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => v4.is_loopback(),
        IpAddr::V6(v6) => {
            v6.is_loopback() || v6.to_ipv4_mapped().is_some_and(|v4| v4.is_loopback())
        }
    }
}

fn without_port(host: &str) -> &str {
    match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    }
}

fn same_origin(headers: &HeaderMap) -> Result<(), Refusal> {
    let text = |name: header::HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
    if let Some(site) = headers.get("sec-fetch-site")
        && site != "same-origin"
    {
        return Err(Refusal::Origin);
    }
    // Programs other than browsers send no Origin; they cannot be made to by a foreign page.
    if let Some(origin) = text(header::ORIGIN) {
        let host = text(header::HOST).unwrap_or("");
        let own = origin
            .strip_prefix("http://")
            .or_else(|| origin.strip_prefix("https://"))
            .is_some_and(|name| name.eq_ignore_ascii_case(host));
        if !own {
            return Err(Refusal::Origin);
        }
    }
    Ok(())
}

fn cookie(headers: &HeaderMap) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, value)| value.to_owned())
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
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let mut map = HeaderMap::new();
        map.insert("host", "127.0.0.1:8760".parse().unwrap());
        for (name, value) in pairs {
            map.insert(*name, value.parse().unwrap());
        }
        map
    }

    fn peer(text: &str) -> SocketAddr {
        text.parse().unwrap()
    }

    fn here() -> SocketAddr {
        peer("127.0.0.1:40000")
    }

    #[test]
    fn without_a_token_loopback_may_look_and_nobody_may_change() {
        let access = Access::new(None, Vec::new());
        let own = headers(&[("origin", "http://127.0.0.1:8760")]);
        assert_eq!(access.may_look(peer("127.0.0.1:5"), &own), Ok(()));
        assert_eq!(access.may_look(peer("[::1]:5"), &own), Ok(()));
        assert_eq!(access.may_change(here(), &own), Err(Refusal::NoToken));
        let any = headers(&[("authorization", "Bearer ")]);
        assert_eq!(access.may_change(here(), &any), Err(Refusal::NoToken));
        assert_eq!(
            access.may_look(peer("192.0.2.7:5"), &own),
            Err(Refusal::Missing)
        );
    }

    #[test]
    fn the_token_opens_and_a_wrong_one_does_not() {
        let access = Access::new(Some("rig 7 key"), Vec::new());
        let right = headers(&[("authorization", "Bearer rig 7 key")]);
        let wrong = headers(&[("authorization", "Bearer rig 7 kez")]);
        assert_eq!(access.may_change(here(), &right), Ok(()));
        assert_eq!(access.may_change(here(), &wrong), Err(Refusal::Wrong));
        assert_eq!(
            access.may_change(here(), &headers(&[])),
            Err(Refusal::Missing)
        );
        assert_eq!(access.may_look(peer("192.0.2.7:5"), &right), Ok(()));
    }

    #[test]
    fn the_session_cookie_opens_and_is_not_the_token() {
        let access = Access::new(Some("key"), Vec::new());
        let value = access.sign_in(here(), &headers(&[]), "key").unwrap();
        assert!(!value.contains("key"));
        let cookie = format!("a=b; {COOKIE}={value}");
        assert_eq!(
            access.may_change(here(), &headers(&[("cookie", &cookie)])),
            Ok(())
        );
        let forged = format!("{COOKIE}=00");
        assert_eq!(
            access.may_change(here(), &headers(&[("cookie", &forged)])),
            Err(Refusal::Wrong)
        );
    }

    #[test]
    fn another_sites_page_is_refused_even_with_the_cookie() {
        let access = Access::new(Some("key"), vec!["rig.example".into()]);
        for pairs in [
            [
                ("authorization", "Bearer key"),
                ("origin", "http://evil.example"),
            ],
            [("authorization", "Bearer key"), ("origin", "null")],
            [
                ("authorization", "Bearer key"),
                ("sec-fetch-site", "cross-site"),
            ],
            [
                ("authorization", "Bearer key"),
                ("sec-fetch-site", "same-site"),
            ],
        ] {
            assert_eq!(
                access.may_change(here(), &headers(&pairs)),
                Err(Refusal::Origin)
            );
        }
        let rebound = headers(&[("host", "evil.example"), ("authorization", "Bearer key")]);
        assert_eq!(access.may_change(here(), &rebound), Err(Refusal::Host));
        assert_eq!(
            access.may_look(peer("127.0.0.1:1"), &rebound),
            Err(Refusal::Host)
        );
        let named = headers(&[("host", "rig.example"), ("authorization", "Bearer key")]);
        assert_eq!(access.may_change(here(), &named), Ok(()));
    }

    #[test]
    fn what_a_proxy_hands_on_needs_the_token_and_guesses_are_counted_by_whose_they_are() {
        let access = Access::new(Some("key"), vec!["rig.example".into()]);
        let named = headers(&[("host", "rig.example")]);
        assert_eq!(access.may_look(here(), &named), Err(Refusal::Missing));
        let from = |address: &str, token: &str| {
            headers(&[
                ("x-forwarded-for", &format!("10.9.9.9, {address}")),
                ("authorization", token),
            ])
        };
        let bare = headers(&[("x-forwarded-for", "192.0.2.7")]);
        assert_eq!(access.may_look(here(), &bare), Err(Refusal::Missing));
        for _ in 0..WRONG_MAX {
            let guess = from("192.0.2.7", "Bearer no");
            assert_eq!(access.may_look(here(), &guess), Err(Refusal::Wrong));
        }
        let guesser = from("192.0.2.7", "Bearer key");
        assert_eq!(access.may_look(here(), &guesser), Err(Refusal::Rate));
        let crew = from("192.0.2.8", "Bearer key");
        assert_eq!(access.may_look(here(), &crew), Ok(()));
        assert_eq!(access.may_look(here(), &headers(&[])), Ok(()));
    }

    #[test]
    fn tokens_are_compared_to_the_last_byte() {
        let (one, other) = (digest(b"a"), digest(b"b"));
        assert!(same(&one, &one) && !same(&one, &other));
        // A difference in any one byte counts, first or last.
        for n in 0..one.len() {
            let mut near = one;
            near[n] ^= 1;
            assert!(!same(&one, &near), "byte {n}");
        }
    }

    #[test]
    fn guessing_is_slowed_for_the_guesser_alone_and_changes_are_limited() {
        let access = Access::new(Some("key"), Vec::new());
        for _ in 0..WRONG_MAX {
            let wrong = headers(&[("authorization", "Bearer no")]);
            assert_eq!(access.may_change(here(), &wrong), Err(Refusal::Wrong));
        }
        let right = headers(&[("authorization", "Bearer key")]);
        assert_eq!(access.may_change(here(), &right), Err(Refusal::Rate));
        assert_eq!(access.may_change(peer("192.0.2.7:1"), &right), Ok(()));

        let access = Access::new(Some("key"), Vec::new());
        for _ in 0..CHANGES_MAX {
            assert_eq!(access.may_change(here(), &right), Ok(()));
        }
        assert_eq!(access.may_change(here(), &right), Err(Refusal::Rate));
    }
}
