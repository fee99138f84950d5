//! What can go wrong, and the exit codes scripts rely on.

use std::fmt;
use std::io;
use std::path::Path;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// All well.
    Well,
    /// Done; differences were found.
    Differences,
    /// Bad input, or an output that could not be written.
    BadInput,
    /// The recording is damaged; what could be read was used.
    Damaged,
}

impl Exit {
    /// Exit code of the process.
    pub fn code(self) -> u8 {
        match self {
            Self::Well => 0,
            Self::Differences => 1,
            Self::BadInput => 2,
            Self::Damaged => 3,
        }
    }

    /// The worse of two, for commands that go over several runs.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        if other.code() > self.code() {
            other
        } else {
            self
        }
    }
}

/// One thing wrong with an input, worded so that it can be put right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// File, as the user named it.
    pub file: String,
    /// Line, from 1, where it makes sense.
    pub line: Option<u64>,
    /// Field, column or flag.
    pub field: Option<String>,
    /// What is wrong, with what was found.
    pub problem: String,
    /// What to write or do instead.
    pub remedy: String,
}

impl Finding {
    /// A finding about a whole file.
    pub fn new(
        file: impl fmt::Display,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            file: file.to_string(),
            line: None,
            field: None,
            problem: problem.into(),
            remedy: remedy.into(),
        }
    }

    /// The same, at a line.
    #[must_use]
    pub fn at(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }

    /// The same, about a field.
    #[must_use]
    pub fn field(mut self, field: impl Into<String>) -> Self {
        self.field = Some(field.into());
        self
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if let Some(field) = &self.field {
            write!(f, ": {field}")?;
        }
        write!(f, ": {}", self.problem)?;
        if !self.remedy.is_empty() {
            write!(f, "\n  remedy: {}", self.remedy)?;
        }
        Ok(())
    }
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Failure {
    /// The input is not usable; every finding is listed.
    #[error("{}", list(.0))]
    Input(Vec<Finding>),
    /// A file could not be read.
    #[error("{name}: cannot be read: {source}")]
    Read {
        /// File or folder.
        name: String,
        /// Why.
        source: io::Error,
    },
    /// A file could not be written.
    #[error("{name}: cannot be written: {source}")]
    Write {
        /// File or folder.
        name: String,
        /// Why.
        source: io::Error,
    },
    /// Whoever read our standard output has closed it; nothing is wrong.
    #[error("standard output was closed")]
    OutputClosed,
}

fn list(findings: &[Finding]) -> String {
    let lines: Vec<String> = findings.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

impl Failure {
    /// A file that could not be read.
    pub fn read(name: impl AsRef<Path>, source: io::Error) -> Self {
        Self::Read {
            name: name.as_ref().display().to_string(),
            source,
        }
    }

    /// A file that could not be written.
    pub fn write(name: impl fmt::Display, source: io::Error) -> Self {
        Self::Write {
            name: name.to_string(),
            source,
        }
    }

    /// Exit code of this failure.
    pub fn exit(&self) -> Exit {
        match self {
            Self::OutputClosed => Exit::Well,
            _ => Exit::BadInput,
        }
    }
}

impl From<Finding> for Failure {
    fn from(finding: Finding) -> Self {
        Self::Input(vec![finding])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finding_names_file_line_field_and_remedy() {
        let finding = Finding::new(
            "a.csv",
            "`x7` is not a number",
            "write newtons, e.g. 2034.5",
        )
        .at(12)
        .field("load_n");
        assert_eq!(
            finding.to_string(),
            "a.csv:12: load_n: `x7` is not a number\n  remedy: write newtons, e.g. 2034.5"
        );
    }

    #[test]
    fn worse_exit_wins() {
        assert_eq!(Exit::Well.and(Exit::Damaged), Exit::Damaged);
        assert_eq!(Exit::Damaged.and(Exit::Differences), Exit::Damaged);
    }
}
