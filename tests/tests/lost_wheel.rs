//! A wheel that breaks off in mid-job is told with its stroke and what is left of the bite, and not read as a split wall.

use kerfwatch_replay::failure::Exit;
use kerfwatch_replay::simulate::scenario::Scenario;
use kerfwatch_replay::simulate::{bench, files};
use kerfwatch_tests::invented_run::{recompute, replay};
use kerfwatch_tests::score::snapshot::scenario_folder;
use serde_json::Value;

/// The scenario with a wheel lost at its time, or never: the result, and the truth.
fn result_and_truth(lost: bool) -> (Value, Value) {
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(scenario_folder().join("lost-wheel.toml")).unwrap();
    let mut scenario = Scenario::parse(&text).unwrap();
    scenario.work.strokes = 60;
    if !lost {
        scenario.cutter.wheel_lost_at.0 = 0.0;
    }
    let outcome = bench::run(&scenario, 2);
    let made = dir.path().join("made");
    files::write_all(&made, &scenario, &outcome, 20).unwrap();
    let path = |file: &str| made.join(file).display().to_string();
    let run = dir.path().join("run");
    let out = run.display().to_string();
    let (job, samples, marks) = (path("job.toml"), path("samples.csv"), path("marks.csv"));
    let (exit, _, err) = replay(&[
        "import", "--job", &job, &samples, "--marks", &marks, "--out", &out,
    ]);
    assert_eq!(exit, Exit::Well, "{err}");
    let truth = std::fs::read_to_string(path("truth.json")).unwrap();
    (recompute(&run), serde_json::from_str(&truth).unwrap())
}

#[test]
fn a_lost_wheel_is_told_with_its_stroke_and_the_wall_stands() {
    let (result, truth) = result_and_truth(true);
    let told = &result["other_wheels"][0];
    assert_eq!(told["sudden"], true, "{told}");
    // One of four is gone.
    let counts = told["counts"].as_f64().unwrap();
    assert!((0.55..0.95).contains(&counts), "{told}");
    let at_s = told["at_s"].as_f64().unwrap();
    assert!((at_s - 3000.0).abs() < 300.0, "{told}");
    let doubts = result["run"]["doubts"].as_array().unwrap();
    let words = |doubt: &Value| doubt.as_str().unwrap().contains("as if one was lost");
    assert!(doubts.iter().any(words), "{doubts:?}");
    let depths = |of: &Value| -> Vec<f64> {
        let bins = of["groove"].as_array().unwrap().iter();
        let tube = bins.filter(|bin| bin["coupling"] == false);
        tube.map(|bin| bin["depth_mm"].as_f64().unwrap()).collect()
    };
    let mean = |of: Vec<f64>| of.iter().sum::<f64>() / of.len() as f64;
    let (seen, true_mm) = (mean(depths(&result)), mean(depths(&truth)));
    assert!((seen / true_mm - 1.0).abs() < 0.12, "{seen} {true_mm} mm");
}

#[test]
fn of_whole_wheels_none_is_missed() {
    let (result, _) = result_and_truth(false);
    assert!(
        result["other_wheels"].is_null(),
        "{}",
        result["other_wheels"]
    );
}
