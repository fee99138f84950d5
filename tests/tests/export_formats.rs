//! Exports read back by readers that others wrote: lasio, pyarrow, the Python hdrhistogram package.
//! Values are compared with the JSON of `recompute`.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{START_UNIX_S, import, recompute, replay};
use kerfwatch_tests::peers::ask;
use serde_json::Value;
use std::path::{Path, PathBuf};

struct Exported {
    _dir: tempfile::TempDir,
    file: PathBuf,
    result: Value,
}

fn export(format: &str, extra: &[&str]) -> Exported {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented-1");
    let file = dir.path().join(format!("out.{format}"));
    let (run_text, file_text) = (run.display().to_string(), file.display().to_string());
    let mut all = vec!["export", &run_text, "--format", format, "--out", &file_text];
    all.extend_from_slice(extra);
    let (exit, _, err) = replay(&all);
    assert_eq!(exit, Exit::Well, "{err}");
    let result = recompute(&run);
    Exported {
        _dir: dir,
        file,
        result,
    }
}

fn column(list: &Value, key: &str) -> Vec<f64> {
    let items = list.as_array().unwrap();
    items.iter().map(|x| x[key].as_f64().unwrap()).collect()
}

fn numbers(list: &Value) -> Vec<f64> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

fn assert_near(found: &[f64], want: &[f64], within: f64, what: &str) {
    assert_eq!(found.len(), want.len(), "{what}");
    for (f, w) in found.iter().zip(want) {
        assert!((f - w).abs() <= within, "{what}: {f} instead of {w}");
    }
}

#[test]
fn invented_run_has_strokes_and_a_groove_worth_exporting() {
    let dir = tempfile::tempdir().unwrap();
    let result = recompute(&import(dir.path(), "run", "Invented-1"));
    assert!(
        result["strokes"].as_array().unwrap().len() >= 20,
        "{}",
        result["strokes"]
    );
    assert_eq!(result["joints"].as_array().unwrap().len(), 2);
    // The interval, 600 to 609 m, and of what lies beyond it all that the strokes went over.
    let groove = result["groove"].as_array().unwrap();
    let middle = |bin: &Value| bin["top_m"].as_f64().unwrap() + 0.05;
    let (inside, beyond): (Vec<_>, Vec<_>) = groove
        .iter()
        .partition(|bin| (600.0..609.0).contains(&middle(bin)));
    assert_eq!(inside.len(), 90);
    let went_over = |depth: f64| {
        result["strokes"].as_array().unwrap().iter().any(|stroke| {
            stroke["top_m"].as_f64() <= Some(depth) && stroke["bottom_m"].as_f64() >= Some(depth)
        })
    };
    assert!(beyond.len() >= 4, "{} beyond", beyond.len());
    assert!(beyond.iter().all(|bin| went_over(middle(bin))));
    assert!(
        beyond
            .iter()
            .any(|bin| bin["depth_mm"].as_f64() > Some(0.5))
    );
}

#[test]
fn las_is_read_back_by_lasio_to_its_stated_precision() {
    let exported = export("las", &[]);
    let las = ask("read_las.py", &[&exported.file]);
    assert_eq!(las["version"], 2.0);
    assert_eq!(las["wrap"], "NO");
    assert_eq!(las["well"]["WELL"], "Invented-1");
    assert_eq!(las["well"]["DATE"], "2026-05-01 06:12:00");
    assert_near(
        &[las["well"]["STRT"].as_f64().unwrap()],
        &[exported.result["groove"][0]["top_m"].as_f64().unwrap()],
        5e-5,
        "STRT",
    );
    assert_eq!(las["well"]["STEP"], 0.1);
    assert_eq!(las["well"]["NULL"], -999.25);
    assert_eq!(las["units"]["DEPT"], "M");
    assert_eq!(las["units"]["GRV"], "MM");
    assert_eq!(las["parameters"]["WHLS"], 3);
    let groove = &exported.result["groove"];
    for (curve, key, within) in [
        ("DEPT", "top_m", 5e-5),
        ("GRV", "depth_mm", 5e-5),
        ("GRVL", "low_mm", 5e-5),
        ("GRVH", "high_mm", 5e-5),
        ("WALL", "wall_mm", 5e-5),
        ("PASS", "passes", 0.0),
        ("PTHR", "through_probability", 5e-7),
    ] {
        assert_near(
            &numbers(&las["curves"][curve]),
            &column(groove, key),
            within,
            curve,
        );
    }
}

