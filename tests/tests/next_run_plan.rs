//! What is planned after a run: in accord with what the run itself says is left, and with what other wheels would change.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{import, import_marked, recompute, replay};
use serde_json::Value;
use std::path::Path;

fn plan(run: &Path, extra: &[&str]) -> (Exit, String, String) {
    let run = run.display().to_string();
    let mut all = vec!["plan", run.as_str(), "--quiet"];
    all.extend_from_slice(extra);
    replay(&all)
}

fn plan_json(run: &Path, extra: &[&str]) -> Value {
    let all: Vec<&str> = extra.iter().chain(&["--json", "-"]).copied().collect();
    let (exit, text, err) = plan(run, &all);
    assert_eq!(exit, Exit::Well, "{err}");
    serde_json::from_str(&text).unwrap()
}

#[test]
fn a_plan_with_the_same_wheels_asks_for_about_the_strokes_that_the_run_says_are_left() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "cut", "Invented-1");
    let result = recompute(&run);
    let planned = plan_json(&run, &[]);
    assert_eq!(planned["stroke_counts"], 1.0);
    let of_joint = |key: &str| -> Vec<f64> {
        let joints = result["joints"].as_array().unwrap();
        joints.iter().filter_map(|j| j[key].as_f64()).collect()
    };
    let most = |key: &str| of_joint(key).into_iter().fold(0.0, f64::max);
    let whole = &planned["whole"];
    for (of_whole, of_joints) in [
        ("strokes_p50", "strokes_left_p50"),
        ("strokes_p90", "strokes_left_p90"),
    ] {
        let strokes = whole[of_whole].as_f64().unwrap();
        // The last place of all joints, but with strokes that all go over all of it: those near the turning points of the
        // run were reached by a part of them.
        assert!(strokes >= 0.4 * most(of_joints), "{whole}");
        assert!(strokes <= 1.5 * most(of_joints) + 2.0, "{whole}");
    }
    let hours = whole["hours_p50"].as_f64().unwrap();
    let each = whole["stroke_s"].as_f64().unwrap();
    assert!((hours - whole["strokes_p50"].as_f64().unwrap() * each / 3600.0).abs() < 1e-9);
    // Open stretches lie within the interval and the half metre beyond its ends, in order.
    let open = planned["stretches"].as_array().unwrap();
    assert!(!open.is_empty());
    let edges: Vec<f64> = open
        .iter()
        .flat_map(|s| {
            [
                s["top_m"].as_f64().unwrap(),
                s["bottom_m"].as_f64().unwrap(),
            ]
        })
        .collect();
    assert!(edges.is_sorted(), "{edges:?}");
    assert!(
        edges[0] >= 599.4 && *edges.last().unwrap() <= 609.6,
        "{edges:?}"
    );
}

/// Nothing may be put in before the marks of a run that stands alone: the crew that pressed the button late is believed as
/// far as it is in the result of the run.
#[test]
fn a_plan_and_the_result_of_a_run_whose_mark_came_late_tell_the_same_groove() {
    let dir = tempfile::tempdir().unwrap();
    let run = import_marked(dir.path(), "late", "Invented-1", &["190,cutter_out"]);
    let result = recompute(&run);
    let planned = plan_json(&run, &[]);
    let bins = result["groove"].as_array().unwrap().iter();
    let depths: Vec<f64> = bins
        .filter(|b| b["coupling"] == false)
        .filter(|b| b["top_m"].as_f64() > Some(599.99) && b["bottom_m"].as_f64() < Some(609.01))
        .filter_map(|b| b["depth_mm"].as_f64())
        .collect();
    let least = depths.iter().copied().fold(f64::INFINITY, f64::min);
    assert_eq!(planned["whole"]["least_mm"].as_f64().unwrap(), least);
}

