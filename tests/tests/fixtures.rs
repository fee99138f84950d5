//! The committed runs are what their scenarios make.

use kerfwatch_replay::simulate::{bench, scenario::Scenario};
use kerfwatch_tests::score::snapshot::scenario_folder;
use serde_json::Value;

#[test]
fn committed_truth_is_what_the_bench_well_makes_of_its_scenario() {
    for name in ["brindlemoor-4", "deepwhistle-2"] {
        let text = |path: std::path::PathBuf| std::fs::read_to_string(path).unwrap();
        let scenarios = scenario_folder();
        let scenario = text(scenarios.join("fixtures").join(format!("{name}.toml")));
        let outcome = bench::run(&Scenario::parse(&scenario).unwrap(), 1);
        let stored: Value =
            serde_json::from_str(&text(scenarios.join("..").join(name).join("truth.json")))
                .unwrap();
        let unknowns = serde_json::to_value(&outcome.unknowns).unwrap();
        let made = outcome.recorder.json(&outcome.pipe, &unknowns, name, 20);
        let strokes = |truth: &Value| truth["strokes"].as_array().unwrap().len();
        assert_eq!(strokes(&made), strokes(&stored), "{name}");
        // Not bit for bit: sine and exponential differ in the last place between platforms.
        let depths = |truth: &Value| -> Vec<f64> {
            let bins = truth["groove"].as_array().unwrap().iter();
            bins.map(|bin| bin["depth_mm"].as_f64().unwrap()).collect()
        };
        for (a, b) in depths(&made).iter().zip(&depths(&stored)) {
            assert!((a - b).abs() < 0.05, "{name}: {a} mm made, {b} mm stored");
        }
    }
}
