//! The run folder at the start: a new one, or an old one to go on with.

use crate::disk::{Brake, Disk};
use crate::recorder::policy;
use kerfwatch::input::{Event, MarkKind};
use kerfwatch::job::{Job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{
    Derived, Folder, HEAD_FORMAT, LOCK_FILE, MANIFEST_FILE, RecordError, RunHead, RunReader,
    RunWriter, Storage, time_of,
};
use kerfwatch::time::Nanos;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A run that broke off longer ago is not the one that the crew is in the middle of: one shift.
const BROKEN_OFF_MAX: Duration = Duration::from_secs(12 * 3600);

/// A run that is ready to go on recording.
pub struct OpenRun {
    /// Its folder.
    pub folder: PathBuf,
    /// Its head.
    pub head: RunHead,
    /// Ready to write.
    pub writer: RunWriter<Disk>,
    /// All earlier inputs have gone through it.
    pub pipeline: Pipeline,
    /// Not older than any earlier input.
    pub from: Nanos,
    /// Whether there was an earlier part.
    pub resumed: bool,
}

/// Why a run folder cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// The recording.
    #[error("{folder}: {source}")]
    Record {
        /// Which folder.
        folder: PathBuf,
        /// Why.
        source: RecordError,
    },
    /// The system.
    #[error("cannot create {folder}: {source}; check [record] folder")]
    Create {
        /// Which folder.
        folder: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Its job text does not read.
    #[error("{folder}: the job in run.toml does not read any more:\n{findings}")]
    Job {
        /// Which folder.
        folder: PathBuf,
        /// What is wrong.
        findings: String,
    },
    /// The job given is not the job of the run.
    #[error("{folder} was recorded with another job file: give that one, or start a new run")]
    OtherJob {
        /// Which folder.
        folder: PathBuf,
    },
}

/// A new run in a folder of its own below `[record] folder`.
pub fn create(
    job: &Job,
    job_text: &str,
    sync_s: f64,
    brake: &Brake,
) -> Result<OpenRun, FolderError> {
    let now = jiff::Timestamp::now();
    let run_id = run_id(now);
    let folder = Path::new(&job.record.folder).join(&run_id);
    let disk = Folder::create(&folder).map_err(|source| FolderError::Create {
        folder: folder.clone(),
        source,
    })?;
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id,
        software: concat!("kerfwatchd ", env!("CARGO_PKG_VERSION")).to_owned(),
        started_unix_ns: i64::try_from(now.as_nanosecond()).unwrap_or(0),
        started_utc: format!("{now:.3}"),
        job: job_text.to_owned(),
    };
    let writer = RunWriter::create(Disk::new(disk, brake.clone()), &head, policy(sync_s)).map_err(
        |source| FolderError::Record {
            folder: folder.clone(),
            source,
        },
    )?;
    Ok(OpenRun {
        folder,
        head,
        writer,
        pipeline: Pipeline::new(job),
        from: 0,
        resumed: false,
    })
}

/// Goes on with a run that was cut off: recovers the folder, then feeds what was recorded through
/// a new pipeline, so that strokes, groove and unacknowledged alarms are as they were.
pub fn resume(
    folder: &Path,
    job_text: &str,
    sync_s: f64,
    brake: &Brake,
) -> Result<OpenRun, FolderError> {
    let record = |source| FolderError::Record {
        folder: folder.to_owned(),
        source,
    };
    let disk = Disk::new(Folder::open(folder), brake.clone());
    let (mut writer, head, recovery) = RunWriter::resume(disk, policy(sync_s)).map_err(record)?;
    if head.job != job_text {
        return Err(FolderError::OtherJob {
            folder: folder.to_owned(),
        });
    }
    for damage in &recovery.damage {
        tracing::warn!(folder = %folder.display(), "{damage}");
    }
    let job = read_job(&head.job, "run.toml")
        .map_err(|findings| FolderError::Job {
            folder: folder.to_owned(),
            findings: findings.to_string(),
        })?
        .job;
    let mut reader = RunReader::open(folder).map_err(record)?;
    let mut known = Known::of(&mut reader);
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    let mut from: Nanos = 0;
    let mut decided = 0_usize;
    reader.for_each_input(|input| {
        from = from.max(time_of(input));
        pipeline.push(input, &mut events);
        for event in events.drain(..) {
            decided += 1;
            let record = Derived::from(&event);
            if !known.take(&record) {
                writer.derive(record);
            }
        }
    });
    tracing::info!(
        inputs = recovery.raw_entries,
        decisions = decided,
        "run resumed"
    );
    if known.left() > 0 {
        tracing::warn!(
            "{} decisions on record do not follow from the inputs on record: inputs were lost",
            known.left()
        );
    }
    // Time went on while nobody was recording.
    let since_start = jiff::Timestamp::now().as_nanosecond() - i128::from(head.started_unix_ns);
    let from = from.max(i64::try_from(since_start).unwrap_or(from));
    Ok(OpenRun {
        folder: folder.to_owned(),
        head,
        writer,
        pipeline,
        from,
        resumed: true,
    })
}

