//! The job a command works with: the one in the run folder, another one, and what-if changes.

pub use crate::args::JobChanges;
use crate::console::Console;
use crate::failure::{Failure, Finding};
use kerfwatch::job::{
    Dimension, Findings, Job, apply_set, differences, listed, parse_quantity, print_default_job,
    read_job, with_usual_unit,
};
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

impl JobInUse {
    /// Changes that reach the result through the bytes of the instruments only.
    pub(crate) fn calibration_changes(&self) -> impl Iterator<Item = &str> {
        let changes = self.changes.iter().map(String::as_str);
        changes.filter(|change| {
            let key = key_of(change);
            // What a counted metre means holds for metres that were counted elsewhere, too.
            key != "depth.counts" && (key.starts_with("load.") || key.starts_with("depth."))
        })
    }
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
        if let Some(problem) = no_section(change) {
            return Err(problem.into());
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
    shift_tally(&mut read.job, tally_shift_m, console);
    Ok(JobInUse {
        job: read.job,
        text: changed,
        changes: changes.to_vec(),
    })
}

/// What a job in use has otherwise than the one on record, in words: each `--set`, and what another job file changes.
/// Where the recorded job is lost (`None`) nothing says what differs, and the file stands in for it.
pub(crate) fn what_if(
    used: &JobInUse,
    changes: &JobChanges,
    recorded: Option<&str>,
) -> Vec<String> {
    let mut told = Vec::new();
    if let (Some(file), Some(text)) = (&changes.job, recorded) {
        let name = format!("job file {}", file.display());
        match read_job(text, "recorded job") {
            Ok(read) => {
                let mut differ = differences((&used.job, &used.text), (&read.job, text));
                // What --set changed is told as it was given.
                differ.retain(|d| !changes.set.iter().any(|set| key_of(set) == d.key));
                if !differ.is_empty() {
                    told.push(format!("{name}: {}", listed(&differ, "recorded")));
                }
            }
            Err(_) => told.push(format!(
                "{name}, instead of a recorded job that this program cannot read"
            )),
        }
    }
    told.extend(changes.set.iter().cloned());
    told
}

fn key_of(change: &str) -> &str {
    change.split('=').next().unwrap_or_default().trim()
}

/// Moves all couplings. A typing error would leave the interval without couplings: that is said.
fn shift_tally(job: &mut Job, by_m: f64, console: &mut Console<'_>) {
    let near = |job: &Job| {
        let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
        let span = top - NEAR_M..bottom + NEAR_M;
        job.couplings.iter().any(|c| span.contains(&c.si()))
    };
    let before = near(job);
    for coupling in &mut job.couplings {
        *coupling = *coupling + Metres(by_m);
    }
    if before && !near(job) {
        console.warn(format_args!(
            "tally_shift moves every coupling away from the interval ({by_m} m down); is that meant?"
        ));
    }
}

/// About a joint's length beyond the interval, m.
const NEAR_M: f64 = 15.0;

/// A key without its section: says which sections have it.
fn no_section(change: &str) -> Option<Finding> {
    let (key, value) = change.split_once('=')?;
    let (key, value) = (key.trim(), value.trim());
    if key.is_empty() || key.contains('.') || SECTIONLESS.contains(&key) {
        return None;
    }
    let mut section = String::new();
    let mut places = Vec::new();
    for line in print_default_job().lines() {
        // The sample shows keys that may be left out as comments.
        let line = line.trim_start_matches(['#', ' ']);
        if let Some(name) = line.strip_prefix("[[") {
            section = name.split(']').next().unwrap_or("").to_owned() + ".1";
        } else if let Some(name) = line.strip_prefix('[') {
            name.split(']')
                .next()
                .unwrap_or("")
                .clone_into(&mut section);
        } else if line.split('=').next().is_some_and(|k| k.trim() == key) && line.contains('=') {
            let name = section.trim_end_matches(".1");
            let place = format!("{section}.{key}={}", with_usual_unit(name, key, value));
            if !places.contains(&place) {
                places.push(place);
            }
        }
    }
    let remedy = if places.is_empty() {
        format!(
            "write section.key=value, e.g. cutter.contact_pressure=1.1 GPa, or tally_shift={value}"
        )
    } else {
        format!("write {}", places.join(" or "))
    };
    Some(Finding::new(
        "--set",
        format!("`{key}` names no section"),
        remedy,
    ))
}

/// Keys of a job file that stand outside sections.
const SECTIONLESS: [&str; 1] = ["tubular"];

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
