use super::*;
use crate::units_shown::Units;
use kerfwatch::result::{FORMAT, Interval};

fn result(depths: &[f64]) -> RunResult {
    let job = kerfwatch::job::read_job(kerfwatch::job::print_default_job(), "default")
        .unwrap()
        .job;
    let mut result = kerfwatch::pipeline::Pipeline::new(&job).result("x");
    assert_eq!(result.format, FORMAT);
    result.groove = depths
        .iter()
        .enumerate()
        .map(|(i, depth)| GrooveBin {
            top_m: 100.0 + 0.1 * i as f64,
            bottom_m: 100.1 + 0.1 * i as f64,
            depth_mm: *depth,
            low_mm: depth - 0.5,
            high_mm: depth + 0.5,
            wall_mm: 6.0,
            passes: 3,
            through: false,
            through_probability: 0.1,
            coupling: false,
        })
        .collect();
    result
}

#[test]
fn same_results_under_other_run_ids_are_the_same() {
    let mut other = result(&[1.0, 2.0]);
    other.run.id = "y".into();
    let comparison = compare(&[("a".into(), result(&[1.0, 2.0])), ("b".into(), other)]);
    assert!(comparison.same);
}

#[test]
fn every_state_has_its_times_and_seconds() {
    let mut a = result(&[1.0]);
    let interval = |state, start_s, end_s| Interval {
        state,
        start_s,
        end_s,
    };
    a.intervals = vec![
        interval(State::Free, 0.0, 10.0),
        interval(State::Slack, 10.0, 12.0),
        interval(State::Free, 12.0, 15.0),
    ];
    let comparison = compare(&[("a".into(), a)]);
    let json = serde_json::to_value(&comparison).unwrap();
    let states = json["sides"][0]["states"].as_array().unwrap();
    assert_eq!(states.len(), STATES.len());
    let of = |name: &str| {
        let found = states.iter().find(|s| s["state"] == name).unwrap();
        (
            found["times"].as_u64().unwrap(),
            found["time_s"].as_f64().unwrap(),
        )
    };
    assert_eq!(of("free"), (2, 13.0));
    assert_eq!(of("slack"), (1, 2.0));
    assert_eq!(of("cutting"), (0, 0.0));
    let text = text::text(&comparison, Units::Metric);
    assert!(text.contains("1 x, 2.0 s"), "{text}");
}

#[test]
fn difference_is_by_depth_and_missing_bins_are_null() {
    let comparison = compare(&[
        ("a".into(), result(&[1.0, 2.0, 3.0])),
        ("b".into(), result(&[1.5, 2.0])),
    ]);
    assert!(!comparison.same);
    let found: Vec<Option<f64>> = comparison
        .groove
        .iter()
        .map(|row| row.difference_mm[1])
        .collect();
    assert_eq!(found, [Some(0.5), Some(0.0), None]);
    let text = text::text(&comparison, Units::Metric);
    assert!(text.contains("The results differ."), "{text}");
    assert!(text.contains("Time slack"), "{text}");
    let html = page::page(
        &comparison,
        &[("a".into(), result(&[1.0])), ("<b>".into(), result(&[1.5]))],
        Units::Field,
    );
    assert!(html.contains("Groove less that of A") && !html.contains("NaN"));
}