/// Decisions that are on record already. They are told by their contents: what had been decided but not yet written
/// when the run was cut off may be anywhere, as a full disk takes the oldest of them first.
struct Known(BTreeMap<String, usize>);

impl Known {
    fn of(reader: &mut RunReader<Folder>) -> Self {
        let mut known = BTreeMap::new();
        reader.for_each_derived_from(0, |_, record| {
            if !matches!(record, Derived::Groove { .. }) {
                *known.entry(Self::key(record)).or_default() += 1;
            }
        });
        Self(known)
    }

    /// Whether it is on record; each counts once.
    fn take(&mut self, record: &Derived) -> bool {
        match self.0.get_mut(&Self::key(record)) {
            Some(count) if *count > 0 => {
                *count -= 1;
                true
            }
            _ => false,
        }
    }

    fn left(&self) -> usize {
        self.0.values().sum()
    }

    fn key(record: &Derived) -> String {
        // Numbers are written so that they read back to the same bits.
        serde_json::to_string(record).unwrap_or_default()
    }
}

/// A run of this job, or of another one, that broke off not long ago.
#[derive(Debug)]
pub struct BrokenOff {
    /// Its folder.
    pub folder: PathBuf,
    /// Recorded with this very job file: it can go on.
    pub same_job: bool,
}

/// The newest run in `[record] folder`, if it was never sealed, nobody is recording it, and it was written to
/// within the last shift.
pub fn broken_off(record_folder: &str, job_text: &str) -> Option<BrokenOff> {
    let newest = std::fs::read_dir(record_folder)
        .ok()?
        .flatten()
        .map(|entry| entry.path())
        .filter(|folder| folder.join("run.toml").is_file())
        // Run ids sort by time.
        .max()?;
    if newest.join(MANIFEST_FILE).exists() {
        return None;
    }
    let mut files = std::fs::read_dir(&newest).ok()?.flatten();
    let is_recent = files.any(|file| {
        let age = file.metadata().and_then(|meta| meta.modified());
        age.is_ok_and(|time| time.elapsed().is_ok_and(|age| age < BROKEN_OFF_MAX))
    });
    // Held until this handle is closed, at the end of this function.
    let is_free = Folder::open(&newest).lock(LOCK_FILE).unwrap_or(false);
    let head = RunHead::read(&Folder::open(&newest)).ok()?;
    (is_recent && is_free).then_some(BrokenOff {
        folder: newest,
        same_job: head.job == job_text,
    })
}

/// Alarms that nobody had dealt with when a run broke off, as a new run takes them over; `None`: there were
/// none, or the record does not tell.
pub fn alarms_of(folder: &Path) -> Option<MarkKind> {
    let mut reader = RunReader::open(folder).ok()?;
    let job = read_job(&reader.head().ok()?.job.clone(), "run.toml")
        .ok()?
        .job;
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| {
        pipeline.push(input, &mut events);
        events.clear();
    });
    let saved = pipeline.saved_alarms();
    if saved.is_empty() {
        return None;
    }
    serde_json::to_string(&saved)
        .ok()
        .map(MarkKind::AlarmsBefore)
}

/// Start time to the second, and a few letters that tell apart runs of the same second.
fn run_id(now: jiff::Timestamp) -> String {
    let mixed = now.as_nanosecond() as u64 ^ u64::from(std::process::id()).rotate_left(32);
    let tail = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48;
    format!("{}-{tail:04x}", now.strftime("%Y%m%dT%H%M%SZ"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_id_sorts_by_time_and_fits_a_file_name() {
        let id = run_id(jiff::Timestamp::from_second(1_780_000_000).unwrap());
        assert!(id.starts_with("20260528T"), "{id}");
        assert!(id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-'));
    }
}
