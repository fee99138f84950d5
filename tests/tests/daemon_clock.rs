//! The host's clock steps (NTP, a wrong battery clock), and the host sleeps: as seen from outside the program.
//!
//! The clock is stepped for the daemon alone, by `libfaketime` (Debian package of that name); without it the
//! first test says so and proves nothing.

#![cfg(feature = "daemon")]

use kerfwatch::input::{Input, MarkKind};
use kerfwatch::recording::RunReader;
use kerfwatch_tests::process::Running;
use std::path::{Path, PathBuf};
use std::time::Duration;

fn faketime() -> Option<PathBuf> {
    let roots = ["/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu"];
    roots
        .iter()
        .map(|root| Path::new(root).join("faketime/libfaketimeMT.so.1"))
        .find(|library| library.is_file())
}

fn notes(folder: &Path) -> Vec<String> {
    let mut notes = Vec::new();
    RunReader::open(folder).unwrap().for_each_input(|input| {
        if let Input::Mark { mark, .. } = input
            && let MarkKind::Note(text) = &mark.kind
        {
            notes.push(text.clone());
        }
    });
    notes
}

/// Longest time between two readings, s, and the last time of all.
fn arrivals(folder: &Path) -> (f64, f64) {
    let (mut before, mut longest) = (None, 0.0_f64);
    RunReader::open(folder).unwrap().for_each_input(|input| {
        if let Input::Received { at, .. } = input {
            let at = kerfwatch::time::seconds(*at);
            longest = longest.max(before.map_or(0.0, |before| at - before));
            before = Some(at);
        }
    });
    (longest, before.unwrap_or(0.0))
}

/// A daemon whose UTC can be stepped by what `step` holds.
fn with_stepped_clock(library: &Path, step: &Path) -> Running {
    std::fs::write(step, "+0").unwrap();
    let running = Running::start(&[
        ("LD_PRELOAD", library.to_str().unwrap()),
        ("FAKETIME_TIMESTAMP_FILE", step.to_str().unwrap()),
        ("FAKETIME_NO_CACHE", "1"),
        ("FAKETIME_DONT_FAKE_MONOTONIC", "1"),
    ]);
    running.wait_for("the page", || running.is_up());
    running
}

#[test]
fn a_step_of_the_hosts_clock_is_counted_and_noted_and_moves_no_reading() {
    let Some(library) = faketime() else {
        eprintln!("SKIPPED: libfaketime is not installed: apt install libfaketime");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let step = folder.path().join("step");
    let mut running = with_stepped_clock(&library, &step);
    running.send_for(Duration::from_secs(1), 2500.0);
    for (number, shift) in [(1.0, "+3600"), (2.0, "-7200")] {
        std::fs::write(&step, shift).unwrap();
        for _ in 0..60 {
            running.send_for(Duration::from_millis(200), 2500.0);
            if running.metric("kerfwatch_clock_steps_total") >= number {
                break;
            }
        }
        assert_eq!(running.metric("kerfwatch_clock_steps_total"), number);
        let health = kerfwatch_tests::http::get(running.page, "/healthz").json();
        assert_eq!(health["clock_steps"], number as u64, "for the page");
        assert_eq!(
            running.snapshot()["alarms"].as_array().unwrap().len(),
            0,
            "no alarm: nothing depends on the host's clock"
        );
    }
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    let run = running.run_folder().unwrap();
    let notes = notes(&run).join("\n");
    assert!(notes.contains("host clock was set by +3600"), "{notes}");
    assert!(notes.contains("host clock was set by -10800"), "{notes}");
    let (longest, last) = arrivals(&run);
    assert!(longest < 5.0 && last < 120.0, "{longest} {last}");
}

#[test]
fn a_clock_that_is_set_while_the_daemon_is_dead_does_not_move_the_run() {
    let Some(library) = faketime() else {
        eprintln!("SKIPPED: libfaketime is not installed: apt install libfaketime");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let step = folder.path().join("step");
    let mut running = with_stepped_clock(&library, &step);
    running.send_for(Duration::from_secs(2), 2500.0);
    running.signal("-KILL");
    let _ = running.child.wait();
    // Fifteen hours: by the clock the run would be one of yesterday.
    std::fs::write(&step, "+54000").unwrap();
    running.start_again(&[]);
    running.wait_for("the page again", || running.is_up());
    running.send_for(Duration::from_secs(1), 2500.0);
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    assert_eq!(running.runs().len(), 1, "the run goes on");
    let run = running.run_folder().unwrap();
    let notes = notes(&run).join("\n");
    assert!(notes.contains("host clock was set by +54"), "{notes}");
    let (longest, last) = arrivals(&run);
    assert!(longest < 60.0 && last < 120.0, "{longest} {last}");
}

#[test]
fn a_host_that_slept_raises_the_sensor_alarms_and_is_counted_and_noted() {
    let mut running = Running::start(&[]);
    running.wait_for("the page", || running.is_up());
    running.send_for(Duration::from_secs(1), 2500.0);
    assert!(running.alarm_states("sensor").is_empty());
    running.signal("-STOP");
    std::thread::sleep(Duration::from_millis(3500));
    running.signal("-CONT");
    running.send_for(Duration::from_millis(500), 2500.0);
    running.wait_for("both sensors are shown", || {
        running.alarm_states("sensor").len() == 2
    });
    assert_eq!(running.metric("kerfwatch_standstills_total"), 1.0);
    assert_eq!(
        running.metric("kerfwatch_channel_gaps_total{channel=\"load\"}"),
        1.0
    );
    // The alarm goes by itself, but stays to be seen.
    for _ in 0..100 {
        running.send_for(Duration::from_millis(100), 2500.0);
        if running.alarm_states("sensor") == ["returned_unacknowledged", "returned_unacknowledged"]
        {
            break;
        }
    }
    assert_eq!(
        running.alarm_states("sensor"),
        ["returned_unacknowledged", "returned_unacknowledged"]
    );
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    let run = running.run_folder().unwrap();
    let notes = notes(&run).join("\n");
    assert!(notes.contains("did not run for"), "{notes}");
    let (longest, _) = arrivals(&run);
    assert!(longest > 3.0, "the silence has its length: {longest}");
}
