//! Post-job work on a run of raw bytes, as the daemon records it, gives what the import of the same
//! readings gives, and says what was wrong with the bytes.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{import, recompute, replay};
use kerfwatch_tests::peers::ask;
use kerfwatch_tests::raw_run::{garbage_lines, record};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn list<'v>(result: &'v Value, key: &str) -> &'v Vec<Value> {
    result[key].as_array().unwrap()
}

fn export(run: &Path, format: &str, out: &Path) -> String {
    let (run, out_text) = (run.display().to_string(), out.display().to_string());
    let all = ["export", &run, "--format", format, "--out", &out_text];
    let (exit, _, err) = replay(&all);
    assert_eq!(exit, Exit::Well, "{format}: {err}");
    err
}

#[test]
fn raw_bytes_give_the_strokes_and_groove_of_the_readings_they_carry() {
    let dir = tempfile::tempdir().unwrap();
    let raw = recompute(&record(dir.path(), "raw", "Invented-1"));
    let imported = recompute(&import(dir.path(), "run", "Invented-1"));
    assert_eq!(raw["quality"]["bad_frames"], garbage_lines());
    assert_eq!(imported["quality"]["bad_frames"], 0);
    let (a, b) = (list(&raw, "strokes"), list(&imported, "strokes"));
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(b) {
        assert_eq!(a["direction"], b["direction"]);
        // Counts of half a newton and ten-thousandths of a foot, each line with one decimal more.
        for (key, within) in [
            ("start_s", 0.06),
            ("top_m", 0.01),
            ("bottom_m", 0.01),
            ("peak_tension_n", 0.5),
        ] {
            let (x, y) = (a[key].as_f64().unwrap(), b[key].as_f64().unwrap());
            assert!((x - y).abs() <= within, "{key}: {x} raw, {y} imported");
        }
    }
    for (a, b) in list(&raw, "groove").iter().zip(list(&imported, "groove")) {
        let depth = |bin: &Value| bin["depth_mm"].as_f64().unwrap();
        assert!((depth(a) - depth(b)).abs() < 0.1, "{a} raw, {b} imported");
    }
}

#[test]
fn report_of_a_raw_run_shows_calibration_and_bad_frames() {
    let dir = tempfile::tempdir().unwrap();
    let run = record(dir.path(), "raw", "Invented-1");
    let out = dir.path().join("report.html");
    let (run_text, out_text) = (run.display().to_string(), out.display().to_string());
    let (exit, _, err) = replay(&["report", &run_text, "--out", &out_text]);
    assert_eq!(exit, Exit::Well, "{err}");
    let page = std::fs::read_to_string(out).unwrap();
    let bad = recompute(&run)["quality"]["bad_frames"].to_string();
    for part in [
        "0.500000 N per unit, tare 400, cell in the deadline",
        "0.30480000 m per unit",
        &format!("<td>Frames that did not decode</td><td>{bad}</td>"),
        "files as sealed at the end of the run",
        "<h3>Found in this run</h3>",
    ] {
        assert!(page.contains(part), "the page lacks: {part}");
    }
    assert!(!page.contains("NaN") && page.matches("<svg").count() >= 6);
}

#[test]
fn exports_of_a_raw_run_are_read_back_by_others() {
    let dir = tempfile::tempdir().unwrap();
    let run = record(dir.path(), "raw", "Invented-1");
    let result = recompute(&run);
    let file = |name: &str| -> PathBuf { dir.path().join(name) };
    export(&run, "las", &file("groove.las"));
    let las = ask("read_las.py", &[&file("groove.las")]);
    assert_eq!(las["well"]["DATE"], "2026-05-01 06:12:00");
    let curve = list(&las["curves"], "GRV");
    assert_eq!(curve.len(), list(&result, "groove").len());
    export(&run, "hdr", &file("tension.hlog"));
    let log = ask("read_hdr.py", &[&file("tension.hlog")]);
    let of_strokes = list(&log, "lines").iter();
    let of_strokes = of_strokes.filter(|l| l["tag"] != "stalled").count();
    assert_eq!(of_strokes, list(&result, "strokes").len());
    export(&run, "parquet", &file("groove.parquet"));
    let table = ask("read_parquet.py", &[&file("groove.parquet")]);
    let depths = list(&table["columns"], "depth_mm");
    for (found, bin) in depths.iter().zip(list(&result, "groove")) {
        assert_eq!(*found, bin["depth_mm"]);
    }
    export(&run, "line-protocol", &file("run.lp"));
    let lines = std::fs::read_to_string(file("run.lp")).unwrap();
    let strokes = lines.lines().filter(|l| l.starts_with("stroke,")).count();
    assert_eq!(strokes, list(&result, "strokes").len());
    // Run start in nanoseconds since 1970 plus the start of the stroke.
    let first = lines.lines().find(|l| l.starts_with("stroke,")).unwrap();
    let at: i64 = first.rsplit(' ').next().unwrap().parse().unwrap();
    let start = result["strokes"][0]["start_s"].as_f64().unwrap();
    let want = kerfwatch_tests::invented_run::START_UNIX_S as f64 * 1e9 + start * 1e9;
    assert!((at as f64 - want).abs() < 1e6, "{at} instead of {want}");
}

#[test]
fn batch_takes_raw_and_imported_runs_alike() {
    let dir = tempfile::tempdir().unwrap();
    let archive = dir.path().join("archive");
    std::fs::create_dir(&archive).unwrap();
    record(&archive, "raw", "Invented-1");
    import(&archive, "imported", "Invented-2");
    let out = dir.path().join("joints").display().to_string();
    let archive = archive.display().to_string();
    let (exit, text, err) = replay(&["batch", &archive, "--out", &out, "--json"]);
    assert_eq!(exit, Exit::Well, "{err}");
    let runs: Value = serde_json::from_str(&text).unwrap();
    let runs = runs.as_array().unwrap();
    assert_eq!(runs.len(), 2);
    assert!(
        runs.iter()
            .all(|r| r["status"] == "recomputed" && r["joints"] == 2)
    );
}
