//! Each line of the table of who may do what, and what an attacker would try.

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
