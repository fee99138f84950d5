//! The one law: what the daemon decided live is what a replay of its record decides, bit for bit.

#![cfg(feature = "daemon")]

use kerfwatch::input::Event;
use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, RunReader};
use kerfwatch::result::RunResult;
use kerfwatchd::demo::{Demo, demo, fixture};
use std::path::Path;

/// Feeds a run folder through a new pipeline.
fn recompute(folder: &Path) -> (RunResult, Vec<Derived>) {
    let mut reader = RunReader::open(folder).unwrap();
    let head = reader.head().unwrap().clone();
    let job = read_job(&head.job, "run.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job;
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| pipeline.push(input, &mut events));
    pipeline.finish(&mut events);
    assert_eq!(reader.lost_blocks(), 0);
    let decided = events.iter().map(Derived::from).collect();
    (pipeline.result(&head.run_id), decided)
}

fn recorded_decisions(folder: &Path) -> Vec<Derived> {
    let mut reader = RunReader::open(folder).unwrap();
    let mut decisions = Vec::new();
    reader.for_each_derived_from(0, |_, record| {
        if !matches!(record, Derived::Groove { .. }) {
            decisions.push(record.clone());
        }
    });
    decisions
}

/// Equal bits, not only equal numbers.
fn same<T: serde::Serialize>(what: &str, live: &T, replayed: &T) {
    let text = |value: &T| serde_json::to_string(value).unwrap();
    assert_eq!(text(live), text(replayed), "{what}");
}

#[test]
fn a_played_run_decides_live_what_its_record_decides_in_replay() {
    let folder = tempfile::tempdir().unwrap();
    let show = Demo {
        speed: 2000.0,
        fixture: fixture::DEFAULT.to_owned(),
        listen: "127.0.0.1:0".to_owned(),
        token: None,
        once: true,
        folder: Some(folder.path().to_owned()),
    };
    let ended = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(demo(show, std::future::pending(), None))
        .unwrap();
    let live = ended.result;
    let (replayed, decided) = recompute(&ended.run_folder);
    assert!(!live.strokes.is_empty(), "the fixture has strokes");
    same("strokes", &live.strokes, &replayed.strokes);
    same("states", &live.intervals, &replayed.intervals);
    same("groove", &live.groove, &replayed.groove);
    same("joints", &live.joints, &replayed.joints);
    same("alarms", &live.alarms, &replayed.alarms);
    same("everything", &live, &replayed);
    same(
        "decisions on disk",
        &recorded_decisions(&ended.run_folder),
        &decided,
    );
}
