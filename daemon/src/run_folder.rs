//! The run folder at the start: a new one, or an old one to go on with.

use crate::away::{Away, BootAnchor, HostTime};
use crate::disk::{Brake, Disk, LastSegments};
use crate::other_job::differs;
use crate::recorder::policy;
use kerfwatch::input::MarkKind;
use kerfwatch::job::{Job, read_job};
use kerfwatch::recording::{
    Folder, HEAD_FORMAT, LOCK_FILE, MANIFEST_FILE, ReadOnly, RecordError, RunHead, RunReader,
    RunWriter, Storage, Store, time_of,
};
use kerfwatch::time::Nanos;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A run that broke off or ended longer ago is not the one that the crew is in the middle of: one shift.
const SHIFT: Duration = Duration::from_secs(12 * 3600);

/// Of so many newest runs it is asked whether somebody records them.
const RUNS_LOOKED_AT: usize = 20;

/// A new run.
#[derive(Debug)]
pub struct NewRun {
    /// Its folder.
    pub folder: PathBuf,
    /// Its head.
    pub head: RunHead,
    /// Ready to write.
    pub writer: RunWriter<Disk>,
}

/// A run that was cut off, or ended, and can go on. Nothing of it has been recovered or read back: that takes its time,
/// and ports come first.
#[derive(Debug)]
pub struct Interrupted {
    /// Its folder.
    pub folder: PathBuf,
    /// Its head.
    pub head: RunHead,
    /// The folder, held against other daemons.
    pub disk: Disk,
    /// Where its time goes on.
    pub away: Away,
    /// The crew had set the depth counter, or corrected the depth.
    pub counter_was_set: bool,
    /// It had been ended in order, and is open again.
    pub had_ended: bool,
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
    /// The job given is not the job of the run.
    #[error(
        "{folder} cannot go on: the job file differs from the one that it was recorded with {differs}; put back the values in \
         brackets, or start without --resume: that is a new run, with strokes and groove at nothing"
    )]
    OtherJob {
        /// Which folder.
        folder: PathBuf,
        /// By key, with both values.
        differs: String,
    },
}

/// A new run in a folder of its own below `[record] folder`.
pub fn create(
    job: &Job,
    job_text: &str,
    sync_s: f64,
    brake: &Brake,
) -> Result<NewRun, FolderError> {
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
    keep_anchor(BootAnchor::new(&HostTime::now(), 0), &folder);
    Ok(NewRun {
        folder,
        head,
        writer,
    })
}

/// Looks whether a run can go on: its head, its lock, its last seconds. Takes milliseconds however long the run is. One
/// that was ended in order is no longer sealed then: who asks for it by name wants its groove, and goes on with it.
pub fn look(folder: &Path, job: (&Job, &str), brake: &Brake) -> Result<Interrupted, FolderError> {
    let record = |source| FolderError::Record {
        folder: folder.to_owned(),
        source,
    };
    let mut disk = Disk::new(Folder::open(folder), brake.clone());
    let head = RunHead::read(&disk).map_err(record)?;
    if let Some(differs) = differs(&head.job, job) {
        return Err(FolderError::OtherJob {
            folder: folder.to_owned(),
            differs,
        });
    }
    match disk.lock(LOCK_FILE) {
        Ok(true) => {}
        Ok(false) => return Err(record(RecordError::Locked)),
        Err(source) => {
            return Err(record(RecordError::Io {
                what: "cannot lock",
                file: LOCK_FILE.to_owned(),
                source,
            }));
        }
    }
    let had_ended = folder.join(MANIFEST_FILE).exists();
    if had_ended {
        let opened = disk.remove(MANIFEST_FILE).and_then(|()| disk.sync_dir());
        opened.map_err(|source| {
            record(RecordError::Io {
                what: "cannot remove",
                file: MANIFEST_FILE.to_owned(),
                source,
            })
        })?;
    }
    let mut reader = RunReader::new(last_segments(folder)).map_err(record)?;
    // Without its notes nobody knows what was done in a run.
    let counter_was_set = reader.readable_notes().is_none_or(|notes| {
        (notes.iter())
            .any(|note| matches!(note.kind, MarkKind::Zero(_) | MarkKind::ReferenceDepth(_)))
    });
    let now = HostTime::now();
    let newest = newest_input(&mut reader);
    let anchor = BootAnchor::read(folder);
    let away = Away::judge(anchor.as_ref(), &now, head.started_unix_ns, newest);
    keep_anchor(BootAnchor::new(&now, away.from), folder);
    Ok(Interrupted {
        folder: folder.to_owned(),
        head,
        disk,
        away,
        counter_was_set,
        had_ended,
    })
}

