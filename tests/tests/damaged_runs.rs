//! A damaged recording is reported with exit code 3, and the result is written all the same.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{import, recompute, replay};
use std::path::{Path, PathBuf};

fn raw_segment(run: &Path) -> PathBuf {
    let mut files: Vec<PathBuf> = std::fs::read_dir(run)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.file_name().unwrap().to_string_lossy().starts_with("raw-"))
        .collect();
    files.sort();
    files.remove(0)
}

#[test]
fn flipped_bit_costs_one_block_and_is_told_by_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented-1");
    let whole = recompute(&run);
    let segment = raw_segment(&run);
    let mut bytes = std::fs::read(&segment).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    std::fs::write(&segment, bytes).unwrap();
    let text = |path: &Path| path.display().to_string();
    let run = text(&run);
    let json = text(&dir.path().join("result.json"));
    let (exit, out, err) = replay(&["recompute", &run, "--json", &json]);
    assert_eq!(exit, Exit::Damaged);
    assert!(
        err.contains("checksum") && out.contains("1 damaged block\n"),
        "{err}{out}"
    );
    let result: serde_json::Value = serde_json::from_slice(&std::fs::read(&json).unwrap()).unwrap();
    assert_eq!(result["quality"]["lost_blocks"], 1);
    assert!(result["run"]["samples"].as_u64() < whole["run"]["samples"].as_u64());
    let (exit, out, _) = replay(&["verify", &run, "--json"]);
    assert_eq!(exit, Exit::Damaged);
    let verified: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(verified["whole"], false);
    assert_eq!(verified["damage"].as_array().unwrap().len(), 1);
    let page = text(&dir.path().join("report.html"));
    let (exit, _, _) = replay(&["report", &run, "--out", &page]);
    assert_eq!(exit, Exit::Damaged);
    let page = std::fs::read_to_string(&page).unwrap();
    assert!(page.contains("<h3>Damage</h3>"));
}

#[test]
fn a_missing_segment_is_told_and_a_file_beside_the_record_is_no_damage() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented-1");
    std::fs::write(run.join("report.html"), "put here by somebody").unwrap();
    let path = run.display().to_string();
    let (exit, out, _) = replay(&["verify", &path]);
    assert_eq!(exit, Exit::Well, "{out}");
    assert!(
        out.contains("report.html: added later") && out.contains("Whole       yes"),
        "{out}"
    );
    std::fs::remove_file(raw_segment(&run)).unwrap();
    let (exit, out, _) = replay(&["verify", &path]);
    assert_eq!(exit, Exit::Damaged);
    assert!(
        out.contains("Whole       no: raw-00001.kwr missing"),
        "{out}"
    );
    let (exit, out, err) = replay(&["recompute", &path]);
    assert_eq!(exit, Exit::Damaged);
    assert!(err.contains("raw-00001.kwr is missing"), "{err}");
    assert!(
        out.contains("Data        no reading could be read, raw-00001.kwr missing\n"),
        "{out}"
    );
}

#[test]
fn run_without_its_head_is_used_when_the_job_is_given() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented-1");
    let whole = recompute(&run);
    std::fs::write(run.join("run.toml"), "junk").unwrap();
    let run = run.display().to_string();
    let (exit, _, err) = replay(&["recompute", &run]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("--job FILE"), "{err}");
    let job = dir.path().join("run-job.toml").display().to_string();
    let (exit, out, _) = replay(&["recompute", &run, "--job", &job, "--json", "-"]);
    assert_eq!(exit, Exit::Damaged);
    let result: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(result["strokes"], whole["strokes"]);
}
