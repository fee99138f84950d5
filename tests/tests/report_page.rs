//! The report of a run: one file that stands alone, well formed, with the caution once, and drawn by a
//! browser.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{import, replay};
use std::path::{Path, PathBuf};
use std::process::Command;

fn report(dir: &Path, well: &str, extra: &[&str]) -> (PathBuf, String) {
    let run = import(dir, "run", well);
    let out = dir.join("report.html");
    let (run_text, out_text) = (run.display().to_string(), out.display().to_string());
    let mut all = vec!["report", &run_text, "--out", &out_text];
    all.extend_from_slice(extra);
    let (exit, _, err) = replay(&all);
    assert_eq!(exit, Exit::Well, "{err}");
    let text = std::fs::read_to_string(&out).unwrap();
    (out, text)
}

#[test]
fn report_stands_alone_and_holds_what_an_engineer_asks_for() {
    let dir = tempfile::tempdir().unwrap();
    let (_, page) = report(dir.path(), "Invented-1", &[]);
    for word in [
        "<script", "http://", "https://", "src=", "@import", "url(h", "NaN", "inf ",
    ] {
        assert!(!page.contains(word), "the page holds `{word}`");
    }
    assert_eq!(page.matches("an aid, not a safety function").count(), 1);
    for heading in [
        "Groove and joints",
        "Tension",
        "Strokes",
        "Stalls, slack and alarms",
        "Line",
        "Calibration and friction",
        "Data quality",
        "Marks of the operator",
        "What these numbers rest on, and their limits",
    ] {
        assert!(page.contains(&format!("<h2>{heading}</h2>")), "{heading}");
    }
    assert!(page.contains("cutter out") && page.contains("2026-05-01 06:12 UTC"));
    assert!(page.matches("<svg").count() >= 6);
}

#[test]
fn names_with_markup_cannot_break_the_report_and_field_units_are_used() {
    let dir = tempfile::tempdir().unwrap();
    let (_, page) = report(dir.path(), "<b>A & 'B'</b>", &["--units", "field"]);
    assert!(page.contains("&lt;b&gt;A &amp; &#39;B&#39;&lt;/b&gt;"));
    assert!(page.contains("line tension, lbf") && page.contains("depth along hole, ft"));
    assert!(!page.contains("tension, N"));
}

#[test]
fn a_browser_draws_and_prints_the_report() {
    let dir = tempfile::tempdir().unwrap();
    let (file, _) = report(dir.path(), "Invented-1", &[]);
    let pdf = dir.path().join("report.pdf");
    let output = Command::new("chromium")
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-pdf-header-footer",
        ])
        .arg(format!(
            "--user-data-dir={}",
            dir.path().join("browser").display()
        ))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(&file)
        .output()
        .expect("chromium is missing: apt install chromium");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let bytes = std::fs::read(&pdf).unwrap();
    assert!(
        bytes.starts_with(b"%PDF") && bytes.len() > 20_000,
        "{} bytes",
        bytes.len()
    );
}
