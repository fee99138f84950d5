//! The daemon on a disk of a megabyte that fills up under it: the alarm is raised, decisions make room for what the
//! instruments send, nothing of that is removed or missing, and recording goes on by itself once there is room.
//!
//! The disk is a `tmpfs`, so these tests need the right to mount one; without it they say so and test nothing.

#![cfg(feature = "daemon")]

use kerfwatch::recording::RunReader;
use kerfwatch_tests::http::get;
use kerfwatch_tests::instruments::Instruments;
use kerfwatch_tests::lines_on_record::{check_lines, wait_until_recorded};
use kerfwatch_tests::programs::{Daemon, replay, run_below};
use kerfwatch_tests::small_disk::SmallDisk;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const DISK_BYTES: u64 = 1 << 20;

/// Length of the segments of a store, by name.
fn segments(run: &Path, store: &str) -> BTreeMap<String, u64> {
    let entries = std::fs::read_dir(run).unwrap().flatten();
    entries
        .map(|e| {
            (
                e.file_name().into_string().unwrap(),
                e.metadata().unwrap().len(),
            )
        })
        .filter(|(name, _)| name.starts_with(store))
        .collect()
}

/// State of the `recorder` alarm and its words; `None`: there is none.
fn alarm(daemon: &Daemon) -> Option<(String, String)> {
    let snapshot = get(daemon.page, "/api/v1/snapshot").json();
    let alarms = snapshot["alarms"].as_array().unwrap();
    let alarm = alarms.iter().find(|alarm| alarm["kind"] == "recorder")?;
    let text = |key: &str| alarm[key].as_str().unwrap_or("").to_owned();
    Some((text("state"), text("message")))
}

fn wait_for(what: &str, seen: impl Fn() -> bool) {
    let start = Instant::now();
    while !seen() {
        assert!(start.elapsed() < Duration::from_secs(60), "never: {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Two seconds of inputs are not on disk.
fn is_behind(health: &serde_json::Value) -> bool {
    health["ingest_s"].as_f64().unwrap() > health["recorded_s"].as_f64().unwrap() + 2.0
}

/// A daemon that records strokes on a small disk which has just been filled, and has noticed.
fn full(disk: &SmallDisk, folder: &Path, instruments: &mut Instruments) -> (Daemon, PathBuf) {
    let runs = disk.path().join("runs");
    let job = instruments.job(folder, &runs, "");
    let mut daemon = Daemon::start(&job, None);
    daemon.wait_until_up();
    instruments.start();
    let run = run_below(&runs);
    wait_for("decisions are on disk", || {
        segments(&run, "derived-")
            .values()
            .any(|length| *length > 200)
    });
    assert_eq!(alarm(&daemon), None);
    let raw = segments(&run, "raw-");
    disk.fill().unwrap();
    wait_for("the alarm", || {
        alarm(&daemon).is_some_and(|(state, text)| {
            state == "unacknowledged"
                && text.contains("No space left")
                && text.contains("free the disk")
        })
    });
    // What the decisions took is now used for what the instruments sent.
    wait_for("decisions make room", || {
        segments(&run, "derived-").is_empty()
    });
    for (name, length) in &raw {
        let now = segments(&run, "raw-").get(name).copied();
        assert!(now >= Some(*length), "{name}: {length} bytes, now {now:?}");
    }
    (daemon, run)
}

#[test]
fn recording_goes_on_by_itself_when_a_full_disk_has_room_again() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&folder.path().join("disk"), DISK_BYTES) else {
        return;
    };
    let mut instruments = Instruments::new();
    let (mut daemon, run) = full(&disk, folder.path(), &mut instruments);
    // Full for a while: it lives, says so, and loses nothing.
    daemon.wait_for("inputs wait", is_behind);
    assert_eq!(daemon.child.try_wait().unwrap(), None);
    let health = daemon.health();
    assert_eq!(health["record_lost"], 0, "{health}");
    disk.free().unwrap();
    daemon.wait_for("it records again", |health| {
        health["recorded_s"].as_f64().unwrap() > health["ingest_s"].as_f64().unwrap() - 1.5
    });
    wait_for("the alarm returns", || {
        alarm(&daemon).is_none_or(|(state, _)| state == "returned_unacknowledged")
    });
    let sent = instruments.stop();
    wait_until_recorded(&run, &sent);
    let status = daemon.terminate();
    assert_eq!(status.code(), Some(0));
    let mut reader = RunReader::open(&run).unwrap();
    let inputs: Vec<_> = reader.inputs().collect();
    assert_eq!(reader.lost_blocks(), 0);
    let lines = check_lines(&inputs, &sent);
    assert_eq!(lines.missing, 0);
    let (code, out) = replay(&["verify", &run.display().to_string()]);
    assert_eq!(code, Some(0), "{}", String::from_utf8_lossy(&out));
    println!(
        "{} lines, none missing\n{}",
        lines.recorded,
        String::from_utf8_lossy(&out)
    );
}

#[test]
fn ended_while_the_disk_is_full_it_says_what_is_lost_and_can_be_gone_on_with() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&folder.path().join("disk"), DISK_BYTES) else {
        return;
    };
    let mut instruments = Instruments::new();
    let (daemon, run) = full(&disk, folder.path(), &mut instruments);
    // What the decisions had taken is used up too.
    daemon.wait_for("inputs wait", is_behind);
    let job = folder.path().join("job.toml");
    let asked = Instant::now();
    assert_eq!(daemon.terminate().code(), Some(1));
    assert!(
        asked.elapsed() < Duration::from_secs(30),
        "{:?}",
        asked.elapsed()
    );
    let said = std::fs::read_to_string(folder.path().join("daemon.log")).unwrap();
    assert!(
        said.contains("inputs could not be written and are lost"),
        "{said}"
    );
    assert!(
        said.contains("No space left") && said.contains("--resume"),
        "{said}"
    );
    assert!(!said.contains("panicked"), "{said}");
    assert!(!run.join("manifest.sha256").exists(), "not sealed");

    disk.free().unwrap();
    let mut daemon = Daemon::start(&job, Some(&run));
    daemon.wait_until_up();
    std::thread::sleep(Duration::from_secs(1));
    let sent = instruments.stop();
    wait_until_recorded(&run, &sent);
    assert_eq!(daemon.terminate().code(), Some(0));
    let inputs: Vec<_> = RunReader::open(&run).unwrap().inputs().collect();
    let lines = check_lines(&inputs, &sent);
    println!(
        "{} lines, {} lost at the end while full\n{said}",
        lines.recorded, lines.missing
    );
    let (_, out) = replay(&["verify", &run.display().to_string()]);
    println!("{}", String::from_utf8_lossy(&out));
}
