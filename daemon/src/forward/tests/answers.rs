//! What each answer of a server leads to.

use super::super::SET_ASIDE_FILE;
use super::super::worker::{Forwarder, Limits};
use super::fake_server::{Asked, FakeServer, Reply, say};
use super::record::{DECISION_POINTS, READING_POINTS, finished};
use crate::progress::Progress;
use crate::shell_alarm::ShellAlarms;
use kerfwatch::job::Forward;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

pub(super) const ALL: usize = DECISION_POINTS + READING_POINTS;

pub(super) fn limits() -> Limits {
    Limits {
        connect: Duration::from_secs(1),
        whole: Duration::from_millis(400),
        wait_first: Duration::from_millis(10),
        wait_longest: Duration::from_millis(40),
        alarm_after: Duration::from_secs(60),
        look: Duration::from_millis(10),
        settle: Duration::ZERO,
        grace: Duration::from_secs(20),
        again: Duration::ZERO,
    }
}

pub(super) fn place(server: &FakeServer) -> Forward {
    Forward {
        url: server.url(),
        org: "crew".to_owned(),
        bucket: "all cuts".to_owned(),
        token_env: None,
        token_file: None,
        rate_hz: 1.0,
    }
}

pub(super) struct Outcome {
    pub(super) all_sent: bool,
    pub(super) progress: Arc<Progress>,
    pub(super) alarms: Arc<ShellAlarms>,
}

pub(super) fn forward(folder: &Path, place: Forward, limits: Limits) -> Outcome {
    let (progress, alarms) = (Arc::<Progress>::default(), Arc::<ShellAlarms>::default());
    let forwarder = Forwarder::start(
        place,
        folder.to_owned(),
        Arc::clone(&progress),
        Arc::clone(&alarms),
        limits,
    )
    .unwrap();
    let all_sent = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(forwarder.finish());
    Outcome {
        all_sent,
        progress,
        alarms,
    }
}

/// Sends the known record to a server that answers like this.
fn through(answer: impl FnMut(&Asked, usize) -> Reply + Send + 'static) -> (FakeServer, Outcome) {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let server = FakeServer::start(answer);
    let outcome = forward(folder.path(), place(&server), limits());
    (server, outcome)
}

fn assert_all_once(server: &FakeServer) {
    let taken = server.taken();
    assert_eq!(taken.len(), ALL);
    assert_eq!(taken.iter().collect::<BTreeSet<_>>().len(), ALL);
}

#[test]
fn everything_arrives_once_in_the_place_named() {
    let (server, outcome) = through(|_, _| say(204));
    assert!(outcome.all_sent);
    assert_all_once(&server);
    let asked = server.asked();
    assert_eq!(
        asked[0].target,
        "/api/v2/write?bucket=all+cuts&org=crew&precision=ns"
    );
    let view = outcome.progress.forward.view().unwrap();
    assert_eq!(
        (view.points, view.set_aside, view.backlog),
        (ALL as u64, 0, 0)
    );
    assert!(outcome.alarms.views().is_empty());
}

#[test]
fn a_page_that_answers_in_place_of_the_server_takes_nothing() {
    for status in [200, 201, 202] {
        let (server, outcome) = through(move |_, number| match number {
            0..3 => Reply::Say(status, "", "<html>Hotel login".to_owned()),
            _ => say(204),
        });
        assert!(outcome.all_sent);
        assert_all_once(&server);
        let view = outcome.progress.forward.view().unwrap();
        assert_eq!((view.points, view.failures), (ALL as u64, 3), "{status}");
        let message = &outcome.alarms.views()[0].message;
        for word in ["not that of a write API", "Hotel login", "log in with"] {
            assert!(message.contains(word), "{status}: {message}");
        }
    }
}

#[test]
fn a_second_start_sends_nothing_again() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let server = FakeServer::start(|_, _| say(204));
    forward(folder.path(), place(&server), limits());
    let before = server.taken().len();
    let outcome = forward(folder.path(), place(&server), limits());
    assert!(outcome.all_sent);
    // What was pending at the end of the run gives its last steps again, as the same points.
    let again = server.taken().split_off(before);
    assert!(again.len() <= 2, "{again:?}");
    assert_eq!(server.taken().iter().collect::<BTreeSet<_>>().len(), ALL);
}

#[test]
fn server_errors_hang_ups_and_silence_are_waited_out() {
    let (server, outcome) = through(|_, number| match number {
        0 => say(500),
        1 => Reply::HangUp,
        2 => Reply::Silence(Duration::from_secs(2)),
        3 => say(502),
        _ => say(204),
    });
    assert!(outcome.all_sent);
    assert_all_once(&server);
    assert_eq!(outcome.progress.forward.view().unwrap().failures, 4);
    assert!(outcome.alarms.views().is_empty(), "too short for an alarm");
}