#[test]
fn more_wheels_and_more_force_take_fewer_strokes_and_pull_harder() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "cut", "Invented-1");
    let planned = plan_json(&run, &[]);
    let choices = planned["choices"].as_array().unwrap();
    let own = choices.iter().find(|c| c["of_the_job"] == true).unwrap();
    let number = |c: &Value, key: &str| c[key].as_f64().unwrap();
    for other in choices {
        let more = number(other, "stroke_counts") - number(own, "stroke_counts");
        for (key, sign) in [
            ("pull_n", 1.0),
            ("margin_n", -1.0),
            ("down_reserve_n", -1.0),
        ] {
            let differs = number(other, key) - number(own, key);
            assert!(
                differs * sign * more >= -1e-9,
                "{key} of {other} against {own}"
            );
        }
        let strokes = |c: &Value| c["strokes_p50"].as_f64().unwrap_or(f64::INFINITY);
        assert!(
            (strokes(own) - strokes(other)) * more >= 0.0,
            "{other} against {own}"
        );
    }
    // The job of the coming run chooses; what it has otherwise counts.
    let wheels = number(own, "wheels");
    let doubled = format!("cutter.wheels={}", 2.0 * wheels);
    let with_more = plan_json(&run, &["--set", &doubled]);
    assert_eq!(with_more["stroke_counts"], 2.0);
    let (few, many) = (
        &with_more["whole"]["strokes_p50"],
        &planned["whole"]["strokes_p50"],
    );
    assert!(
        few.as_f64().unwrap() <= 0.5 * many.as_f64().unwrap() + 1.0,
        "{few} {many}"
    );
}

#[test]
fn a_plan_is_told_in_words_in_both_units_and_refuses_what_it_cannot_go_on_with() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "cut", "Invented-1");
    for (units, length) in [("metric", " m "), ("field", " ft ")] {
        let (exit, text, err) = plan(&run, &["--units", units]);
        assert_eq!(exit, Exit::Well, "{err}");
        assert!(text.contains(length) && text.contains("An aid"), "{text}");
        assert!(
            text.lines().all(|line| line.chars().count() <= 100),
            "{text}"
        );
    }
    let page = dir.path().join("plan.html").display().to_string();
    let (exit, text, err) = plan(&run, &["--html", &page]);
    assert_eq!(exit, Exit::Well, "{err}");
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("<svg") && page.contains("not a safety function"));
    // The page has every row that the text has.
    let of_wheels = text
        .lines()
        .filter(|line| line.split_whitespace().count() >= 9);
    let figures = of_wheels.filter(|line| line.trim().starts_with(|c: char| c.is_ascii_digit()));
    assert!(figures.count() >= 16, "{text}");
    assert!(page.matches("<tr").count() >= 16 + 3, "{page}");
    let (exit, _, err) = plan(&run, &["--set", "tubular.wall=9 mm"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("tubular"), "{err}");
    for (change, said) in [
        ("job.well=Invented-2", "its well is Invented-2"),
        (
            "job.interval_bottom=612 m",
            "3.0 m of the coming interval lie outside",
        ),
        ("cutter.contact_pressure=1.5 GPa", "changes nothing here"),
    ] {
        let (exit, text, err) = plan(&run, &["--set", change]);
        assert!(err.contains(said), "{change}: {err}");
        assert_eq!(
            exit == Exit::BadInput,
            change.starts_with("job.well"),
            "{change}"
        );
        assert!(exit == Exit::BadInput || text.contains("Mind "), "{text}");
    }
    let (exit, _, err) = plan(&dir.path().join("none"), &[]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("no such folder"), "{err}");
}

#[test]
fn before_anything_is_cut_a_plan_points_to_the_forecast() {
    let dir = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = dir.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    };
    let job = write(
        "job.toml",
        &kerfwatch_tests::invented_run::job("Invented-1"),
    );
    let samples = write(
        "s.csv",
        "time_s,load_n,depth_m\n0,2000,605\n1,2001,605.1\n2,2001,605.2\n",
    );
    let run = dir.path().join("run");
    let out = run.display().to_string();
    let (exit, _, err) = replay(&["import", "--job", &job, &samples, "--out", &out]);
    assert_eq!(exit, Exit::Well, "{err}");
    let (exit, _, err) = plan(&run, &[]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("forecast"), "{err}");
}