fn last_segments(folder: &Path) -> ReadOnly<LastSegments> {
    ReadOnly(LastSegments(Folder::open(folder)))
}

/// Run time of the newest input on record.
fn newest_input(reader: &mut RunReader<ReadOnly<LastSegments>>) -> Nanos {
    let mut newest = 0;
    reader.for_each_input_from(reader.raw_end().saturating_sub(1), |_, input| {
        newest = newest.max(time_of(input));
    });
    newest
}

/// Without it a run goes on by UTC: no reason not to start.
fn keep_anchor(anchor: Option<BootAnchor>, folder: &Path) {
    let written = anchor.map(|anchor| anchor.write(folder));
    if let Some(Err(error)) = written {
        tracing::warn!(%error, "time away could not be prepared for");
    }
}

/// A run of this job, or of another one, that broke off or ended not long ago.
#[derive(Debug)]
pub struct EarlierRun {
    /// Its folder.
    pub folder: PathBuf,
    /// In what the job differs from its own; `None`: recorded with this very job, it can go on.
    pub differs: Option<String>,
}

/// The newest run in `[record] folder`, if it was never sealed, nobody is recording it, and it was written to
/// within the last shift.
pub fn broken_off(job: (&Job, &str)) -> Option<EarlierRun> {
    judge_broken_off(runs(job).next()?, job)
}

/// A run of this very job that another daemon is recording.
pub fn being_recorded(job: (&Job, &str)) -> Option<PathBuf> {
    runs(job).take(RUNS_LOOKED_AT).find(|folder| {
        let disk = || Folder::open(folder);
        // Let go again at once.
        !folder.join(MANIFEST_FILE).exists()
            && !disk().lock(LOCK_FILE).unwrap_or(true)
            && RunHead::read(&disk()).is_ok_and(|head| differs(&head.job, job).is_none())
    })
}

/// The newest run in `[record] folder`, if it is of the same well and was ended in order within the last shift.
pub fn ended(job: (&Job, &str)) -> Option<EarlierRun> {
    let folder = runs(job).next()?;
    let is_sealed = folder.join(MANIFEST_FILE).exists();
    let head = RunHead::read(&Folder::open(&folder)).ok()?;
    let well = read_job(&head.job, "run.toml").ok()?.job.info.well;
    (is_sealed && well == job.0.info.well && is_recent(&folder)).then_some(EarlierRun {
        folder,
        differs: differs(&head.job, job),
    })
}

/// An earlier run of this very job that broke off within the last shift, and after which others were recorded: it
/// does not go on by itself.
pub fn left_behind(job: (&Job, &str)) -> Option<PathBuf> {
    runs(job)
        .skip(1)
        .filter_map(|folder| judge_broken_off(folder, job))
        .find(|run| run.differs.is_none())
        .map(|run| run.folder)
}

/// The folders of runs in `[record] folder`, the newest first.
fn runs((job, _): (&Job, &str)) -> impl Iterator<Item = PathBuf> + use<> {
    let mut found: Vec<_> = std::fs::read_dir(&job.record.folder)
        .into_iter()
        .flatten()
        .flatten()
        // Not what people have put there, or renamed: imported tables, copies.
        .filter(|entry| entry.file_name().to_str().is_some_and(is_run_id))
        .map(|entry| entry.path())
        .filter(|folder| folder.join("run.toml").is_file())
        // By when it was recorded; the clock may have been behind when one of them got its name.
        .map(|folder| (last_recorded(&folder), folder))
        .collect();
    found.sort();
    found.into_iter().rev().map(|(_, folder)| folder)
}

fn judge_broken_off(folder: PathBuf, job: (&Job, &str)) -> Option<EarlierRun> {
    if folder.join(MANIFEST_FILE).exists() {
        return None;
    }
    let is_recent = is_recent(&folder);
    // Let go again at once: whoever goes on with the run takes it for good, and looks once more.
    let is_free = Folder::open(&folder).lock(LOCK_FILE).unwrap_or(false);
    let head = RunHead::read(&Folder::open(&folder)).ok()?;
    (is_recent && is_free).then_some(EarlierRun {
        folder,
        differs: differs(&head.job, job),
    })
}

/// Whether it was recorded within the last shift.
fn is_recent(folder: &Path) -> bool {
    let mut files = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let was_written_lately = files.any(|file| {
        let age = file.metadata().and_then(|meta| meta.modified());
        // A file from the future was written before the clock was set back.
        age.is_ok_and(|time| time.elapsed().map_or(true, |age| age < SHIFT))
    });
    was_written_lately || was_away_briefly(folder)
}

