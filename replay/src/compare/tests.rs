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
        depth_m: None,
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

#[test]
fn a_place_in_a_coupling_of_either_side_is_not_compared() {
    let (mut a, mut b) = (result(&[1.0, 2.0, 3.0]), result(&[1.5, 2.5, 3.5]));
    for (side, bin) in [(&mut a, 0), (&mut b, 1)] {
        side.groove[bin].coupling = true;
        side.groove[bin].depth_mm = 0.0;
    }
    let comparison = compare(&[("a".into(), a), ("b".into(), b)]);
    let of = |bin: usize| {
        let row = &comparison.groove[bin];
        (row.depth_mm.clone(), row.difference_mm[1])
    };
    assert_eq!(of(0), (vec![None, Some(1.5)], None));
    assert_eq!(of(1), (vec![Some(2.0), None], None));
    assert_eq!(of(2), (vec![Some(3.0), Some(3.5)], Some(0.5)));
}

#[test]
fn joints_of_both_sides_stand_side_by_side() {
    let with_joint = |split_fraction, strokes_left_p50| {
        let mut result = result(&[1.0, 2.0]);
        result.joints = vec![Joint {
            top_m: 100.0,
            bottom_m: 100.2,
            split_fraction,
            min_depth_mm: 1.0,
            strokes_left_p50,
            strokes_left_p90: Some(40.0),
        }];
        result
    };
    let sides = [
        ("a".into(), with_joint(0.24, Some(12.0))),
        ("b".into(), with_joint(0.5, None)),
    ];
    let comparison = compare(&sides);
    let text = text::text(&comparison, Units::Metric);
    assert!(text.contains("100.0-100.2: 24 %, 1.00, 12 to 40"), "{text}");
    assert!(text.contains("100.0-100.2: 50 %, 1.00, unknown"), "{text}");
    let json = serde_json::to_value(&comparison).unwrap();
    assert_eq!(json["sides"][0]["joints"][0]["strokes_left_p50"], 12.0);
    assert_eq!(json["sides"][1]["joints"][0]["split_fraction"], 0.5);
    let html = page::page(&comparison, &sides, Units::Metric);
    assert!(html.contains("part split by probability") && html.contains(", 1.00, "));
}

#[test]
fn what_if_results_on_file_are_labelled_as_such() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("b.json");
    let mut changed = result(&[1.0]);
    changed.run.what_if = vec!["cutter.wheels=8".to_owned()];
    std::fs::write(&path, serde_json::to_string(&changed).unwrap()).unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut console = Console::new(&mut out, &mut err, false);
    let (label, read, _) = load(&path, &JobChanges::default(), &mut console).unwrap();
    assert!(label.ends_with("b.json, cutter.wheels=8"), "{label}");
    assert_eq!(read, changed);
    // The usual result keeps its form.
    let usual = serde_json::to_string(&result(&[1.0])).unwrap();
    assert!(!usual.contains("what_if"), "{usual}");
}
