//! What a crash must not lose: strokes, states and alarms that nobody has seen.

#![cfg(feature = "daemon")]

use kerfwatch::alarm::GuardModel;
use kerfwatch::input::{ChannelId, Event};
use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, RunReader};
use kerfwatch_tests::process::Running;
use std::path::Path;
use std::time::Duration;

/// A daemon that has raised an overpull which nobody has acknowledged, killed.
fn killed_after_an_overpull() -> Running {
    let mut running = Running::start(&[]);
    running.wait_for("the page", || running.is_up());
    let text = std::fs::read_to_string(running.folder.path().join("job.toml")).unwrap();
    let job = read_job(&text, "job.toml").unwrap().job;
    let limit = GuardModel::new(&job).limit_n(Some(2010.0));
    running.send(ChannelId::Depth, 2010.0);
    running.send_for(Duration::from_millis(500), 0.6 * limit);
    running.send_for(Duration::from_millis(500), 1.1 * limit);
    running.wait_for("an overpull", || {
        running.alarm_states("overpull") == ["unacknowledged"]
    });
    running.send_for(Duration::from_millis(300), 0.6 * limit);
    // Longer than a period of syncs.
    std::thread::sleep(Duration::from_millis(2500));
    running.signal("-KILL");
    running.child.wait().unwrap();
    running
}

fn end(running: &mut Running) {
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
}

/// What was decided live is what a replay decides.
fn live_is_replay(folder: &Path) -> Vec<Derived> {
    let mut reader = RunReader::open(folder).unwrap();
    let head = reader.head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap().job;
    let mut live = Vec::new();
    reader.for_each_derived_from(0, |_, record| {
        if !matches!(record, Derived::Groove { .. }) {
            live.push(record.clone());
        }
    });
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| pipeline.push(input, &mut events));
    pipeline.finish(&mut events);
    let replayed: Vec<Derived> = events.iter().map(Derived::from).collect();
    assert_eq!(live, replayed);
    replayed
}

#[test]
fn the_same_command_goes_on_with_the_run_and_its_unacknowledged_overpull() {
    let mut running = killed_after_an_overpull();
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the overpull is still there", || {
        running.alarm_states("overpull") == ["latched_unacknowledged"]
    });
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    assert_eq!(running.runs().len(), 1, "one run");
    let decided = live_is_replay(&running.runs()[0]);
    let overpulls = decided.iter().filter(|record| {
        matches!(record, Derived::Alarm { record, state, .. }
            if record.kind == "overpull" && record.level == "high" && state == "unacknowledged")
    });
    assert_eq!(overpulls.count(), 1, "{decided:?}");
    // A run that has ended well is not gone on with.
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    assert!(running.alarm_states("overpull").is_empty());
    end(&mut running);
    assert_eq!(running.runs().len(), 2);
}

#[test]
fn another_job_after_a_crash_takes_over_the_unacknowledged_overpull() {
    let mut running = killed_after_an_overpull();
    running.start_again(&["--set", "alarm.slack=\"250 N\""]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the overpull is still there", || {
        let states = running.alarm_states("overpull");
        !states.is_empty() && states[0].contains("unacknowledged")
    });
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    let runs = running.runs();
    assert_eq!(runs.len(), 2, "a run of its own");
    let decided = live_is_replay(&runs[1]);
    assert!(
        decided.iter().any(
            |record| matches!(record, Derived::Alarm { record, .. } if record.kind == "overpull")
        ),
        "the record of the new run holds the alarm: {decided:?}"
    );
}
