//! A run folder in which the cursor cannot be written: sending goes on all the same, and it is told.

use super::super::worker::Limits;
use super::answers::{ALL, Outcome, forward, limits, place};
use super::fake_server::{FakeServer, say};
use super::record::finished;
use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

/// Batches small enough for there to be several, into a folder whose cursor cannot be replaced.
fn sent(folder: &Path, limits: Limits) -> (FakeServer, Outcome) {
    finished(folder);
    // Where the new cursor is written before it takes the place of the old one. Works as root too.
    std::fs::create_dir(folder.join("forward.toml.new")).unwrap();
    let server =
        FakeServer::start(|asked, _| say(if asked.body.len() > 4_000 { 413 } else { 204 }));
    let outcome = forward(folder, place(&server), limits);
    (server, outcome)
}

#[test]
fn a_cursor_that_cannot_be_written_makes_nothing_go_twice() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits {
        again: Duration::from_secs(60),
        ..limits()
    };
    let (server, outcome) = sent(folder.path(), limits);
    assert!(outcome.all_sent);
    let taken = server.taken();
    assert_eq!(taken.len(), ALL);
    assert_eq!(taken.iter().collect::<BTreeSet<_>>().len(), ALL);
    // Told, so that `kerfwatchd forward` ends with an error; too short for an alarm.
    let view = outcome.progress.forward.view().unwrap();
    assert!(
        !view.ok && view.trouble.contains("cannot be noted"),
        "{view:?}"
    );
    assert_eq!(view.backlog, 0);
    assert!(outcome.alarms.views().is_empty());
}

#[test]
fn a_cursor_that_stays_unwritten_raises_the_alarm() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits {
        alarm_after: Duration::ZERO,
        ..limits()
    };
    let (_server, outcome) = sent(folder.path(), limits);
    let alarms = outcome.alarms.views();
    assert_eq!(alarms[0].kind, "forward");
    assert!(alarms[0].message.contains("cannot be noted"), "{alarms:?}");
}
