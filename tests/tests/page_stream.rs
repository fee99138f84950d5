//! The live stream: slow readers, gaps, and the end of the daemon.

#![cfg(feature = "daemon")]

use kerfwatch::input::ChannelId;
use kerfwatch::job::print_default_job;
use kerfwatch_tests::http::{get, open_stream};
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::demo::{Demo, demo, fixture};
use std::io::{BufRead, Read};
use std::net::SocketAddr;
use std::sync::atomic::Ordering;
use std::sync::mpsc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

fn rig(patience: Duration) -> (Rig, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let setup = Setup {
        patience,
        ..Setup::default()
    };
    let rig = Rig::start(print_default_job(), folder.path(), setup);
    (rig, folder)
}

#[test]
fn readers_that_take_nothing_are_cut_off_and_slow_nothing_down() {
    let (mut rig, _folder) = rig(Duration::from_millis(300));
    let at = rig.page();
    // Readers that never read: small receive buffers fill within a few events.
    let asleep: Vec<_> = (0..20)
        .map(|_| open_stream(at, "/api/v1/stream?since=0"))
        .collect();
    rig.wait_for("all are connected", |up| {
        up.published.progress.streams.load(Ordering::Relaxed) == 20
    });
    // Much to tell: every note goes to every reader at once.
    let text = "x".repeat(500);
    let start = Instant::now();
    let told = &rig.started.published.told;
    for n in 0..40_000 {
        let _ = told.send(kerfwatchd::publish::Told::Mark(
            kerfwatchd::publish::MarkView {
                at_s: f64::from(n),
                author: String::new(),
                mark: "note".to_owned(),
                text: text.clone(),
            },
        ));
        if n % 100 == 0 {
            std::thread::sleep(Duration::from_millis(5));
        }
    }
    // Telling never waits for a reader: 400 pauses of 5 ms and little more.
    assert!(
        start.elapsed() < Duration::from_secs(20),
        "{:?}",
        start.elapsed()
    );
    let sent = Instant::now();
    let before = rig
        .started
        .published
        .progress
        .inputs
        .load(Ordering::Relaxed);
    for n in 0..50 {
        rig.send(ChannelId::Load, 3000.0 + f64::from(n));
    }
    rig.wait_for("readings still go through", |up| {
        up.published.progress.inputs.load(Ordering::Relaxed) > before
    });
    assert!(sent.elapsed() < Duration::from_secs(2));
    rig.wait_for("the sleepers are cut off", |up| {
        up.published.progress.streams.load(Ordering::Relaxed) == 0
    });
    assert_eq!(get(at, "/healthz").status, 200);
    drop(asleep);
    rig.stop().unwrap();
}

#[test]
fn a_reader_that_comes_back_gets_what_it_missed() {
    let (mut rig, _folder) = rig(Duration::from_secs(10));
    let at = rig.page();
    for n in 0..100 {
        rig.send(ChannelId::Load, 3000.0 + f64::from(n));
        rig.send(ChannelId::Depth, 2010.0);
        std::thread::sleep(Duration::from_millis(20));
    }
    let points_since = |since: f64| -> Vec<f64> {
        let mut lines = open_stream(at, &format!("/api/v1/stream?since={since}")).lines();
        let mut is_points = false;
        loop {
            let line = lines.next().unwrap().unwrap();
            if let Some(data) = line.strip_prefix("data: ")
                && is_points
            {
                let value: serde_json::Value = serde_json::from_str(data).unwrap();
                return serde_json::from_value(value["at_s"].clone()).unwrap();
            }
            if line.starts_with("event: ") {
                is_points = line == "event: points";
            }
        }
    };
    let all = points_since(-1.0);
    assert!(all.len() > 10, "{all:?}");
    let middle = all[all.len() / 2];
    let rest = points_since(middle);
    assert_eq!(rest[0], all[all.len() / 2 + 1]);
    rig.stop().unwrap();
}

/// The data of the next event of each wanted kind, with when it came.
fn events(
    at: SocketAddr,
    wanted: &'static [&'static str],
) -> mpsc::Receiver<(String, String, Instant)> {
    let mut lines = open_stream(at, "/api/v1/stream").lines();
    let (found, is_found) = mpsc::channel();
    std::thread::spawn(move || {
        let mut kind = String::new();
        while let Some(Ok(line)) = lines.next() {
            if let Some(name) = line.strip_prefix("event: ") {
                name.clone_into(&mut kind);
            } else if let Some(data) = line.strip_prefix("data: ")
                && wanted.contains(&kind.as_str())
                && found
                    .send((kind.clone(), data.to_owned(), Instant::now()))
                    .is_err()
            {
                return;
            }
        }
    });
    is_found
}

