//! A run folder opened for recomputing: recording, job, identity; and the one loop that feeds it to
//! the core.

use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::{self, JobChanges, JobInUse};
use crate::missing_readings;
use crate::run_doubts::{self, Doubt};
use kerfwatch::input::{Event, Input};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Damage, Folder, Note, RecordError, Run, RunReader};
use kerfwatch::result::RunResult;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Inputs between two looks at the progress bar.
const PROGRESS_STEP: u64 = 1 << 16;

/// An opened run.
#[derive(Debug)]
pub struct RunFolder {
    /// Where it is, as given.
    pub path: PathBuf,
    /// The recording.
    pub reader: RunReader<Folder>,
    /// Run id; the folder's name when `run.toml` is damaged.
    pub id: String,
    /// Program that recorded.
    pub software: String,
    /// UTC at time 0 of the record, ns since 1970; `None` when not known.
    pub start_utc_ns: Option<i64>,
    /// The job in use.
    pub job: JobInUse,
    /// What it has otherwise than the job on record, in words; empty where nothing.
    pub what_if: Vec<String>,
    /// `run.toml` could not be read.
    pub head_damaged: bool,
}

/// A recomputed run.
#[derive(Debug)]
pub struct Recomputed {
    /// The result, `quality.lost_blocks` included.
    pub result: RunResult,
    /// What was damaged.
    pub damage: Vec<Damage>,
    /// 0 or 3.
    pub exit: Exit,
    /// Time of reading and computing, the groove at the end included.
    pub took: Duration,
    /// Of this, on a processor; the rest went to others and to waiting for the disk.
    pub on_processor: Duration,
    /// Inputs fed.
    pub inputs: u64,
    /// Files of the recording that are not there any more.
    pub missing: Vec<String>,
}

/// The core's error as ours, with the remedy that fits.
pub fn record_failure(path: &Path, error: &RecordError) -> Failure {
    if !path.exists() {
        return Finding::new(path.display(), "no such folder", "name a run folder").into();
    }
    if !path.is_dir() {
        let remedy = "name a run folder; a table becomes one with kerfwatch-replay import";
        return Finding::new(path.display(), "is a file, and no run folder", remedy).into();
    }
    let remedy = match error {
        RecordError::Head(_) => "name a run folder (it holds run.toml and raw-00001.kwr)",
        RecordError::Exists => "give another folder, or --force to replace it",
        RecordError::Locked => "wait until the other program has finished with it",
        _ => "check the path, the permissions and the disk",
    };
    Finding::new(path.display(), error.to_string(), remedy).into()
}

impl RunFolder {
    /// Opens a run with its own job, or the one of `changes`. Damage is told, and does not stop.
    ///
    /// # Errors
    /// No run there, no usable job.
    pub fn open(
        path: &Path,
        changes: &JobChanges,
        console: &mut Console<'_>,
    ) -> Result<Self, Failure> {
        let reader = RunReader::open(path).map_err(|e| record_failure(path, &e))?;
        let head = reader.head().cloned().map_err(str::to_owned);
        let job = match (&changes.job, &head) {
            (Some(file), _) => job_source::read_job_file(file, &changes.set, console)?,
            (None, Ok(head)) => {
                let name = path.join("run.toml").display().to_string() + " job";
                job_source::read_text(&head.job, &name, &changes.set, console)?
            }
            (None, Err(problem)) => {
                return Err(Finding::new(
                    path.join("run.toml").display(),
                    format!("the head of the run cannot be read: {problem}"),
                    "give the job file of this run with --job FILE; the recording itself can \
                     still be read",
                )
                .into());
            }
        };
        let recorded = head.as_ref().ok().map(|head| head.job.as_str());
        let what_if = job_source::what_if(&job, changes, recorded);
        let folder_name = || {
            path.file_name()
                .map_or_else(|| "run".into(), |n| n.to_string_lossy().into_owned())
        };
        Ok(Self {
            path: path.to_owned(),
            id: head
                .as_ref()
                .map_or_else(|_| folder_name(), |h| h.run_id.clone()),
            software: head
                .as_ref()
                .map_or_else(|_| String::new(), |h| h.software.clone()),
            // 0 is what an import without a start time writes.
            start_utc_ns: head
                .as_ref()
                .ok()
                .map(|h| h.started_unix_ns)
                .filter(|ns| *ns != 0),
            head_damaged: head.is_err(),
            job,
            what_if,
            reader,
        })
    }

    /// The operator's marks.
    pub fn notes(&self) -> Vec<Note> {
        self.reader.notes()
    }

