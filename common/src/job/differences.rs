//! Which values two jobs do not share, by the keys of the job file: for chains of runs with different jobs, to tell
//! a what-if from the record, and to say why a run that broke off does not go on.
//!
//! Sections whose checked values are the same are the same however they are written; in the others values are compared
//! as quantities.

use super::{Dimension, Job, parse_quantity};
use serde::Serialize;
use std::collections::BTreeMap;

/// A key with the values of both jobs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// As in the job file, e.g. `cutter.wheels`.
    pub key: String,
    /// As written in the job in question; `None` where it is not given.
    #[serde(rename = "of_run")]
    pub one: Option<String>,
    /// Likewise in the job that it is held against.
    #[serde(rename = "used")]
    pub other: Option<String>,
}

/// More of them fill the screen and hide the first.
const SHOWN: usize = 8;
/// The same quantity in another unit differs by rounding of the conversion, part.
const ROUNDING: f64 = 1e-9;

/// Values of two jobs that differ and that a result depends on, by key; each job with its text. Left out are names,
/// ports, where is recorded and sent, what is rung.
pub fn differences(one: (&Job, &str), other: (&Job, &str)) -> Vec<Difference> {
    let mut found = all_differences(one, other);
    found.retain(|difference| matters(&difference.key));
    found
}

/// All values of two jobs that differ, by key; each job with its text.
pub fn all_differences(one: (&Job, &str), other: (&Job, &str)) -> Vec<Difference> {
    let (a, b) = (written(one.1), written(other.1));
    let mut keys: Vec<&String> = a.keys().chain(b.keys()).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.into_iter()
        .filter(|key| !same_section(section(key), one.0, other.0))
        .filter(|key| match (a.get(*key), b.get(*key)) {
            (Some(a), Some(b)) => !same_value(a, b),
            _ => true,
        })
        .map(|key| Difference {
            key: key.clone(),
            one: a.get(key).cloned(),
            other: b.get(key).cloned(),
        })
        .collect()
}

/// `cutter.wheels 8 (recorded: 3), ...`; `word` is what the other job is called.
pub fn listed(differences: &[Difference], word: &str) -> String {
    let shown = |value: &Option<String>| value.clone().unwrap_or_else(|| "not given".to_owned());
    let mut parts: Vec<String> = (differences.iter().take(SHOWN))
        .map(|d| format!("{} {} ({word}: {})", d.key, shown(&d.one), shown(&d.other)))
        .collect();
    if differences.len() > SHOWN {
        parts.push(format!("and {} more", differences.len() - SHOWN));
    }
    parts.join(", ")
}

fn section(key: &str) -> &str {
    key.split('.').next().unwrap_or(key)
}

/// The result depends on it.
fn matters(key: &str) -> bool {
    const WIRING: [&str; 6] = ["port", "baud", "parity", "data_bits", "stop_bits", "poll"];
    let last = key.rsplit('.').next().unwrap_or(key);
    let is_wiring = matches!(section(key), "load" | "depth") && WIRING.contains(&last);
    let is_name = matches!(key, "job.name" | "job.display");
    let is_service = matches!(section(key), "record" | "page" | "forward");
    !is_wiring && !is_name && !is_service && !key.starts_with("alarm.output")
}

/// Both jobs come to the same in this section.
fn same_section(section: &str, a: &Job, b: &Job) -> bool {
    match section {
        "job" => a.info == b.info,
        "survey" => a.survey == b.survey,
        "fluid" => a.fluid == b.fluid,
        "line" => a.line == b.line,
        "tool" => a.tool == b.tool,
        "cutter" => a.cutter == b.cutter,
        "tubular" => a.tubular == b.tubular,
        "joint" => a.couplings == b.couplings,
        "load" => a.load == b.load,
        "depth" => a.depth == b.depth && a.counts == b.counts,
        "alarm" => a.alarm == b.alarm,
        "record" => a.record == b.record,
        "forward" => a.forward == b.forward,
        "page" => a.page == b.page,
        _ => true,
    }
}

/// Every value of a job's text by its key; repeated sections are counted from 1.
fn written(text: &str) -> BTreeMap<String, String> {
    let mut values = BTreeMap::new();
    // Checked before: a text that is no job never comes here.
    if let Ok(table) = toml::from_str::<toml::Table>(text) {
        flatten("", &toml::Value::Table(table), &mut values);
    }
    values
}

fn flatten(key: &str, value: &toml::Value, into: &mut BTreeMap<String, String>) {
    let below = |name: &str| match key {
        "" => name.to_owned(),
        _ => format!("{key}.{name}"),
    };
    match value {
        toml::Value::Table(table) => {
            for (name, value) in table {
                flatten(&below(name), value, into);
            }
        }
        toml::Value::Array(list) => {
            for (i, value) in list.iter().enumerate() {
                flatten(&below(&(i + 1).to_string()), value, into);
            }
        }
        toml::Value::String(text) => {
            let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
            into.insert(key.to_owned(), one_line);
        }
        other => {
            into.insert(key.to_owned(), other.to_string());
        }
    }
}

/// Equal as written, as numbers, or as quantities in whatever units.
fn same_value(a: &str, b: &str) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() <= ROUNDING * a.abs().max(b.abs());
    if a == b {
        return true;
    }
    if let (Ok(a), Ok(b)) = (a.parse(), b.parse()) {
        return near(a, b);
    }
    Dimension::ALL.into_iter().any(|dimension| {
        match (parse_quantity(a, dimension), parse_quantity(b, dimension)) {
            (Ok(a), Ok(b)) => near(a, b),
            _ => false,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{apply_set, print_default_job, read_job};

    fn both(changes: &[&str]) -> [String; 2] {
        let before = print_default_job();
        let mut after = before.to_owned();
        for change in changes {
            after = apply_set(&after, change).unwrap();
        }
        let read = |text: &str| read_job(text, "job.toml").unwrap().job;
        let (one, other) = (read(&after), read(before));
        [differences, all_differences]
            .map(|find| listed(&find((&one, &after), (&other, before)), "recorded"))
    }

    fn told(changes: &[&str]) -> String {
        let [told, _] = both(changes);
        told
    }

    #[test]
    fn values_that_differ_are_told_with_both_and_others_are_not() {
        assert_eq!(told(&[]), "");
        assert_eq!(
            told(&["cutter.wheels=8", "job.name=again", "record.folder=there"]),
            "cutter.wheels 8 (recorded: 3)"
        );
        assert_eq!(
            told(&["joint.2.coupling=2008 m"]),
            "joint.2.coupling 2008 m (recorded: 2007.7 m)"
        );
        assert_eq!(
            told(&["cutter.contact_pressure=1.1 GPa"]),
            "cutter.contact_pressure 1.1 GPa (recorded: not given)"
        );
    }

    #[test]
    fn what_no_result_depends_on_is_told_only_where_all_is_asked_for() {
        let [matters, all] = both(&["load.port=tcp:gateway:4001", "record.folder=there"]);
        assert_eq!(matters, "");
        assert_eq!(
            all,
            "load.port tcp:gateway:4001 (recorded: serial:/dev/ttyUSB0), record.folder there (recorded: runs)"
        );
    }

    #[test]
    fn another_way_of_writing_a_value_is_no_difference() {
        assert_eq!(told(&["cutter.radial_force=3000 N"]), "");
        assert_eq!(
            told(&["cutter.radial_force=3000 N", "cutter.wheels=2"]),
            "cutter.wheels 2 (recorded: 3)"
        );
    }
}