#[test]
fn lasio_reads_what_a_what_if_has_changed_as_it_was_given() {
    let exported = export("las", &["--set", "cutter.wheels=4"]);
    let las = ask("read_las.py", &[&exported.file]);
    let changes = exported_changes(&las);
    assert_eq!(changes, ["cutter.wheels=4"]);
    let said = las["descriptions"]["WIF1"].as_str().unwrap();
    assert_eq!(said, "what-if, not the job on record, changed");
}

/// Values of the parameters that say what was changed, in order.
fn exported_changes(las: &Value) -> Vec<&str> {
    let parameters = las["parameters"].as_object().unwrap();
    let changes = parameters
        .iter()
        .filter(|(name, _)| name.starts_with("WIF"));
    changes.filter_map(|(_, value)| value.as_str()).collect()
}

#[test]
fn parquet_tables_are_read_back_by_pyarrow_without_loss() {
    for (name, key) in [
        ("groove", "groove"),
        ("strokes", "strokes"),
        ("intervals", "intervals"),
        ("joints", "joints"),
        ("line-wear", "line_wear"),
    ] {
        let exported = export("parquet", &["--table", name]);
        let table = ask("read_parquet.py", &[&exported.file]);
        assert_eq!(table["about"]["kerfwatch.well"], "Invented-1");
        assert_eq!(
            table["about"]["kerfwatch.start_utc_ns"],
            format!("{START_UNIX_S}000000000")
        );
        let rows = exported.result[key].as_array().unwrap();
        for (column, values) in table["columns"].as_object().unwrap() {
            let values = values.as_array().unwrap();
            assert_eq!(values.len(), rows.len(), "{name}.{column}");
            for (value, row) in values.iter().zip(rows) {
                let same = match (value.as_f64(), row[column].as_f64()) {
                    (Some(a), Some(b)) => a.to_bits() == b.to_bits(),
                    _ => *value == row[column],
                };
                assert!(same, "{name}.{column}: {value} instead of {}", row[column]);
            }
        }
        if name == "strokes" {
            assert_eq!(table["types"]["n"], "int64");
            assert_eq!(table["types"]["direction"], "string");
            assert_eq!(table["types"]["mean_drag_n"], "double");
        }
    }
}

#[test]
fn csv_numbers_read_back_to_the_same_bits() {
    let exported = export("csv", &["--table", "strokes"]);
    let text = std::fs::read_to_string(&exported.file).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let strokes = exported.result["strokes"].as_array().unwrap();
    let mut rows = 0;
    for (line, stroke) in lines.zip(strokes) {
        rows += 1;
        for (name, cell) in head.iter().zip(line.split(',')) {
            match stroke[*name].as_f64() {
                Some(want) => {
                    assert_eq!(
                        cell.parse::<f64>().unwrap().to_bits(),
                        want.to_bits(),
                        "{name}"
                    );
                }
                None => assert_eq!(cell, stroke[*name].as_str().unwrap()),
            }
        }
    }
    assert_eq!(rows, strokes.len());
}

