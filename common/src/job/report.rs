//! Collects findings and warnings while a job file is read, and knows where each key stands.

use super::findings::{Finding, Findings};
use super::quantity::Dimension;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ops::Range;

/// Findings so far, with the text they point into.
#[derive(Debug)]
pub(super) struct Report<'t> {
    file: &'t str,
    text: &'t str,
    /// Start of each line, in bytes.
    lines: Vec<usize>,
    places: RefCell<BTreeMap<(String, String), Range<usize>>>,
    findings: RefCell<Vec<Finding>>,
    warnings: RefCell<Vec<Finding>>,
}

impl<'t> Report<'t> {
    pub(super) fn new(file: &'t str, text: &'t str) -> Self {
        let lines = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at + 1))
            .collect();
        Self {
            file,
            text,
            lines,
            places: RefCell::default(),
            findings: RefCell::default(),
            warnings: RefCell::default(),
        }
    }

    /// Notes where a key (or, with an empty key, a section) stands.
    pub(super) fn place(&self, section: &str, key: &str, at: Range<usize>) {
        self.places
            .borrow_mut()
            .insert((section.to_owned(), key.to_owned()), at);
    }

    /// Key if it stands in the file, else its section; `None` where neither does.
    fn place_of(&self, section: &str, key: &str) -> Option<usize> {
        let places = self.places.borrow();
        let of = |s: &str, k: &str| places.get(&(s.to_owned(), k.to_owned())).map(|r| r.start);
        of(section, key)
            .or_else(|| of(section, ""))
            .or_else(|| of(section.split(' ').next().unwrap_or_default(), ""))
    }

    fn finding(&self, section: &str, key: &str, found: String, write: String) -> Finding {
        if let Some(at) = self.place_of(section, key) {
            return self.finding_at(at, section, key, found, write);
        }
        // What is not there is put at the end of the file; the line that stands there has nothing to do with it.
        Finding {
            source: String::new(),
            ..self.finding_at(self.text.trim_end().len(), section, key, found, write)
        }
    }

    fn finding_at(
        &self,
        at: usize,
        section: &str,
        key: &str,
        found: String,
        write: String,
    ) -> Finding {
        let line = self.lines.partition_point(|start| *start <= at).max(1);
        let start = self.lines[line - 1];
        let end = self.lines.get(line).copied().unwrap_or(self.text.len());
        let before = self.text.get(start..at).unwrap_or_default();
        let source = self.text.get(start..end).unwrap_or_default();
        Finding {
            file: self.file.to_owned(),
            line,
            column: before.chars().count() + 1,
            section: section.to_owned(),
            key: key.to_owned(),
            found,
            write,
            nearest: None,
            source: source
                .chars()
                .take(200)
                .collect::<String>()
                .trim_end()
                .to_owned(),
        }
    }

    /// A fault: the job can't be used.
    pub(super) fn fault(
        &self,
        section: &str,
        key: &str,
        found: impl Into<String>,
        write: impl Into<String>,
    ) {
        let finding = self.finding(section, key, found.into(), write.into());
        self.findings.borrow_mut().push(finding);
    }

    /// A fault at a known byte of the text.
    pub(super) fn fault_at(
        &self,
        at: usize,
        section: &str,
        key: &str,
        found: impl Into<String>,
        write: impl Into<String>,
        nearest: Option<&str>,
    ) {
        let mut finding = self.finding_at(at, section, key, found.into(), write.into());
        finding.nearest = nearest.map(str::to_owned);
        self.findings.borrow_mut().push(finding);
    }

    /// Worth a look, but the job can be used.
    pub(super) fn warn(
        &self,
        section: &str,
        key: &str,
        found: impl Into<String>,
        write: impl Into<String>,
    ) {
        let finding = self.finding(section, key, found.into(), write.into());
        self.warnings.borrow_mut().push(finding);
    }

    /// Fault when `value` lies outside `low..=high`; a missing value (NaN) was reported before.
    pub(super) fn within(
        &self,
        section: &str,
        key: &str,
        value: f64,
        dimension: Dimension,
        low: f64,
        high: f64,
    ) -> bool {
        if value < low || value > high {
            self.fault(
                section,
                key,
                dimension.show(value),
                format!(
                    "a value from {} to {}",
                    dimension.show(low),
                    dimension.show(high)
                ),
            );
            return false;
        }
        value.is_finite()
    }

    /// The same for several keys of a section: key, value, dimension, low, high.
    pub(super) fn all_within(&self, section: &str, keys: &[(&str, f64, Dimension, f64, f64)]) {
        for &(key, value, dimension, low, high) in keys {
            self.within(section, key, value, dimension, low, high);
        }
    }

    /// Likewise for a plain number.
    pub(super) fn number_within(&self, section: &str, key: &str, value: f64, low: f64, high: f64) {
        if value < low || value > high {
            self.fault(
                section,
                key,
                format!("{value}"),
                format!("a number from {low} to {high}"),
            );
        }
    }

    pub(super) fn has_faults(&self) -> bool {
        !self.findings.borrow().is_empty()
    }

    /// Faults and warnings, each in file order.
    pub(super) fn finish(self) -> (Findings, Vec<Finding>) {
        let mut list = self.findings.into_inner();
        let mut warnings = self.warnings.into_inner();
        // A misspelt section is told once, and not key by key as missing too.
        let is_root = |f: &&Finding| f.section.is_empty();
        let misspelt: Vec<String> = (list.iter().filter(is_root))
            .filter_map(|f| f.nearest.clone())
            .collect();
        let follows = |f: &Finding| f.source.is_empty() && misspelt.contains(&f.section);
        list.retain(|f| !follows(f));
        warnings.retain(|f| !follows(f));
        list.sort_by_key(|f| (f.line, f.column));
        warnings.sort_by_key(|f| (f.line, f.column));
        (Findings { list }, warnings)
    }
}
