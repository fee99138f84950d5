//! Two runs over the same interval, chained, give what one long run gives; where the counter of the
//! second starts wrong, the groove tells.

use kerfwatch_replay::failure::Exit;
use kerfwatch_replay::simulate::bench::{self, Outcome, Reentry};
use kerfwatch_replay::simulate::files;
use kerfwatch_replay::simulate::quantity::Length;
use kerfwatch_replay::simulate::scenario::Scenario;
use kerfwatch_tests::invented_run::{import, job, recompute, replay, samples};
use kerfwatch_tests::score::snapshot::scenario_folder;
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
    chain_with(dir, runs, &[])
}

fn chain_with(dir: &Path, runs: &[&str], extra: &[&str]) -> (Exit, String, String) {
    let runs: Vec<String> = runs
        .iter()
        .map(|r| dir.join(r).display().to_string())
        .collect();
    let mut all = vec!["chain"];
    all.extend(runs.iter().map(String::as_str));
    all.extend(["--json", "-", "--quiet"]);
    all.extend_from_slice(extra);
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

/// Two runs of a bench well in one groove, imported as `first` and `second`; the counter of the second
/// reads `error` m too much. Gives the truth of the groove in the end.
fn reentered(dir: &Path, well: &str, error: f64, change: impl Fn(usize, &mut Scenario)) -> Value {
    let file = scenario_folder().join(format!("fixtures/{well}.toml"));
    let text = std::fs::read_to_string(file).unwrap();
    let mut before: Option<Outcome> = None;
    for (k, name) in ["first", "second"].into_iter().enumerate() {
        let mut scenario = Scenario::parse(&text).unwrap();
        scenario.work.stop_split = 2.0;
        scenario.work.strokes = 16;
        change(k, &mut scenario);
        let outcome = match before.take() {
            None => bench::run(&scenario, 3),
            Some(first) => {
                let reentry = Reentry {
                    pipe: first.pipe,
                    number: 1,
                    counter_error: error,
                };
                bench::run_again(&scenario, 3, reentry)
            }
        };
        let made = dir.join(format!("{name}-made"));
        files::write_all(&made, &scenario, &outcome, 20).unwrap();
        let path = |file: &str| made.join(file).display().to_string();
        let out = dir.join(name).display().to_string();
        let (exit, _, err) = replay(&[
            "import",
            "--job",
            &path("job.toml"),
            &path("samples.csv"),
            "--marks",
            &path("marks.csv"),
            "--start",
            ["2026-05-01T06:00:00Z", "2026-05-01T16:00:00Z"][k],
            "--out",
            &out,
        ]);
        assert_eq!(exit, Exit::Well, "{err}");
        before = Some(outcome);
    }
    let truth = std::fs::read_to_string(dir.join("second-made/truth.json")).unwrap();
    serde_json::from_str(&truth).unwrap()
}

/// Mean distance between estimated and true groove, couplings and their neighbours left out, mm.
fn groove_error(result: &Value, truth: &Value) -> f64 {
    let bins = |v: &Value| v["groove"].as_array().unwrap().clone();
    let pairs: Vec<f64> = bins(result)
        .iter()
        .zip(&bins(truth))
        .filter(|(a, b)| a["coupling"] == false && b["coupling"] == false)
        .map(|(a, b)| (a["depth_mm"].as_f64().unwrap() - b["depth_mm"].as_f64().unwrap()).abs())
        .collect();
    pairs.iter().sum::<f64>() / pairs.len() as f64
}

#[test]
fn a_counter_that_starts_wrong_is_measured_by_the_groove_and_corrected_for() {
    let dir = tempfile::tempdir().unwrap();
    let error = 0.8;
    let truth = reentered(dir.path(), "deepwhistle-2", error, |_, _| {});
    let (exit, text, err) = chain(dir.path(), &["first", "second"]);
    assert_eq!(exit, Exit::Well, "{err}");
    let measured: Value = serde_json::from_str(&text).unwrap();
    let second = &measured["chain"][1];
    assert_eq!(second["depth"], "measured", "{second}");
    let number = |key: &str| second[key].as_f64().unwrap();
    assert!((number("shift_m") + error).abs() < 0.2, "{second}");
    assert!(
        (number("shift_low_m")..=number("shift_high_m")).contains(&-error),
        "{second}"
    );
    assert!(
        err.contains("shallower than counted") && err.contains("--shift"),
        "{err}"
    );
    // The second run was started ten hours after the first, however short the estimate makes the pause.
    assert!((number("start_s") - 36_000.0).abs() < 1e-3, "{second}");
    let end = measured["intervals"].as_array().unwrap().last().unwrap()["end_s"].as_f64();
    let recorded = measured["run"]["duration_s"].as_f64().unwrap();
    let pause = number("pause_s");
    assert!((recorded + pause - end.unwrap()).abs() < 5.0, "{second}");
    let track = measured["tool"]["depth_m"].as_array().unwrap();
    assert!((track.len() as f64 - end.unwrap()).abs() < 5.0);
    assert_eq!(track[30_000], Value::Null);
    let shifted = |shift: &str| -> Value {
        let (exit, text, err) = chain_with(dir.path(), &["first", "second"], &["--shift", shift]);
        assert_eq!(exit, Exit::Well, "{err}");
        let result: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(result["chain"][1]["depth"], "given");
        result
    };
    let (given, counted) = (shifted("-0.8 m"), shifted("0"));
    assert_eq!(given["chain"][1]["shift_m"], -0.8);
    assert_eq!(counted["chain"][1]["shift_m"], 0.0);
    // The shift moves the strokes, and the groove stays near the truth.
    let deepest = |chained: &Value| {
        let strokes = chained["strokes"].as_array().unwrap();
        strokes.last().unwrap()["bottom_m"].as_f64().unwrap()
    };
    assert!((deepest(&given) - deepest(&counted) + 0.8).abs() < 0.1);
    assert!((deepest(&measured) - deepest(&given)).abs() < 0.2);
    for result in [&given, &measured] {
        let wrong = groove_error(result, &truth);
        assert!(wrong < 0.5, "{wrong} mm off");
    }
}

/// The second run of a pair with wheels pressed harder by this factor, chained; `written`: its job says so.
fn with_harder_wheels(dir: &Path, factor: f64, written: bool) -> (Value, f64) {
    let truth = reentered(dir, "deepwhistle-2", 0.0, |k, scenario| {
        if k == 1 {
            scenario.cutter.radial_force.0 *= factor;
        }
    });
    let mut extra = vec!["--shift", "0"];
    let job = dir.join("first-made/job.toml").display().to_string();
    if !written {
        extra.extend(["--job", &job]);
    }
    let (exit, text, err) = chain_with(dir, &["first", "second"], &extra);
    assert_eq!(exit, Exit::Well, "{err}");
    let chained: Value = serde_json::from_str(&text).unwrap();
    let wrong = groove_error(&chained, &truth);
    (chained, wrong)
}

#[test]
fn runs_count_by_their_own_wheels() {
    let dir = tempfile::tempdir().unwrap();
    for (factor, written) in [(1.0, true), (1.5, true), (1.5, false)] {
        let (chained, wrong) = with_harder_wheels(dir.path(), factor, written);
        assert!(wrong < 0.4, "{wrong} mm off with {factor} {written}");
        let told = &chained["other_wheels"];
        if factor == 1.0 || written {
            assert!(told.is_null(), "{told}");
        } else {
            // Depth cubed grows with the square of the force: 2.25.
            let counts = told[0]["counts"].as_f64().unwrap();
            assert!((1.6..3.2).contains(&counts), "{told}");
        }
        for name in ["first", "second"] {
            std::fs::remove_dir_all(dir.path().join(name)).unwrap();
        }
    }
}

#[test]
fn runs_without_a_common_pattern_have_an_unknown_shift_and_say_so() {
    let dir = tempfile::tempdir().unwrap();
    reentered(dir.path(), "brindlemoor-4", 0.8, |k, scenario| {
        // No coupling in the interval, and the second time nothing is cut.
        scenario.pipe.coupling_at = Length(400.0);
        scenario.pipe.joint_length = Length(350.0);
        scenario.work.strokes = if k == 0 { 6 } else { 0 };
    });
    let (exit, text, err) = chain(dir.path(), &["first", "second"]);
    assert_eq!(exit, Exit::Well, "{err}");
    let chained: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(
        chained["chain"][1]["depth"], "unknown",
        "{}",
        chained["chain"]
    );
    assert_eq!(chained["chain"][1]["shift_m"], 0.0);
    assert!(
        err.contains("is unknown") && err.contains("--shift"),
        "{err}"
    );
    let (exit, _, err) = chain_with(dir.path(), &["first", "second"], &["--shift", "3 kg"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("--shift"), "{err}");
}
