//! The reduced set and its stored figures: a change that makes a column worse is seen in CI.

use super::measure::{Tally, measure};
use super::record::Record;
use super::total::{Column, columns};
use super::{ours, record};
use anyhow::{Context as _, Result};
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};

/// Scenarios of the reduced set: short records that between them ask every column.
pub const REDUCED: [&str; 3] = ["fast", "stalls", "unmarked"];

fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Where the family lives.
pub fn scenario_folder() -> PathBuf {
    workspace().join("fixtures/scenarios")
}

/// Where made records are kept.
pub fn cache_folder() -> PathBuf {
    workspace().join("target/scoreboard")
}

/// The stored figures.
pub fn snapshot_file() -> PathBuf {
    workspace().join("fixtures/scoreboard.json")
}

/// Scores the reduced set, seed 1.
pub fn reduced_set(cache: &Path) -> Result<Tally> {
    std::fs::create_dir_all(cache)?;
    let mut total = Tally::default();
    for path in record::family(&scenario_folder())? {
        let name = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        if REDUCED.contains(&name.as_str()) {
            let record = Record::get(&path, 1, cache)?;
            total.add(&measure(&record, &ours::estimate(&record)));
        }
    }
    Ok(total)
}

/// The file's text for a tally.
pub fn write(tally: &Tally) -> Result<String> {
    let mut figures = Map::new();
    for column in columns(tally) {
        let value = match column.value {
            Some(value) if value.is_finite() => json!((value * 1e4).round() / 1e4),
            Some(_) => json!("missed"),
            None => Value::Null,
        };
        figures.insert(
            column.name.into(),
            json!({"value": value, "tolerance": column.tolerance}),
        );
    }
    let all = json!({
        "made_by": "cargo run --release -p kerfwatch-tests --bin scoreboard -- --write-baseline",
        "scenarios": REDUCED,
        "columns": figures,
    });
    Ok(serde_json::to_string_pretty(&all)? + "\n")
}

/// Columns that are worse than stored by more than their tolerance, one line each.
pub fn worse(tally: &Tally, stored: &str) -> Result<Vec<String>> {
    let stored: Value = serde_json::from_str(stored).context("fixtures/scoreboard.json")?;
    let mut out = Vec::new();
    for column in columns(tally) {
        let before = &stored["columns"][column.name]["value"];
        let was = match before {
            Value::String(_) => f64::INFINITY,
            other => match other.as_f64() {
                Some(value) => value,
                None => continue,
            },
        };
        let Some(is) = column.value else {
            out.push(format!("{}: was {was}, now not told", column.name));
            continue;
        };
        let (now, then) = (
            Column::badness(column.better, is),
            Column::badness(column.better, was),
        );
        if now > then + column.tolerance {
            out.push(format!(
                "{}: was {was}, is {is}, tolerance {}",
                column.name, column.tolerance
            ));
        }
    }
    Ok(out)
}
