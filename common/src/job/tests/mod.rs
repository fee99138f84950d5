//! Facts about reading a job file: what is accepted, and how each fault reads.

mod accepted;
mod any_text;
mod faults;
mod ports;

use super::*;

/// The least a job needs.
const LEAST: &str = r#"
[job]
interval_top = "1000 m"
interval_bottom = "1019 m"
[fluid]
density = "1000 kg/m3"
[line]
diameter = "0.108 in"
breaking_load = "9.38 kN"
[tool]
mass = "60 kg"
weak_point = "6 kN"
cutter_offset = "2.4 m"
[cutter]
wheels = 3
radius = "15 mm"
edge_angle = "40 deg"
reach = "9 mm"
radial_force = "3 kN"
[tubular]
od = "88.9 mm"
wall = "6.45 mm"
"#;

fn read(text: &str) -> Job {
    read_job(text, "job.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job
}

fn faults(text: &str) -> Findings {
    match read_job(text, "job.toml") {
        Ok(_) => panic!("no fault found"),
        Err(findings) => findings,
    }
}

/// The sample with one line changed.
fn sample(from: &str, to: &str) -> String {
    let text = print_default_job();
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1)
}

/// The one fault that a change of the sample gives, as text.
fn fault_of(from: &str, to: &str) -> String {
    let text = sample(from, to);
    let findings = faults(&text);
    assert_eq!(findings.list.len(), 1, "{findings}");
    let finding = &findings.list[0];
    assert!(finding.line > 1 && !finding.found.is_empty() && !finding.write.is_empty());
    findings.to_string()
}

fn warning_of(from: &str, to: &str) -> String {
    let text = sample(from, to);
    let read = read_job(&text, "job.toml").unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(read.warnings.len(), 1, "{:?}", read.warnings);
    read.warnings[0].to_string()
}
