//! A server that confirms points and has lost them when it is back: what went just before goes again.

use super::super::worker::Limits;
use super::answers::{ALL, forward, limits, place};
use super::fake_server::{FakeServer, Reply, say};
use super::record::finished;
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

#[test]
fn what_a_killed_server_had_confirmed_and_forgot_goes_again() {
    const FORGOTTEN: std::ops::Range<usize> = 1..4;
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let kept = Arc::new(Mutex::new(Vec::new()));
    let on_disk = Arc::clone(&kept);
    let server = FakeServer::start(move |asked, number| {
        if number == FORGOTTEN.end {
            return Reply::HangUp;
        }
        if asked.body.len() > 4_000 {
            return say(413);
        }
        if !FORGOTTEN.contains(&number) {
            let lines = asked.body.lines().map(str::to_owned);
            on_disk.lock().unwrap().extend(lines);
        }
        say(204)
    });
    let limits = Limits {
        again: Duration::from_secs(60),
        ..limits()
    };
    let outcome = forward(folder.path(), place(&server), limits);
    assert!(outcome.all_sent);
    let kept: BTreeSet<String> = kept.lock().unwrap().iter().cloned().collect();
    assert_eq!(kept, server.taken().into_iter().collect());
    assert_eq!(kept.len(), ALL);
}

#[test]
fn what_a_power_cut_took_from_server_and_daemon_goes_again_after_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let kept = Arc::new(Mutex::new(BTreeSet::new()));
    let is_back = Arc::new(AtomicBool::new(false));
    let (on_disk, back) = (Arc::clone(&kept), Arc::clone(&is_back));
    let taken = AtomicUsize::new(0);
    let server = FakeServer::start(move |asked, _| {
        if asked.body.len() > 4_000 {
            return say(413);
        }
        // Confirmed and written; confirmed only; gone.
        let is_back = back.load(Ordering::Relaxed);
        match taken.fetch_add(1, Ordering::Relaxed) {
            number if number < 2 || is_back => {
                let lines = asked.body.lines().map(str::to_owned);
                on_disk.lock().unwrap().extend(lines);
                say(204)
            }
            2..5 => say(204),
            _ => Reply::HangUp,
        }
    });
    let limits = Limits {
        again: Duration::from_secs(60),
        grace: Duration::from_millis(600),
        ..limits()
    };
    assert!(!forward(folder.path(), place(&server), limits).all_sent);
    is_back.store(true, Ordering::Relaxed);
    let patient = Limits {
        grace: Duration::from_secs(60),
        ..limits
    };
    assert!(forward(folder.path(), place(&server), patient).all_sent);
    assert_eq!(kept.lock().unwrap().len(), ALL);
    // That was the end: nothing goes a third time.
    let before = server.taken().len();
    assert!(forward(folder.path(), place(&server), patient).all_sent);
    assert!(server.taken().len() <= before + 2);
}