#[test]
fn a_link_that_stays_down_raises_the_alarm_and_what_is_left_goes_later() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let server = FakeServer::start(|_, _| say(204));
    let nobody = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let down = Forward {
        url: format!("http://{}", nobody.local_addr().unwrap()),
        ..place(&server)
    };
    drop(nobody);
    let short = Limits {
        alarm_after: Duration::from_millis(100),
        grace: Duration::from_millis(600),
        ..limits()
    };
    let outcome = forward(folder.path(), down, short);
    assert!(!outcome.all_sent);
    let alarms = outcome.alarms.views();
    assert_eq!(alarms[0].kind, "forward");
    assert!(
        alarms[0].message.contains("cannot be reached"),
        "{alarms:?}"
    );
    let view = outcome.progress.forward.view().unwrap();
    assert!(!view.ok && view.backlog > 0, "{view:?}");
    assert!(forward(folder.path(), place(&server), limits()).all_sent);
    assert_all_once(&server);
}

#[test]
fn a_refused_token_raises_the_alarm_at_once_and_is_read_afresh() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let token = folder.path().join("token");
    std::fs::write(&token, "old-token\n").unwrap();
    let renew = token.clone();
    let server = FakeServer::start(move |asked, number| {
        if number == 2 {
            std::fs::write(&renew, "new-token\n").unwrap();
        }
        if asked.authorization == "Token new-token" {
            say(204)
        } else {
            say(401)
        }
    });
    let place = Forward {
        token_file: Some(token.display().to_string()),
        ..place(&server)
    };
    let outcome = forward(folder.path(), place, limits());
    assert!(outcome.all_sent);
    assert_all_once(&server);
    // Once the off-delay is over.
    let alarms = outcome.alarms.views_after(Duration::from_secs(60));
    assert!(alarms[0].message.contains("renew the token"), "{alarms:?}");
    assert_eq!(alarms[0].state, "returned_unacknowledged");
}

#[test]
fn a_bucket_that_does_not_exist_yet_is_waited_for() {
    let (server, outcome) = through(|_, number| match number {
        0..3 => Reply::Say(404, "", r#"{"message":"bucket not found"}"#.to_owned()),
        _ => say(204),
    });
    assert!(outcome.all_sent);
    assert_all_once(&server);
    let message = &outcome.alarms.views()[0].message;
    assert!(message.contains("create bucket `all cuts`"), "{message}");
}

#[test]
fn batches_that_are_too_large_are_halved_until_they_fit() {
    const FITS: usize = 6_000;
    let (server, outcome) =
        through(|asked, _| say(if asked.body.len() > FITS { 413 } else { 204 }));
    assert!(outcome.all_sent);
    assert_all_once(&server);
    let asked = server.asked();
    let refused = asked.iter().filter(|a| a.body.len() > FITS).count();
    // Once learned, the size is kept: not one refusal for each part.
    assert!(refused * 3 < asked.len(), "{refused} of {}", asked.len());
    assert_eq!(outcome.progress.forward.view().unwrap().set_aside, 0);
}

#[test]
fn a_server_that_finds_every_point_too_large_loses_none() {
    const REFUSALS: usize = 40;
    let (server, outcome) = through(|_, number| say(if number < REFUSALS { 413 } else { 204 }));
    assert!(outcome.all_sent);
    assert_all_once(&server);
    assert_eq!(outcome.progress.forward.view().unwrap().set_aside, 0);
    let message = &outcome.alarms.views()[0].message;
    assert!(message.contains("even a single point"), "{message}");
    // Once it takes them, not point by point for ever.
    let after = server.asked().len() - REFUSALS;
    assert!(after * 4 < ALL, "{after} requests for {ALL} points");
}

#[test]
fn a_busy_server_is_left_alone_for_as_long_as_it_asks() {
    for status in [429, 503] {
        let (server, outcome) = through(move |_, number| match number {
            0 | 1 => Reply::Say(status, "Retry-After: 1\r\n", "slow down".to_owned()),
            _ => say(204),
        });
        assert!(outcome.all_sent);
        assert_all_once(&server);
        let asked = server.asked();
        assert!(asked[1].body.is_empty(), "the second only asks how long");
        let waited = asked[2].at - asked[1].at;
        assert!(waited >= Duration::from_secs(1), "{waited:?}");
    }
}

#[test]
fn a_bad_point_is_set_aside_and_the_rest_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let is_bad = |line: &str| line.starts_with("stroke,") && line.contains(" n=7i,");
    let server = FakeServer::start(move |asked, _| {
        if asked.body.lines().any(is_bad) {
            Reply::Say(400, "", "partial write: field type conflict".to_owned())
        } else {
            say(204)
        }
    });
    let outcome = forward(folder.path(), place(&server), limits());
    assert!(outcome.all_sent);
    let taken = server.taken();
    assert_eq!(taken.iter().collect::<BTreeSet<_>>().len(), ALL - 1);
    assert!(!taken.iter().any(|line| is_bad(line)));
    let view = outcome.progress.forward.view().unwrap();
    assert_eq!((view.points, view.set_aside), (ALL as u64 - 1, 1));
    let aside = std::fs::read_to_string(folder.path().join(SET_ASIDE_FILE)).unwrap();
    assert!(aside.starts_with("# partial write"), "{aside}");
    assert!(is_bad(aside.lines().nth(1).unwrap()), "{aside}");
}

