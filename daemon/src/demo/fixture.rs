//! What the demonstration plays: a recorded run, as the bytes its instruments sent.
//!
//! *In*: a run folder (`run.toml` and segments), or a folder with `job.toml` and `samples.csv`
//! (`time_s,load_n,depth_m`, and optionally `marks.csv`), or the small run embedded in the binary.
//! *Out*: the job with plain text instruments, and frames with arrival times. A run that was recorded
//! from instruments is played byte for byte; one of calibrated readings is written out as lines.

use super::built_in::{self, BuiltIn};
use super::player::Frame;
use kerfwatch::input::{ChannelId, Input, Mark, MarkKind};
use kerfwatch::job::{Job, read_job};
use kerfwatch::recording::{ReadOnly, RecordError, RunReader, Storage};
use kerfwatch::time::{Nanos, nanos};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// The fixture played when none is named: embedded.
pub const DEFAULT: &str = built_in::NAME;

/// The lines written for readings, newest digit a hundredth of a newton and a tenth of a millimetre.
const LOAD_SECTION: &str = r#"
protocol = "pattern"
pattern = 'L (?P<load>[-+0-9.]+)'
span = "1 N"
"#;
const DEPTH_SECTION: &str = r#"
protocol = "pattern"
pattern = 'D (?P<depth>[-+0-9.]+)'
span = "1 m"
"#;

/// A job and what happened on its instruments.
#[derive(Debug)]
pub struct Fixture {
    /// The job, checked.
    pub job: Job,
    /// Its text.
    pub job_text: String,
    /// In order of arrival.
    pub frames: Vec<Frame>,
    /// The operator's marks.
    pub marks: Vec<(Nanos, Mark)>,
}

/// Why a fixture cannot be played.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FixtureError {
    /// No such fixture.
    #[error(
        "no fixture `{0}`: give a run folder, a folder with job.toml and samples.csv, or `{DEFAULT}`"
    )]
    Unknown(String),
    /// The job file of the fixture.
    #[error("{0}")]
    Job(String),
    /// A file.
    #[error("cannot read {file}: {source}")]
    File {
        /// Which.
        file: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A line of a table.
    #[error("{file}, line {line}: {what}")]
    Line {
        /// Which file.
        file: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// What is wrong.
        what: &'static str,
    },
    /// The recording.
    #[error("{folder}: {source}")]
    Record {
        /// Which folder.
        folder: PathBuf,
        /// Why.
        source: RecordError,
    },
    /// It holds nothing an instrument sent.
    #[error("fixture `{0}` holds no readings")]
    Empty(String),
}

/// Loads a fixture by name or folder.
pub fn load(name: &str) -> Result<Fixture, FixtureError> {
    let (job_text, inputs) = if name == DEFAULT {
        from_run(RunReader::new(ReadOnly(BuiltIn)), Path::new(name))?
    } else {
        from_folder(&find(name)?)?
    };
    let spoken = inputs
        .iter()
        .any(|input| matches!(input, Input::Received { .. }));
    let job_text = if spoken {
        job_text
    } else {
        with_plain_instruments(&job_text)?
    };
    let job = read_job(&job_text, &format!("job of `{name}`"))
        .map_err(|findings| FixtureError::Job(findings.to_string()))?
        .job;
    let mut frames = Vec::new();
    let mut marks = Vec::new();
    for input in inputs {
        match input {
            Input::Received { port, at, bytes } => frames.push(Frame { port, at, bytes }),
            Input::Reading { channel, at, value } if !spoken => {
                frames.push(line(channel, at, value))
            }
            Input::Mark { at, mark } => marks.push((at, mark)),
            _ => {}
        }
    }
    if frames.is_empty() {
        return Err(FixtureError::Empty(name.to_owned()));
    }
    Ok(Fixture {
        job,
        job_text,
        frames,
        marks,
    })
}

/// A reading as the line an instrument would send.
pub fn line(channel: ChannelId, at: Nanos, value: f64) -> Frame {
    let mut text = String::new();
    let (port, written) = match channel {
        ChannelId::Load => (0, write!(text, "L {value:.2}\r\n")),
        ChannelId::Depth => (1, write!(text, "D {value:.4}\r\n")),
    };
    // Writing to a string does not fail.
    debug_assert!(written.is_ok());
    Frame {
        port,
        at,
        bytes: text.into_bytes(),
    }
}

/// The job with instruments that send plain lines; what the counts mean is kept.
pub fn with_plain_instruments(job_text: &str) -> Result<String, FixtureError> {
    let wrong = |error: String| FixtureError::Job(error);
    let mut job: toml::Table = job_text
        .parse()
        .map_err(|e: toml::de::Error| wrong(e.to_string()))?;
    for (name, section) in [("load", LOAD_SECTION), ("depth", DEPTH_SECTION)] {
        let mut new: toml::Table = section
            .parse()
            .map_err(|e: toml::de::Error| wrong(e.to_string()))?;
        // Replaced by the terminal that is opened later; the reader wants one.
        new.insert("port".to_owned(), format!("serial:/dev/{name}").into());
        if let Some(toml::Value::Table(old)) = job.get(name) {
            for key in ["counts", "stale_after", "frozen_after"] {
                if let Some(value) = old.get(key) {
                    new.insert(key.to_owned(), value.clone());
                }
            }
        }
        job.insert(name.to_owned(), toml::Value::Table(new));
    }
    toml::to_string(&job).map_err(|error| wrong(error.to_string()))
}

