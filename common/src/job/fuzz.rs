//! Body of the fuzz target of the job file: an ordinary function that must return, whatever the bytes.

use super::quantity::{Dimension, parse_quantity};
use super::{Job, apply_set, print_default_job, read_job, summary};

/// Reads `data` in one of four ways, chosen by its first byte: as a whole job file, as the value of one
/// key of the sample, as a quantity, as an assignment of `--set`. The job, when there is one.
///
/// # Panics
/// When reading answers with neither a job nor findings, or a finite quantity is none.
pub fn job_text(data: &[u8]) -> Option<Job> {
    let (&way, rest) = data.split_first()?;
    let text = std::str::from_utf8(rest).ok()?;
    match way % 4 {
        0 => read(text),
        1 => read(&with_value(text)?),
        2 => {
            for dimension in Dimension::ALL {
                if let Ok(si) = parse_quantity(text, dimension) {
                    assert!(si.is_finite(), "{text} is {si}");
                    assert!(!dimension.show(si).is_empty());
                }
            }
            None
        }
        _ => read(&apply_set(print_default_job(), text).ok()?),
    }
}

/// The sample with one value replaced: the first character of `text` says in which line.
fn with_value(text: &str) -> Option<String> {
    let line = text.chars().next()? as usize;
    let value = &text[text.chars().next()?.len_utf8()..];
    let keys = print_default_job()
        .lines()
        .filter(|line| line.contains(" = "))
        .count();
    let mut position = 0;
    let mut job = String::new();
    for old in print_default_job().lines() {
        match old.split_once(" = ") {
            Some((key, _)) => {
                let key = key.trim_start_matches('#');
                if position == line % keys {
                    job.push_str(&format!("{key} = {value}\n"));
                } else {
                    job.push_str(&format!("{old}\n"));
                }
                position += 1;
            }
            None => job.push_str(&format!("{old}\n")),
        }
    }
    Some(job)
}

fn read(text: &str) -> Option<Job> {
    match read_job(text, "job.toml") {
        Ok(read) => {
            assert!(read.job.info.interval_top.si().is_finite());
            assert!(!summary(&read.job).is_empty());
            for warning in &read.warnings {
                assert!(!warning.to_string().is_empty());
            }
            Some(read.job)
        }
        Err(findings) => {
            assert!(!findings.list.is_empty() && !findings.to_string().is_empty());
            let _ = findings.as_json();
            None
        }
    }
}
