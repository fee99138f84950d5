//! What the headers of a request say about who sent it.

use super::Refusal;
use axum::http::{HeaderMap, header};
use std::net::{IpAddr, SocketAddr};

/// Name of the session cookie.
pub(crate) const COOKIE: &str = "kerfwatch_session";
const FORWARDED_FOR: &str = "x-forwarded-for";

/// Whose wrong tokens are counted: behind a proxy on this machine the last address it wrote.
pub(super) fn origin(peer: SocketAddr, headers: &HeaderMap) -> IpAddr {
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

pub(super) fn same_origin(headers: &HeaderMap) -> Result<(), Refusal> {
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

pub(super) fn cookie(headers: &HeaderMap) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, value)| value.to_owned())
}

/// Handed on by a proxy, by its own account.
pub(super) fn is_forwarded(headers: &HeaderMap) -> bool {
    headers.contains_key(FORWARDED_FOR)
}

/// The name in `Host`, without its port.
pub(super) fn host_name(headers: &HeaderMap) -> Option<&str> {
    let host = headers.get(header::HOST)?.to_str().ok()?;
    Some(without_port(host))
}