#[test]
fn an_overpull_is_pushed_at_once_and_its_alarm_follows_without_waiting_for_the_next_look() {
    let (mut rig, _folder) = rig(Duration::from_secs(10));
    let heard = events(rig.page(), &["warning", "now"]);
    for n in 0..50 {
        rig.send(ChannelId::Load, 1500.0 + f64::from(n % 3));
        rig.send(ChannelId::Depth, 2010.0);
        std::thread::sleep(Duration::from_millis(20));
    }
    let sent = Instant::now();
    // Two readings: a jump that no line could give needs a second one.
    rig.send(ChannelId::Load, 20_000.0);
    rig.send(ChannelId::Load, 20_000.0);
    let mut warned = None;
    loop {
        let (kind, data, seen) = heard.recv_timeout(Duration::from_secs(10)).unwrap();
        let value: serde_json::Value = serde_json::from_str(&data).unwrap();
        if kind == "warning" && value["kind"] == "overpull" {
            assert!(
                value["tension_n"].as_f64() > value["limit_n"].as_f64(),
                "{value}"
            );
            warned = Some(seen);
        }
        let alarms = value["alarms"].as_array().cloned().unwrap_or_default();
        let stands =
            |alarm: &serde_json::Value| alarm["kind"] == "overpull" && alarm["level"] == "high";
        if alarms.iter().any(stands) {
            let warned = warned.expect("the guard speaks first");
            // To be read, not a limit: the machine is shared.
            println!(
                "warning after {:?}, alarm after {:?}",
                warned - sent,
                seen - sent
            );
            break;
        }
    }
    rig.stop().unwrap();
}

#[test]
fn the_end_of_the_daemon_ends_the_stream_at_once() {
    let (rig, _folder) = rig(Duration::from_secs(10));
    let mut stream = open_stream(rig.page(), "/api/v1/stream");
    let start = Instant::now();
    rig.stop().unwrap();
    assert!(
        start.elapsed() < Duration::from_secs(5),
        "{:?}",
        start.elapsed()
    );
    let mut rest = String::new();
    stream.read_to_string(&mut rest).unwrap();
    assert!(rest.contains("event: hello"));
    // So that a page can tell it from a connection that was lost.
    let last = rest.rfind("event: ").unwrap();
    assert!(
        rest[last..].starts_with("event: ended\n"),
        "{}",
        &rest[last..]
    );
}

/// Whoever stands at the page when the run is stopped in the middle of a stroke reads the figures of its result.
#[test]
fn what_a_run_has_come_to_is_told_before_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let show = Demo {
        speed: 60.0,
        fixture: fixture::DEFAULT.to_owned(),
        listen: "127.0.0.1:0".to_owned(),
        token: None,
        once: true,
        folder: Some(folder.path().join("demo")),
    };
    let (up, is_up) = oneshot::channel();
    let (stop, stopped) = oneshot::channel::<()>();
    let run = std::thread::spawn(move || {
        tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap()
            .block_on(demo(show, async { drop(stopped.await) }, Some(up)))
    });
    let started = is_up.blocking_recv().unwrap();
    let told = events(
        started.page.unwrap(),
        &["told", "groove", "strokes", "now", "ended"],
    );
    let next = || {
        let (kind, data, _) = told.recv_timeout(Duration::from_secs(60)).unwrap();
        let value: serde_json::Value = serde_json::from_str(&data).unwrap();
        (kind, value)
    };
    while next().1["n"].as_u64().is_none_or(|stroke| stroke < 8) {}
    // A good part of the next stroke: the record has 14 s and more in each.
    std::thread::sleep(Duration::from_millis(150));
    drop(stop);
    let mut last = std::collections::BTreeMap::new();
    while !last.contains_key("ended") {
        let (kind, value) = next();
        last.insert(kind, value);
    }
    let result = run.join().unwrap().unwrap().result;
    let json = |text: String| serde_json::from_str::<serde_json::Value>(&text).unwrap();
    let expected = json(serde_json::to_string(&result).unwrap());
    for part in ["groove", "joints"] {
        assert!(expected[part] == last["groove"][part], "{part}");
    }
    assert_eq!(last["now"]["strokes"], result.strokes.len());
    let strokes = last["strokes"].as_array().unwrap();
    assert_eq!(strokes.last().unwrap()["n"], result.strokes.len());
}