/// A folder as given, or by name below `fixtures` of the working folder or of the source tree the
/// program was built in.
fn find(name: &str) -> Result<PathBuf, FixtureError> {
    let exe = std::env::current_exe().ok();
    let near = exe
        .iter()
        .flat_map(|exe| exe.ancestors().skip(1))
        .map(|folder| folder.join("fixtures").join(name));
    [PathBuf::from(name), Path::new("fixtures").join(name)]
        .into_iter()
        .chain(near)
        .find(|folder| folder.join("run.toml").is_file() || folder.join("samples.csv").is_file())
        .ok_or_else(|| FixtureError::Unknown(name.to_owned()))
}

fn from_folder(folder: &Path) -> Result<(String, Vec<Input>), FixtureError> {
    if !folder.join("run.toml").is_file() {
        return from_tables(folder);
    }
    from_run(RunReader::open(folder), folder)
}

fn from_run<S: Storage>(
    opened: Result<RunReader<S>, RecordError>,
    folder: &Path,
) -> Result<(String, Vec<Input>), FixtureError> {
    let record = |source| FixtureError::Record {
        folder: folder.to_owned(),
        source,
    };
    let mut reader = opened.map_err(record)?;
    let job_text = reader
        .head()
        .map_err(|what| record(RecordError::Head(what.to_owned())))?
        .job
        .clone();
    let inputs = reader.inputs().collect();
    Ok((job_text, inputs))
}

fn read(file: &Path) -> Result<String, FixtureError> {
    std::fs::read_to_string(file).map_err(|source| FixtureError::File {
        file: file.to_owned(),
        source,
    })
}

fn from_tables(folder: &Path) -> Result<(String, Vec<Input>), FixtureError> {
    let job_text = read(&folder.join("job.toml"))?;
    let samples = folder.join("samples.csv");
    let mut inputs = samples_of(&read(&samples)?, &samples)?;
    let marks = folder.join("marks.csv");
    if marks.is_file() {
        inputs.extend(marks_of(&read(&marks)?, &marks)?);
    }
    Ok((job_text, inputs))
}

fn samples_of(text: &str, file: &Path) -> Result<Vec<Input>, FixtureError> {
    let mut inputs = Vec::new();
    for (n, row) in text.lines().enumerate().skip(1) {
        let wrong = |what| FixtureError::Line {
            file: file.to_owned(),
            line: n + 1,
            what,
        };
        let mut cells = row.split(',').map(str::trim);
        let at = cells
            .next()
            .and_then(|cell| cell.parse().ok())
            .and_then(nanos)
            .ok_or_else(|| wrong("time_s is not a number"))?;
        for channel in [ChannelId::Load, ChannelId::Depth] {
            let cell = cells.next().unwrap_or("");
            if cell.is_empty() {
                continue;
            }
            let value: f64 = cell
                .parse()
                .map_err(|_| wrong("load_n or depth_m is not a number"))?;
            inputs.push(Input::Reading { channel, at, value });
        }
    }
    Ok(inputs)
}

fn marks_of(text: &str, file: &Path) -> Result<Vec<Input>, FixtureError> {
    let mut inputs = Vec::new();
    for (n, row) in text.lines().enumerate().skip(1) {
        let wrong = |what| FixtureError::Line {
            file: file.to_owned(),
            line: n + 1,
            what,
        };
        let (time, mark) = row
            .split_once(',')
            .ok_or_else(|| wrong("a time and a mark are wanted"))?;
        let at = time
            .trim()
            .parse()
            .ok()
            .and_then(nanos)
            .ok_or_else(|| wrong("time_s is not a number"))?;
        let kind = match mark.trim() {
            "cutter_out" => MarkKind::CutterOut,
            "cutter_in" => MarkKind::CutterIn,
            "weight_check" => MarkKind::WeightCheck,
            other => match other.strip_prefix("note:") {
                Some(text) => MarkKind::Note(text.trim().to_owned()),
                None => return Err(wrong("unknown mark")),
            },
        };
        let mark = Mark {
            kind,
            author: String::new(),
        };
        inputs.push(Input::Mark { at, mark });
    }
    Ok(inputs)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_fixture_loads() {
        let fixture = load(DEFAULT).unwrap();
        assert!(fixture.frames.len() > 1000);
        assert!(fixture.frames.is_sorted_by_key(|frame| frame.at));
    }

    #[test]
    fn a_wrong_line_is_named() {
        let error = samples_of("time_s,load_n,depth_m\n0,1,2\nx,1,2\n", Path::new("s.csv"));
        assert_eq!(
            error.unwrap_err().to_string(),
            "s.csv, line 3: time_s is not a number"
        );
        assert!(marks_of("time_s,mark\n1,explode\n", Path::new("m.csv")).is_err());
    }

    #[test]
    fn either_channel_may_be_missing_in_a_row() {
        let inputs = samples_of("h\n1.5,,2300\n2,900,\n", Path::new("s.csv")).unwrap();
        assert_eq!(inputs.len(), 2);
    }
}