#[test]
fn good_points_of_a_partial_write_are_the_same_points_when_they_are_sent_again() {
    let is_bad = |line: &str| line.starts_with("stroke,") && line.contains(" n=7i,");
    for status in [400, 422] {
        let kept = Arc::new(Mutex::new(BTreeSet::new()));
        let on_server = Arc::clone(&kept);
        let (_server, outcome) = through(move |asked, _| {
            let good = asked.body.lines().filter(|line| !is_bad(line));
            on_server.lock().unwrap().extend(good.map(str::to_owned));
            if asked.body.lines().any(is_bad) {
                Reply::Say(status, "", "partial write: points dropped=1".to_owned())
            } else {
                say(204)
            }
        });
        assert!(outcome.all_sent);
        let kept = kept.lock().unwrap();
        let points = kept
            .iter()
            .filter(|line| !line.starts_with("forward_check"));
        assert_eq!(points.count(), ALL - 1, "{status}");
        let view = outcome.progress.forward.view().unwrap();
        assert_eq!((view.set_aside, view.backlog), (1, 0), "{status}");
    }
}

#[test]
fn a_slow_server_is_waited_for_within_the_limit() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let server = FakeServer::start(|_, number| {
        if number < 2 {
            std::thread::sleep(Duration::from_millis(500));
        }
        say(204)
    });
    let patient = Limits {
        whole: Duration::from_secs(20),
        ..limits()
    };
    let outcome = forward(folder.path(), place(&server), patient);
    assert!(outcome.all_sent);
    assert_all_once(&server);
    assert_eq!(outcome.progress.forward.view().unwrap().failures, 0);
}

#[test]
fn other_refusals_are_said_and_waited_out() {
    for (status, word) in [(403, "renew the token"), (302, "moved"), (405, "refuses")] {
        let (server, outcome) = through(move |_, number| match number {
            0..2 => Reply::Say(status, "Location: http://127.0.0.1:1/\r\n", "no".to_owned()),
            _ => say(204),
        });
        assert!(outcome.all_sent);
        assert_all_once(&server);
        let message = &outcome.alarms.views()[0].message;
        assert!(message.contains(word), "{status}: {message}");
    }
}

#[test]
fn a_server_that_refuses_even_a_good_point_loses_none() {
    let (server, outcome) = through(|_, number| {
        if number < 40 {
            Reply::Say(400, "", "organisation not given".to_owned())
        } else {
            say(204)
        }
    });
    assert!(outcome.all_sent);
    assert_all_once(&server);
    assert_eq!(outcome.progress.forward.view().unwrap().set_aside, 0);
    let message = &outcome.alarms.views()[0].message;
    assert!(message.contains("takes no point at all"), "{message}");
}

#[test]
fn an_address_that_cannot_be_used_is_said_and_harms_nothing() {
    for url in [
        "http://",
        "http://127.0.0.1:1/influx",
        "http://me:pw@127.0.0.1:1",
    ] {
        let folder = tempfile::tempdir().unwrap();
        finished(folder.path());
        let server = FakeServer::start(|_, _| say(204));
        let place = Forward {
            url: url.to_owned(),
            ..place(&server)
        };
        // Long enough for a thread that gives way to all others on a busy machine.
        let short = Limits {
            grace: Duration::from_secs(2),
            ..limits()
        };
        let outcome = forward(folder.path(), place, short);
        assert!(!outcome.all_sent);
        let message = &outcome.alarms.views()[0].message;
        assert!(message.contains("[forward] url"), "{message}");
        assert!(!message.contains("pw"), "{message}");
    }
}