#[test]
fn hdr_log_is_read_back_by_another_implementation_with_times_and_tags() {
    let exported = export("hdr", &[]);
    let log = ask("read_hdr.py", &[&exported.file]);
    let lines = log["lines"].as_array().unwrap();
    let strokes = exported.result["strokes"].as_array().unwrap();
    let of_strokes: Vec<&Value> = lines.iter().filter(|l| l["tag"] != "stalled").collect();
    assert_eq!(of_strokes.len(), strokes.len());
    for (line, stroke) in of_strokes.iter().zip(strokes) {
        let tag = line["tag"].as_str().unwrap();
        assert!(
            tag.starts_with(stroke["direction"].as_str().unwrap()),
            "{tag}"
        );
        let start = stroke["start_s"].as_f64().unwrap();
        let found = line["start_ms"].as_f64().unwrap() / 1e3;
        // The log holds seconds with three decimals.
        let since = found - START_UNIX_S as f64;
        assert!(
            (since - start).abs() < 0.002 || (found - start).abs() < 0.002,
            "{found} for a stroke at {start}"
        );
        let peak = stroke["peak_tension_n"].as_f64().unwrap();
        let max = line["max"].as_f64().unwrap();
        // The peak of a stroke counts from turn to turn, the histogram between its ends.
        assert!(max <= peak * 1.002 + 1.0, "{max} above {peak}");
        if tag.starts_with("up") {
            assert!(max >= 0.95 * peak, "{max} far below {peak}");
        }
        assert!(line["count"].as_u64().unwrap() > 100);
    }
}

#[test]
fn line_protocol_without_a_start_time_says_what_to_give() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented-1");
    let head = std::fs::read_to_string(run.join("run.toml")).unwrap();
    let unknown = head
        .lines()
        .map(|l| {
            if l.starts_with("started_unix_ns") {
                "started_unix_ns = 0"
            } else {
                l
            }
        })
        .collect::<Vec<_>>()
        .join("\n");
    std::fs::write(run.join("run.toml"), unknown).unwrap();
    let (exit, _, err) = replay(&[
        "export",
        &run.display().to_string(),
        "--format",
        "line-protocol",
        "--out",
        "-",
    ]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("--start: the recording does not say"), "{err}");
}

#[test]
fn batch_dataset_is_queried_by_datafusion_and_resumes() {
    let dir = tempfile::tempdir().unwrap();
    let archive = dir.path().join("archive");
    std::fs::create_dir_all(archive.join("2026/spring")).unwrap();
    import(&archive, "one", "Invented-1");
    import(&archive.join("2026/spring"), "two", "Invented-2");
    std::fs::create_dir(archive.join("empty")).unwrap();
    let out = dir.path().join("joints");
    let batch = |extra: &[&str]| {
        let (archive, out) = (archive.display().to_string(), out.display().to_string());
        let mut all = vec!["batch", &archive, "--out", &out];
        all.extend_from_slice(extra);
        replay(&all)
    };
    let (exit, text, err) = batch(&[]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(text.contains("recomputed   2 runs"), "{text}");
    let (_, text, _) = batch(&["--threads", "1"]);
    assert!(text.contains("known        2 runs"), "{text}");
    let rows = ask("query_dataset.py", &[&out as &Path]);
    let wells = rows["by_well"].as_array().unwrap();
    assert_eq!(wells.len(), 2);
    assert_eq!(wells[0]["well"], "Invented-1");
    assert_eq!(
        (&wells[0]["runs"], &wells[0]["joints"]),
        (&1.into(), &2.into())
    );
    let one = rows["of_one"].as_array().unwrap();
    assert_eq!(one[0]["top_m"], 600.0);
    // A copy of a run is seen as such, and a damaged run does not stop the others.
    let copy = archive.join("three");
    std::fs::create_dir(&copy).unwrap();
    for file in std::fs::read_dir(archive.join("one")).unwrap() {
        let file = file.unwrap();
        std::fs::copy(file.path(), copy.join(file.file_name())).unwrap();
    }
    let (exit, text, _) = batch(&[]);
    assert_eq!(exit, Exit::Well);
    assert!(text.contains("copy         1 runs"), "{text}");
}
