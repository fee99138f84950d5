//! What is wrong with a job file, in words a technician can act on.
//!
//! A [`Finding`] names file, line, section and key, says what was found there and what to write
//! instead, and quotes the line. [`Findings`] holds all of them, not only the first, in file order.

use serde::Serialize;
use std::fmt;

/// One fault, or one warning, in a job file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// File name as given by the caller.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1, in characters.
    pub column: usize,
    /// Section, e.g. `line`, `joint 3`; empty above the first section.
    pub section: String,
    /// Key within the section; empty when the section as a whole is meant.
    pub key: String,
    /// What is there.
    pub found: String,
    /// What to write instead.
    pub write: String,
    /// Nearest known key or section, when one is near.
    pub nearest: Option<String>,
    /// The source line as it stands.
    pub source: String,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:", self.file, self.line)?;
        if !self.section.is_empty() {
            write!(f, " [{}]", self.section)?;
        }
        if !self.key.is_empty() {
            write!(f, " {}", self.key)?;
        }
        if !self.section.is_empty() || !self.key.is_empty() {
            f.write_str(":")?;
        }
        write!(f, " found {}; write {}", self.found, self.write)?;
        if !self.source.trim().is_empty() {
            // The line number again, so that the quoted line stands by itself.
            write!(f, "\n  {:>4} | {}", self.line, self.source.trim_end())?;
        }
        Ok(())
    }
}

/// All faults of a job file; never empty.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Findings {
    /// In the order of the file.
    pub list: Vec<Finding>,
}

impl Findings {
    /// The findings as a JSON array, one object each.
    pub fn as_json(&self) -> serde_json::Value {
        serde_json::to_value(&self.list).unwrap_or(serde_json::Value::Null)
    }
}

impl fmt::Display for Findings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (position, finding) in self.list.iter().enumerate() {
            if position > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{finding}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Findings {}

/// Nearest of `known` to `word`, when it is near enough to be what was meant.
pub(super) fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let word = word.to_ascii_lowercase();
    known
        .into_iter()
        .map(|k| {
            // One name inside the other ("pressure", "wellhead_pressure") is near, too.
            let inside = word.len() >= 3 && (k.contains(&word) || word.contains(k));
            let score = strsim::jaro_winkler(&word, k);
            (if inside { score.max(0.9) } else { score }, k)
        })
        .filter(|(score, _)| *score >= 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}
