//! Two runs over the same interval, chained, give what one long run gives.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{import, job, recompute, replay, samples};
use serde_json::Value;
use std::path::Path;

/// The invented run cut in two at `at_s`, as runs `first` and `second` with their start times.
fn two_halves(dir: &Path, at_s: f64, second_well: &str) {
    let text = samples();
    let mut lines = text.lines();
    let head = lines.next().unwrap();
    let (mut a, mut b) = (format!("{head}\n"), format!("{head}\n"));
    for line in lines {
        let t: f64 = line.split(',').next().unwrap().parse().unwrap();
        let half = if t < at_s { &mut a } else { &mut b };
        half.push_str(line);
        half.push('\n');
    }
    for (name, samples, well, zero, start) in [
        ("first", a, "Invented-1", 0.0, "2026-05-01T06:00:00Z"),
        ("second", b, second_well, at_s, "2026-05-01T06:30:00Z"),
    ] {
        let path = |file: &str| dir.join(format!("{name}-{file}")).display().to_string();
        std::fs::write(path("job.toml"), job(well)).unwrap();
        std::fs::write(path("samples.csv"), samples).unwrap();
        let out = dir.join(name).display().to_string();
        let zero = zero.to_string();
        let (exit, _, err) = replay(&[
            "import",
            "--job",
            &path("job.toml"),
            &path("samples.csv"),
            "--time-zero",
            &zero,
            "--start",
            start,
            "--out",
            &out,
        ]);
        assert_eq!(exit, Exit::Well, "{err}");
    }
}

fn chain(dir: &Path, runs: &[&str]) -> (Exit, String, String) {
    let runs: Vec<String> = runs
        .iter()
        .map(|r| dir.join(r).display().to_string())
        .collect();
    let mut all = vec!["chain"];
    all.extend(runs.iter().map(String::as_str));
    all.extend(["--json", "-", "--quiet"]);
    replay(&all)
}

fn passes(result: &Value) -> u64 {
    let groove = result["groove"].as_array().unwrap();
    groove.iter().map(|b| b["passes"].as_u64().unwrap()).sum()
}

#[test]
fn strokes_and_passes_add_up_over_runs() {
    let dir = tempfile::tempdir().unwrap();
    let whole = recompute(&import(dir.path(), "whole", "Invented-1"));
    // At the turn after stroke 14 the tool rests: a clean place to end a run.
    let turn = whole["strokes"][13]["end_s"].as_f64().unwrap() + 1.0;
    two_halves(dir.path(), turn, "Invented-1");
    let (exit, text, err) = chain(dir.path(), &["first", "second"]);
    assert_eq!(exit, Exit::Well, "{err}");
    let chained: Value = serde_json::from_str(&text).unwrap();
    let count = |r: &Value| r["strokes"].as_array().unwrap().len();
    assert_eq!(count(&chained), count(&whole));
    let alone = recompute(&dir.path().join("second"));
    assert!(passes(&chained) > passes(&alone));
    let id = chained["run"]["id"].as_str().unwrap();
    assert_eq!(id.matches('+').count(), 1, "{id}");
    // The second run starts half an hour after the first.
    let start = chained["strokes"][14]["start_s"].as_f64().unwrap();
    assert!((1800.0..1830.0).contains(&start), "{start}");
}

#[test]
fn runs_of_other_wells_or_out_of_order_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    two_halves(dir.path(), 300.0, "Invented-2");
    let (exit, _, err) = chain(dir.path(), &["first", "second"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("is not that of the run before"), "{err}");
    let (exit, _, err) = chain(dir.path(), &["first", "first"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("the same run"), "{err}");
    std::fs::remove_dir_all(dir.path().join("second")).unwrap();
    std::fs::remove_dir_all(dir.path().join("first")).unwrap();
    two_halves(dir.path(), 300.0, "Invented-1");
    let (exit, _, err) = chain(dir.path(), &["second", "first"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("oldest first"), "{err}");
}
