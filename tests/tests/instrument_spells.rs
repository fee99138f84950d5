//! A load cell that freezes and falls silent: result, summary and report say how often, when and for how long, and
//! their counts add up.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{recompute, replay};
use kerfwatch_tests::raw_run::record_with;
use serde_json::Value;
use std::path::PathBuf;

/// Frozen twice, silent once.
const FROZEN: [(f64, f64); 2] = [(150.0, 180.0), (230.0, 250.0)];
const SILENT: (f64, f64) = (200.0, 206.0);

fn run_with_faults(dir: &tempfile::TempDir) -> PathBuf {
    let mut held = None;
    record_with(dir.path(), "faults", "Invented-1", |t, load_n| {
        let within = |(from, to): &(f64, f64)| t >= *from && t < *to;
        if within(&SILENT) {
            return None;
        }
        if !FROZEN.iter().any(within) {
            held = None;
            return Some(load_n);
        }
        Some(*held.get_or_insert(load_n))
    })
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[test]
fn frozen_and_silent_spells_are_in_the_result_and_add_up() {
    let dir = tempfile::tempdir().unwrap();
    let run = run_with_faults(&dir);
    let result = recompute(&run);
    let quality = &result["quality"];
    let [load, depth] = quality["channels"].as_array().unwrap().as_slice() else {
        panic!("{quality}");
    };
    assert_eq!(
        (&load["channel"], &depth["channel"]),
        (&"load".into(), &"depth".into())
    );
    assert_eq!(
        (&load["frozen_spells"], &load["silences"]),
        (&2.into(), &1.into()),
        "{load}"
    );
    assert_eq!(
        (&depth["frozen_spells"], &depth["silences"]),
        (&0.into(), &0.into()),
        "{depth}"
    );
    for (spell, (from, to)) in load["frozen_at"].as_array().unwrap().iter().zip(FROZEN) {
        assert!((number(&spell["start_s"]) - from).abs() < 0.2, "{spell}");
        assert!((number(&spell["end_s"]) - to).abs() < 0.2, "{spell}");
    }
    // A silence is counted once, though the timeline of both has a hole too.
    assert_eq!(quality["gaps"], 1);
    let of = |key: &str| number(&load[key]) + number(&depth[key]);
    let set_aside = of("frozen_readings") + of("out_of_range") + of("spikes");
    assert_eq!(
        number(&result["run"]["samples"]),
        of("readings") - set_aside
    );
}

#[test]
fn summary_and_report_tell_them() {
    let dir = tempfile::tempdir().unwrap();
    let run = run_with_faults(&dir).display().to_string();
    let (exit, text, err) = replay(&["recompute", &run]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        text.contains("1 silence of an instrument, 2 frozen spells"),
        "{text}"
    );
    let line = text
        .lines()
        .find(|line| line.trim().starts_with("load cell: "))
        .unwrap();
    assert!(
        line.contains("silent once, 6.") && line.contains("frozen 2 times, 50."),
        "{line}"
    );

    let out = dir.path().join("report.html");
    let (exit, _, err) = replay(&["report", &run, "--out", &out.display().to_string()]);
    assert_eq!(exit, Exit::Well, "{err}");
    let page = std::fs::read_to_string(out).unwrap();
    for part in [
        "<td>Silences of an instrument</td><td>1</td>",
        "<td>Frozen spells of an instrument</td><td>2</td>",
        "<td>0:02:30</td><td>load cell frozen</td>",
        "<td>0:03:20</td><td>load cell silent</td><td>6.",
        "<td>0:03:50</td><td>load cell frozen</td>",
    ] {
        assert!(page.contains(part), "the page lacks: {part}");
    }
}
