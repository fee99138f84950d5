//! The job a command works with: the one in the run folder, another one, and what-if changes.

pub use crate::args::JobChanges;
use crate::console::Console;
use crate::failure::{Failure, Finding};
use kerfwatch::job::{Dimension, Findings, Job, apply_set, parse_quantity, read_job};
use kerfwatch::units::Metres;
use std::path::Path;

/// A checked job and the text it came from.
#[derive(Debug, Clone)]
pub struct JobInUse {
    /// The checked job.
    pub job: Job,
    /// Its text, changes included.
    pub text: String,
    /// What was changed, as given.
    pub changes: Vec<String>,
}

/// Reads a job file with changes; warnings are told.
///
/// # Errors
/// Unreadable file, or every fault in the job.
pub fn read_job_file(
    path: &Path,
    changes: &[String],
    console: &mut Console<'_>,
) -> Result<JobInUse, Failure> {
    let bytes = std::fs::read(path).map_err(|e| Failure::read(path, e))?;
    let name = path.display().to_string();
    let text = String::from_utf8(bytes).map_err(|e| {
        Finding::new(
            &name,
            format!(
                "the file is not UTF-8 text (byte {})",
                e.utf8_error().valid_up_to()
            ),
            "save it as UTF-8",
        )
    })?;
    read_text(&text, &name, changes, console)
}

/// Checks job text with changes. `name` is used in messages.
///
/// # Errors
/// Every fault in the job.
pub fn read_text(
    text: &str,
    name: &str,
    changes: &[String],
    console: &mut Console<'_>,
) -> Result<JobInUse, Failure> {
    let mut changed = text.to_owned();
    let mut tally_shift_m = 0.0;
    for change in changes {
        if let Some(value) = tally_shift(change) {
            tally_shift_m += parse_quantity(value, Dimension::Length).map_err(|problem| {
                Finding::new("--set", problem, "write e.g. tally_shift=0.4 m").field("tally_shift")
            })?;
            continue;
        }
        changed = apply_set(&changed, change).map_err(|problem| {
            Finding::new("--set", problem, "name a section and key of the job file")
        })?;
    }
    let name = if changes.is_empty() {
        name.to_owned()
    } else {
        format!("{name} (with --set)")
    };
    let mut read = read_job(&changed, &name).map_err(|findings| job_failure(&findings))?;
    for warning in &read.warnings {
        console.talk(format_args!("note: {warning}"));
    }
    for coupling in &mut read.job.couplings {
        *coupling = *coupling + Metres(tally_shift_m);
    }
    Ok(JobInUse {
        job: read.job,
        text: changed,
        changes: changes.to_vec(),
    })
}

fn tally_shift(change: &str) -> Option<&str> {
    let (key, value) = change.split_once('=')?;
    (key.trim() == "tally_shift").then(|| value.trim().trim_matches('"'))
}

/// The core's findings as ours.
fn job_failure(findings: &Findings) -> Failure {
    let list = findings.list.iter().map(|f| {
        let place = match (f.section.is_empty(), f.key.is_empty()) {
            (true, true) => None,
            (true, false) => Some(f.key.clone()),
            (false, true) => Some(format!("[{}]", f.section)),
            (false, false) => Some(format!("[{}] {}", f.section, f.key)),
        };
        let remedy = format!("write {}", f.write);
        let mut problem = format!("found {}", f.found);
        if !f.source.trim().is_empty() {
            problem += &format!("\n  {:>4} | {}", f.line, f.source.trim_end());
        }
        let finding = Finding::new(&f.file, problem, remedy).at(f.line as u64);
        match place {
            Some(place) => finding.field(place),
            None => finding,
        }
    });
    Failure::Input(list.collect())
}
