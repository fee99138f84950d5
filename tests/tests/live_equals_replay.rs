//! The one law: what the daemon decided live is what a replay of its record decides, bit for bit.

#![cfg(feature = "daemon")]

use kerfwatch::input::Event;
use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, RunReader};
use kerfwatch::result::{Interval, RunResult};
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

/// Spells of states among decisions, as told live.
fn states(decisions: &[Derived]) -> Vec<Interval> {
    let states = decisions.iter().filter_map(|decision| match decision {
        Derived::Interval(interval) => Some(interval.clone()),
        _ => None,
    });
    states.collect()
}

/// Part of the time told of in which `told` says what `known` says.
fn agreement(told: &[Interval], known: &[Interval]) -> f64 {
    let length = |i: &Interval| i.end_s - i.start_s;
    let both = |a: &Interval, b: &Interval| a.end_s.min(b.end_s) - a.start_s.max(b.start_s);
    let same = told.iter().flat_map(|a| {
        let alike = known.iter().filter(move |b| a.state == b.state);
        alike.map(move |b| both(a, b).max(0.0))
    });
    same.sum::<f64>() / told.iter().map(length).sum::<f64>()
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
    let recorded = recorded_decisions(&ended.run_folder);
    same("decisions on disk", &recorded, &decided);
    let told = states(&recorded);
    same("states on disk", &told, &states(&decided));
    // Of the whole run, one after the other, none a flicker.
    for pair in told.windows(2) {
        assert_eq!(pair[0].end_s, pair[1].start_s, "{pair:?}");
    }
    assert!(told.iter().all(|i| i.end_s - i.start_s > 0.29), "{told:?}");
    let known = &live.intervals;
    let ends = |all: &[Interval]| (all[0].start_s, all[all.len() - 1].end_s);
    assert_eq!(ends(&told), ends(known));
    // Provisional, but no other story.
    let same_part = agreement(&told, known);
    println!(
        "{} states told, {} in the result, the same for {same_part:.3} of the time",
        told.len(),
        known.len()
    );
    assert!(same_part > 0.8, "{same_part}");
}