/// By the boot-time clock, whatever was done to UTC: a clock that was set forward makes every file look old.
fn was_away_briefly(folder: &Path) -> bool {
    let Ok(mut reader) = RunReader::new(last_segments(folder)) else {
        return false;
    };
    let length = BootAnchor::read(folder)
        .and_then(|anchor| anchor.away(&HostTime::now(), newest_input(&mut reader)));
    length.is_some_and(|length| u128::from(length.unsigned_abs()) < SHIFT.as_nanos())
}

/// Start time to the second, and a few letters that tell apart runs of the same second.
fn run_id(now: jiff::Timestamp) -> String {
    let mixed = now.as_nanosecond() as u64 ^ u64::from(std::process::id()).rotate_left(32);
    let tail = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48;
    format!("{}-{tail:04x}", now.strftime("%Y%m%dT%H%M%SZ"))
}

/// Whether a folder's name is one that [`run_id`] gives.
fn is_run_id(name: &str) -> bool {
    let pattern = "99999999T999999Z-ffff";
    let fits = |(b, kind): (u8, u8)| match kind {
        b'9' => b.is_ascii_digit(),
        b'f' => b.is_ascii_hexdigit(),
        _ => b == kind,
    };
    name.len() == pattern.len() && name.bytes().zip(pattern.bytes()).all(fits)
}

/// When the newest of the received bytes were written; files that a forwarder keeps in the folder do not count.
fn last_recorded(folder: &Path) -> Option<std::time::SystemTime> {
    let files = std::fs::read_dir(folder).ok()?.flatten();
    let is_recorded = |name: &str| name == "run.toml" || Store::Raw.segment_number(name).is_some();
    let recorded = files.filter(|file| file.file_name().to_str().is_some_and(is_recorded));
    recorded
        .filter_map(|file| file.metadata().and_then(|meta| meta.modified()).ok())
        .max()
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{apply_set, print_default_job};

    #[test]
    fn a_run_id_sorts_by_time_and_fits_a_file_name() {
        let id = run_id(jiff::Timestamp::from_second(1_780_000_000).unwrap());
        assert!(id.starts_with("20260528T"), "{id}");
        assert!(id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-'));
        assert!(is_run_id(&id), "{id}");
        assert!(!is_run_id("well 7 done") && !is_run_id("import-1"));
    }

    #[test]
    fn a_run_that_broke_off_is_found_beside_foreign_folders_and_before_a_later_run() {
        let text = print_default_job();
        let mut job = read_job(text, "sample").unwrap().job;
        let records = tempfile::tempdir().unwrap();
        job.record.folder = records.path().display().to_string();
        let finish = |other: &str| {
            let done = create(&job, text, 1.0, &Brake::default()).unwrap();
            done.writer.finish(0).unwrap();
            std::fs::rename(&done.folder, records.path().join(other)).unwrap();
        };
        assert!(ended((&job, text)).is_none());
        finish("20250101T000000Z-aaaa");
        let over = ended((&job, text)).map(|found| (found.folder, found.differs));
        assert_eq!(
            over,
            Some((records.path().join("20250101T000000Z-aaaa"), None))
        );
        let mut elsewhere = job.clone();
        elsewhere.info.well = "Another-1 (invented)".to_owned();
        assert!(ended((&elsewhere, text)).is_none());
        let run = create(&job, text, 1.0, &Brake::default()).unwrap();
        drop(run.writer);
        finish("well 7 done");
        finish("import-1");
        assert!(ended((&job, text)).is_none(), "not the newest");
        assert_eq!(being_recorded((&job, text)), None);
        let mut other_daemon = Folder::open(&run.folder);
        assert!(other_daemon.lock(LOCK_FILE).unwrap());
        assert_eq!(being_recorded((&job, text)), Some(run.folder.clone()));
        drop(other_daemon);
        let found = broken_off((&job, text)).map(|found| found.folder);
        assert_eq!(found.as_ref(), Some(&run.folder));
        assert_eq!(left_behind((&job, text)), None);
        finish("20250101T000001Z-aaaa");
        assert!(broken_off((&job, text)).is_none());
        assert_eq!(left_behind((&job, text)), Some(run.folder));
        let mut other = job.clone();
        other.alarm.overpull.0 -= 100.0;
        let edited = apply_set(text, "alarm.overpull=1900 N").unwrap();
        assert_eq!(left_behind((&other, &edited)), None);
    }
}
