//! The daemon killed again and again while two instruments send a thousand lines a second each, and gone on with.
//!
//! In the end its record must be whole, hold every line up to what it had said was on disk, and give what an
//! uninterrupted run fed the same gives: strokes, states, groove, wear, alarms, bit for bit, live and in replay.
//!
//! `KERFWATCH_KILLS=200 cargo test --release -p kerfwatch-tests --test daemon_killed -- --nocapture` is the heavy run (build
//! `kerfwatchd` anew first, with `--release`: the one that stands beside the test is taken); without the variable there
//! are a few kills. `KERFWATCH_SEED` chooses the moments.

#![cfg(feature = "daemon")]

use kerfwatch::input::{Event, Input};
use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, Folder, Policy, RunReader, RunWriter, time_of};
use kerfwatch::time::seconds;
use kerfwatch_tests::http::get;
use kerfwatch_tests::instruments::Instruments;
use kerfwatch_tests::lines_on_record::{check_lines, wait_until_recorded};
use kerfwatch_tests::mangle::Dice;
use kerfwatch_tests::programs::{Daemon, replay, run_below};
use serde_json::Value;
use std::path::Path;
use std::time::Duration;

fn number(variable: &str, otherwise: u64) -> u64 {
    let given = std::env::var(variable).ok();
    given
        .and_then(|text| text.parse().ok())
        .unwrap_or(otherwise)
}

fn inputs(run: &Path) -> Vec<Input> {
    RunReader::open(run).unwrap().inputs().collect()
}

/// The inputs in one uninterrupted recording.
fn uninterrupted(run: &Path, copy: &Path, inputs: &[Input]) {
    let mut head = RunReader::open(run).unwrap().head().unwrap().clone();
    head.run_id = "uninterrupted".to_owned();
    let disk = Folder::create(copy).unwrap();
    let mut writer = RunWriter::create(disk, &head, Policy::default()).unwrap();
    for input in inputs {
        writer.append(input).unwrap();
        writer.turn(time_of(input)).unwrap();
    }
    writer.finish(inputs.last().map_or(0, time_of)).unwrap();
}

fn recomputed(run: &Path) -> Value {
    let (_, out) = replay(&[
        "recompute",
        &run.display().to_string(),
        "--json",
        "-",
        "--quiet",
    ]);
    let mut result: Value = serde_json::from_slice(&out).unwrap();
    // A line that was cut in two by a kill counts as a lost block of the one record only.
    result["quality"]["lost_blocks"] = Value::Null;
    result["run"]["id"] = Value::Null;
    result
}

/// Whether `live`, asked of the daemon near the end, is the state of one pipeline fed all inputs up to some input.
fn is_state_near_the_end(live: &Value, run: &Path, inputs: &[Input]) -> bool {
    let head = RunReader::open(run).unwrap().head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap_or_else(|f| panic!("{f}"));
    let mut pipeline = Pipeline::new(&job.job);
    let mut events = Vec::new();
    inputs.iter().enumerate().any(|(n, input)| {
        pipeline.push(input, &mut events);
        events.clear();
        n + 80 > inputs.len()
            && serde_json::to_value(pipeline.result(&head.run_id)).unwrap() == *live
    })
}

fn decisions(run: &Path) -> Vec<String> {
    let mut all = Vec::new();
    RunReader::open(run)
        .unwrap()
        .for_each_derived_from(0, |_, record| {
            if !matches!(record, Derived::Groove { .. }) {
                all.push(serde_json::to_string(record).unwrap());
            }
        });
    all
}

fn decided_in_replay(run: &Path, inputs: &[Input]) -> Vec<String> {
    let head = RunReader::open(run).unwrap().head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap_or_else(|f| panic!("{f}"));
    let mut pipeline = Pipeline::new(&job.job);
    let mut events: Vec<Event> = Vec::new();
    for input in inputs {
        pipeline.push(input, &mut events);
    }
    pipeline.finish(&mut events);
    let json = |event: &Event| serde_json::to_string(&Derived::from(event)).unwrap();
    events.iter().map(json).collect()
}

