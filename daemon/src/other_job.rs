//! An earlier run that does not go on by itself: in what its job file differs, and how to go on with it.
//!
//! A run is read back and goes on with one job only. An edit of the job file therefore starts a new run, and strokes
//! and groove begin again: whoever changed one limit has to be told so, and what to put back.

use kerfwatch::job::{Job, all_differences, listed, read_job};
use std::path::Path;

/// In what `job` with its text differs from the one on record, in words; `None` where both come to the same.
pub fn differs(recorded: &str, (job, text): (&Job, &str)) -> Option<String> {
    if recorded == text {
        return None;
    }
    let Ok(read) = read_job(recorded, "run.toml") else {
        return Some(
            "in what it holds: this version of the program cannot read that one".to_owned(),
        );
    };
    // A comment or a blank line is no other job.
    if read.job == *job {
        return None;
    }
    let found = all_differences((job, text), (&read.job, recorded));
    Some(if found.is_empty() {
        "in how its values are written".to_owned()
    } else {
        format!("in {}", listed(&found, "there"))
    })
}

/// What the crew is told when the newest run has another job and a new one starts.
pub fn new_run_instead(folder: &Path, differs: &str) -> String {
    format!(
        "the job file differs from that of unfinished run {} {differs}: this is a new run, strokes and groove start at \
         nothing, only open alarms are taken over; to go on with that run, stop this one, put back the values in brackets and \
         start with --resume {}",
        name(folder),
        folder.display()
    )
}

/// What the crew is told when the newest run of the well was ended in order: by whom and why, nobody knows here.
pub fn ended_before(folder: &Path, differs: Option<&str>, command: &str) -> String {
    let (job, back) = match differs {
        None => (String::new(), " and "),
        Some(differs) => (
            format!(", and the job file differs from its own {differs}"),
            ", put back the values in brackets and ",
        ),
    };
    format!(
        "run {0} of this well was ended not long ago{job}: this is a new run, strokes and groove start at nothing, only open \
         alarms are taken over; to go on with that run, stop this one{back}start with: {command}; the groove of both \
         together, when this one has ended: kerfwatch-replay chain {1} THIS RUN",
        name(folder),
        folder.display()
    )
}

/// What the crew is told of an earlier run of this very job, behind which others were recorded.
pub fn left_behind(folder: &Path, command: &str) -> String {
    format!(
        "run {} of this very job broke off and stays so, as another was recorded after it; to go on with it, stop this \
         one and start with: {command}",
        name(folder)
    )
}

/// The command that goes on with a run, as it would be typed.
pub fn resume_command(job: &Path, set: &[String], folder: &Path) -> String {
    let sets: String = set.iter().map(|set| format!(" --set '{set}'")).collect();
    format!(
        "kerfwatchd run {}{sets} --resume {}",
        job.display(),
        folder.display()
    )
}

/// The run's own name, which the page and the log have told.
fn name(folder: &Path) -> String {
    let name = folder.file_name().unwrap_or(folder.as_os_str());
    name.to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{apply_set, print_default_job};

    fn told(edit: impl Fn(&str) -> String) -> Option<String> {
        let recorded = print_default_job();
        let text = edit(recorded);
        let job = read_job(&text, "job.toml").unwrap().job;
        differs(recorded, (&job, &text))
    }

    #[test]
    fn another_job_is_told_by_key_and_both_values_and_a_comment_is_none() {
        assert_eq!(told(str::to_owned), None);
        assert_eq!(told(|text| format!("# well 7\n{text}\n")), None);
        let edited = told(|text| apply_set(text, "alarm.overpull=1900 N").unwrap());
        assert_eq!(
            edited.as_deref(),
            Some("in alarm.overpull 1900 N (there: 2 kN)")
        );
        let note = new_run_instead(Path::new("runs/20250101T000000Z-aaaa"), &edited.unwrap());
        assert!(note.contains(
            "unfinished run 20250101T000000Z-aaaa in alarm.overpull 1900 N (there: 2 kN): this is a new run"
        ));
        assert!(note.ends_with("start with --resume runs/20250101T000000Z-aaaa"));
    }

    /// What the result does not depend on keeps a run from going on as well: it has to be named too.
    #[test]
    fn another_port_is_told() {
        let edited = told(|text| apply_set(text, "load.port=tcp:gateway:4001").unwrap()).unwrap();
        assert!(
            edited.contains("load.port tcp:gateway:4001 (there: serial:"),
            "{edited}"
        );
    }

    #[test]
    fn the_command_to_go_on_with_a_run_has_the_changes_that_made_its_job() {
        let set = ["alarm.overpull=1900 N".to_owned()];
        let command = resume_command(Path::new("job.toml"), &set, Path::new("runs/a"));
        assert_eq!(
            command,
            "kerfwatchd run job.toml --set 'alarm.overpull=1900 N' --resume runs/a"
        );
    }
}