    /// Feeds the whole recording to a new pipeline.
    pub fn recompute(&mut self, console: &mut Console<'_>) -> Recomputed {
        let pipeline = Pipeline::new(&self.job.job);
        self.recompute_with(pipeline, console).0
    }

    /// Feeds the whole recording to `pipeline` and hands it back finished.
    pub fn recompute_with(
        &mut self,
        mut pipeline: Pipeline,
        console: &mut Console<'_>,
    ) -> (Recomputed, Pipeline) {
        let bar = console.progress(self.reader.raw_end(), "recomputing");
        let (started, started_cpu) = (Instant::now(), processor_time());
        let mut events: Vec<Event> = Vec::new();
        let mut inputs = 0_u64;
        let mut shown = 0_u64;
        let mut raw = false;
        self.reader.for_each_run(|run| {
            raw |= matches!(run, Run::One(Input::Received { .. }));
            inputs += feed(&mut pipeline, run, &mut events);
            // Decisions are taken from the result at the end; live ones are not kept.
            events.clear();
            if inputs - shown >= PROGRESS_STEP {
                shown = inputs;
                bar.set_position(inputs);
            }
        });
        pipeline.finish(&mut events);
        let mut result = pipeline.result(&self.id);
        let took = started.elapsed();
        let on_processor = processor_time().saturating_sub(started_cpu);
        bar.finish_and_clear();
        result.quality.lost_blocks += self.reader.lost_blocks();
        result.run.what_if.clone_from(&self.what_if);
        let doubts = run_doubts::told(&pipeline, &result);
        result.run.doubts = doubts.iter().map(Doubt::alone).collect();
        let damage = self.reader.damage();
        let exit = self.tell_damage(&damage, console);
        for missing in missing_readings::told(&result, &pipeline.snapshot(), &self.job.job, raw) {
            console.warn(format_args!("{}: {missing}", self.path.display()));
        }
        for change in self
            .job
            .calibration_changes()
            .filter(|_| !raw && inputs > 0)
        {
            console.warn(format_args!(
                "{}: `{change}` changes nothing here: the readings of this run came calibrated (a table \
                 was imported), so only their calibration elsewhere can be put right",
                self.path.display()
            ));
        }
        let recomputed = Recomputed {
            result,
            damage,
            exit,
            took,
            on_processor,
            inputs,
            missing: self.missing_segments(),
        };
        (recomputed, pipeline)
    }

    /// Files of the recording that belonged to the run when it was finished, and are gone.
    pub(crate) fn missing_segments(&self) -> Vec<String> {
        (self.reader.missing_files().into_iter())
            .filter(|name| name.starts_with("raw-"))
            .collect()
    }

    /// Warns of each piece of damage; exit code 3 if anything was lost.
    pub(crate) fn tell_damage(&self, damage: &[Damage], console: &mut Console<'_>) -> Exit {
        const SHOWN: usize = 20;
        for piece in damage.iter().take(SHOWN) {
            console.warn(format_args!("{}: {piece}", self.path.display()));
        }
        if damage.len() > SHOWN {
            console.warn(format_args!(
                "{}: and {} more pieces of damage (see verify)",
                self.path.display(),
                damage.len() - SHOWN
            ));
        }
        let missing = self.missing_segments();
        // One before others leaves a hole between them, which has been told; one at the end leaves nothing.
        let told = |name: &String| {
            let hole = name.trim_start_matches("raw-").trim_end_matches(".kwr");
            damage
                .iter()
                .any(|d| d.segment.starts_with(&format!("{hole} (missing")))
        };
        for name in missing.iter().filter(|name| !told(name)) {
            console.warn(format_args!(
                "{}: {name} is missing, which belonged to the run when it was finished: its readings are lost to \
                 this result\n  remedy: put it back from a copy",
                self.path.display()
            ));
        }
        if self.head_damaged || !missing.is_empty() || damage.iter().any(|d| d.kind.is_loss()) {
            Exit::Damaged
        } else {
            Exit::Well
        }
    }
}

/// Time that this thread has had on a processor.
fn processor_time() -> Duration {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(
        u64::try_from(time.tv_sec).unwrap_or(0),
        u32::try_from(time.tv_nsec).unwrap_or(0),
    )
}

/// Pushes a stretch of the recording; gives the number of inputs in it.
fn feed(pipeline: &mut Pipeline, run: Run<'_>, events: &mut Vec<Event>) -> u64 {
    match run {
        Run::One(input) => {
            pipeline.push(input, events);
            1
        }
        Run::Readings(readings) => {
            let count = readings.len() as u64;
            for (channel, at, value) in readings {
                pipeline.reading(channel, at, value, events);
            }
            count
        }
    }
}