#[test]
fn killed_at_any_moment_and_gone_on_with_it_ends_like_an_uninterrupted_run() {
    let kills = number("KERFWATCH_KILLS", 4);
    let seed = number("KERFWATCH_SEED", 1);
    let mut dice = Dice::new(seed);
    let folder = tempfile::tempdir().unwrap();
    let runs = folder.path().join("runs");
    let mut instruments = Instruments::new();
    let job = instruments.job(folder.path(), &runs, "");

    instruments.start();
    let mut daemon = Daemon::start(&job, None);
    daemon.wait_until_up();
    let run = run_below(&runs);
    let mut starts_killed = 0;
    for _ in 0..kills {
        std::thread::sleep(Duration::from_millis(200 + dice.below(2300)));
        let said = daemon.health()["recorded_s"].as_f64().unwrap();
        daemon.kill();
        let last = inputs(&run).iter().map(time_of).max();
        let there = seconds(last.unwrap_or(0));
        assert!(
            there >= said,
            "seed {seed}: {said} s were said to be on disk, {there} s are"
        );
        // Killed again while it starts, reads the record and recovers, now and then.
        while dice.once_in(3) {
            let daemon = Daemon::start(&job, Some(&run));
            std::thread::sleep(Duration::from_millis(dice.below(120)));
            daemon.kill();
            starts_killed += 1;
        }
        daemon = Daemon::start(&job, Some(&run));
        daemon.wait_until_up();
    }
    std::thread::sleep(Duration::from_millis(1000));
    let sent = instruments.stop();
    // What is still on the wires arrives; then only ticks do.
    wait_until_recorded(&run, &sent);
    let live = get(daemon.page, "/api/v1/result").json();
    let status = daemon.terminate();
    let log = std::fs::read_to_string(folder.path().join("daemon.log")).unwrap();
    assert_eq!(status.code(), Some(0), "seed {seed}: {log}");

    let (code, out) = replay(&["verify", &run.display().to_string(), "--json"]);
    let verified: Value = serde_json::from_slice(&out).unwrap();
    let damage = verified["damage"].as_array().unwrap();
    for piece in damage {
        let what = piece["what"].as_str().unwrap();
        assert!(
            what.starts_with("torn tail cut off"),
            "seed {seed}: {piece}"
        );
    }
    assert_eq!(code, Some(if damage.is_empty() { 0 } else { 3 }));
    let digests = verified["digests"].as_array().unwrap();
    assert!(digests.iter().all(|d| d["state"] == "right"), "{digests:?}");

    let inputs = inputs(&run);
    let lines = check_lines(&inputs, &sent);
    let copy = folder.path().join("uninterrupted");
    uninterrupted(&run, &copy, &inputs);
    let result = recomputed(&run);
    assert!(result == recomputed(&copy), "seed {seed}: results differ");
    assert!(
        is_state_near_the_end(&live, &run, &inputs),
        "seed {seed}: the daemon that had been killed {kills} times had another state"
    );
    let decided = decisions(&run);
    assert_eq!(
        decided,
        decided_in_replay(&run, &inputs),
        "seed {seed}: decisions on record, each once"
    );
    assert!(!log.contains("do not follow"), "{log}");
    let count = |of: &str| result[of].as_array().unwrap().len();
    println!(
        "seed {seed}: {kills} kills, {starts_killed} more while starting, {} torn tails; {} lines recorded, \
         {} not heard or not yet on disk when killed (at most {} at once); {} strokes, {} alarms, {} decisions",
        damage.len(),
        lines.recorded,
        lines.missing,
        lines.missing_most,
        count("strokes"),
        count("alarms"),
        decided.len()
    );
    assert!(count("strokes") > 0 && count("alarms") > 0);
}
