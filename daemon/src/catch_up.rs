//! The record of an interrupted run, read back through a pipeline of its own while the run goes on.
//!
//! Reading back hours takes seconds, on an overloaded machine minutes. Ports are open and the guard
//! watches meanwhile; the core follows the present with a *stand-in*, a pipeline that knows the job but not
//! what came before, so that every alarm works at once. What it takes in waits in [`ReadBack::since`] as well
//! and goes through the real pipeline after the record: same inputs, same order, so a replay finds the same.
//! Then the core changes over ([`CatchingUp::caught_up`]); nothing the stand-in found is recorded.

use crate::core::{ByDesign, Sampler};
use crate::disk::{Brake, Disk};
use crate::handover::{Batch, Handover};
use crate::history::History;
use crate::progress::{Progress, count};
use crate::publish::{AlarmChange, MarkView, Published, keep_alarm, keep_stroke, mark_view};
use crate::recorder::Decisions;
use crate::shell_alarm::ShellAlarms;
use kerfwatch::alarm::GuardModel;
use kerfwatch::input::{Event, Input, Mark, MarkKind};
use kerfwatch::job::{Job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, Folder, RunReader, Storage, time_of};
use kerfwatch::result::Stroke;
use kerfwatch::units::Newtons;
use sha2::{Digest as _, Sha256};
use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Receiver;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::mpsc;

/// Packed bytes that may wait for the record to be read back: over twenty minutes at 2 kHz. Taken only
/// while they wait.
pub const SINCE_BYTES_MAX: usize = 64 << 20;
/// So few bytes that the core may wait for them to go through.
const NEAR_BYTES: usize = 16 << 10;
const LOOK: Duration = Duration::from_millis(20);

/// Work of the thread that reads back.
#[derive(Debug)]
pub struct ReadBack {
    /// Where the record is.
    pub folder: PathBuf,
    /// Its job.
    pub job: Job,
    /// Holds it up in tests.
    pub brake: Brake,
    /// Told by the recorder once the folder is recovered: so many entries were there.
    pub recovered: Receiver<u64>,
    /// What has come since, from the core.
    pub since: Arc<Handover>,
    /// Decisions that are not yet on record.
    pub decisions: Decisions,
    /// How far it has come.
    pub progress: Arc<Progress>,
    /// The run had been ended in order before it went on.
    pub had_ended: bool,
}

/// What the core goes on with.
#[derive(Debug)]
pub struct CaughtUp {
    /// Has had all inputs of the run.
    pub pipeline: Pipeline,
    /// Points for the charts.
    pub history: History,
    /// Newest strokes.
    pub strokes: VecDeque<Stroke>,
    /// All marks.
    pub marks: Vec<MarkView>,
    /// Newest changes of alarms.
    pub alarms: VecDeque<AlarmChange>,
    /// The daemon's own alarms as they were.
    pub shell_alarms: ShellAlarms,
    /// What is no news.
    pub by_design: ByDesign,
}

impl ReadBack {
    /// Reads back, then takes what has come since, until there is no more. `None`: the folder could not be
    /// recovered, and the run is about to end.
    pub fn run(self) -> Option<CaughtUp> {
        let entries = self.recovered.recv().ok()?;
        self.progress.read_back.begin(entries);
        let disk = Disk::to_read_back(Folder::open(&self.folder), self.brake.clone());
        let mut caught_up = CaughtUp {
            pipeline: Pipeline::new(&self.job),
            history: History::default(),
            strokes: VecDeque::new(),
            marks: Vec::new(),
            alarms: VecDeque::new(),
            shell_alarms: ShellAlarms::default(),
            by_design: ByDesign::default(),
        };
        let mut taking = Taking {
            sampler: Sampler::default(),
            known: Known::default(),
            decisions: &self.decisions,
            events: Vec::new(),
            decided: 0,
        };
        match RunReader::new(disk) {
            Ok(mut reader) => {
                taking.known = Known::of(&mut reader);
                reader.for_each_input_while(0, |number, input| {
                    // What this daemon records itself comes from the core.
                    if number >= entries {
                        return false;
                    }
                    self.progress.read_back.reached(number);
                    taking.take(input, &mut caught_up);
                    if let Input::Mark { mark, .. } = input {
                        caught_up.shell_alarms.follow(&mark.kind);
                    }
                    true
                });
            }
            Err(error) => tracing::error!(%error, "the record cannot be read back"),
        }
        let decided = taking.decided;
        tracing::info!(entries, decided, "record read back");
        // A run that had ended has decided on what was cut short by that, which its inputs do not.
        if taking.known.left() > 0 && !self.had_ended {
            tracing::warn!(
                "{} decisions on record do not follow from the inputs on record: inputs were lost",
                taking.known.left()
            );
        }
        self.progress.read_back.done.store(true, Ordering::Release);
        let mut batch = Batch::default();
        while self.since.take(&mut batch, LOOK) {
            batch.drain(|input| {
                taking.take(input, &mut caught_up);
                if let Input::Mark { mark, .. } = input {
                    caught_up.shell_alarms.mark(&mark.kind);
                }
            });
        }
        Some(caught_up)
    }
}

/// One input after the other.
struct Taking<'a> {
    sampler: Sampler,
    known: Known,
    decisions: &'a Decisions,
    events: Vec<Event>,
    decided: usize,
}

impl Taking<'_> {
    fn take(&mut self, input: &Input, into: &mut CaughtUp) {
        into.pipeline.push(input, &mut self.events);
        for event in self.events.drain(..) {
            self.decided += 1;
            let record = Derived::from(&event);
            if !self.known.take(&record) {
                self.decisions.tell_patiently(record);
            }
            match event {
                Event::Stroke(stroke) => keep_stroke(&mut into.strokes, stroke),
                Event::Alarm { at, state, record } => {
                    if !into.by_design.is_one(state, &record) {
                        keep_alarm(&mut into.alarms, AlarmChange::of(at, state, &record));
                    }
                }
                Event::Interval(_) => {}
            }
        }
        if let Some(point) = self.sampler.next(time_of(input), &mut into.pipeline) {
            into.history.push(point);
        }
        if let Input::Mark { at, mark } = input {
            into.marks.extend(mark_view(*at, mark));
        }
    }
}

/// Decisions that are on record already. They are told by their contents: what had been decided but not yet written
/// when the run was cut off may be anywhere, as a full disk takes the oldest of them first. Only their digests are kept:
/// after days there are tens of thousands.
#[derive(Debug, Default)]
struct Known(BTreeMap<Print, u32>);

type Print = [u8; 32];

impl Known {
    fn of(reader: &mut RunReader<impl Storage>) -> Self {
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
        if self.0.is_empty() {
            return false;
        }
        let key = Self::key(record);
        let Some(count) = self.0.get_mut(&key) else {
            return false;
        };
        *count -= 1;
        if *count == 0 {
            self.0.remove(&key);
        }
        true
    }

    fn left(&self) -> usize {
        self.0.values().map(|&count| count as usize).sum()
    }

    fn key(record: &Derived) -> Print {
        // Numbers are written so that they read back to the same bits.
        let text = serde_json::to_string(record).unwrap_or_default();
        Sha256::digest(text).into()
    }
}

/// The core's side while a thread reads back.
#[derive(Debug)]
pub struct CatchingUp {
    /// Towards the thread.
    since: Closing,
    /// The thread.
    thread: JoinHandle<Option<CaughtUp>>,
}

/// Tells the thread that no more will come, also when the core ends by a panic: the recorder waits for whoever can
/// still decide something.
#[derive(Debug)]
struct Closing(Arc<Handover>);

impl Drop for Closing {
    fn drop(&mut self) {
        self.0.close();
    }
}

impl CatchingUp {
    /// The core's side of `thread`, which takes from `since`.
    pub fn new(since: Arc<Handover>, thread: JoinHandle<Option<CaughtUp>>) -> Self {
        Self {
            since: Closing(since),
            thread,
        }
    }

    /// Keeps an input for the real pipeline.
    pub fn keep(&self, input: &Input, progress: &Progress) {
        if !self.since.0.push(input) {
            if self.since.0.backlog().lost == 1 {
                tracing::error!(
                    "reading back the record takes too long: strokes and groove will lack what comes now; the record has it"
                );
            }
            count(&progress.core_lost);
        }
    }

    /// Whether it is time to change over: the record is through, and nearly all that has come since.
    pub fn is_near(&self, progress: &Progress) -> bool {
        self.thread.is_finished()
            || progress.read_back.done.load(Ordering::Acquire)
                && self.since.0.backlog().bytes < NEAR_BYTES
    }

    /// Waits for the last inputs to go through. `None`: the folder could not be recovered.
    pub fn caught_up(self) -> Option<CaughtUp> {
        drop(self.since);
        match self.thread.join() {
            Ok(caught_up) => caught_up,
            // The run ends as by any other panic.
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

/// The job as a stand-in takes it. Where the crew had set the depth counter, depth is not known until the record
/// is read back: the limit is then the least of all depths, and no stop is near.
pub fn stand_in_job(job: &Job, counter_was_set: bool) -> Job {
    let mut job = job.clone();
    if counter_was_set {
        let least = GuardModel::new(&job).limit_n(None);
        job.alarm.tension_limit = Some(Newtons(least));
        job.alarm.upper_stop = None;
        job.alarm.lower_stop = None;
    }
    job
}

/// Takes over what was open when another run broke off; nothing where its record does not tell. Takes as long as
/// reading that back.
pub fn take_over(folder: &Path, published: &Published, marks: &mpsc::Sender<Mark>) {
    let Some((alarms, shell_alarms)) = alarms_of(folder) else {
        tracing::warn!("the run before does not tell its open alarms");
        return;
    };
    published.shell_alarms.take_over(&shell_alarms);
    if let Some(kind) = alarms {
        // An input like any other, so that a replay finds them too. The run may be ending.
        let _ = marks.blocking_send(Mark::of_daemon(kind));
    }
}

/// Alarms that nobody had dealt with, of a run and of the daemon.
fn alarms_of(folder: &Path) -> Option<(Option<MarkKind>, ShellAlarms)> {
    let mut reader = RunReader::open(folder).ok()?;
    let job = read_job(&reader.head().ok()?.job.clone(), "run.toml")
        .ok()?
        .job;
    let mut pipeline = Pipeline::new(&job);
    let shell_alarms = ShellAlarms::default();
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| {
        pipeline.push(input, &mut events);
        events.clear();
        if let Input::Mark { mark, .. } = input {
            shell_alarms.follow(&mark.kind);
        }
    });
    let saved = pipeline.saved_alarms();
    let alarms = (!saved.is_empty())
        .then(|| serde_json::to_string(&saved).ok())
        .flatten()
        .map(MarkKind::AlarmsBefore);
    Some((alarms, shell_alarms))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;

    #[test]
    fn the_thread_ends_when_the_core_is_gone() {
        let since = Arc::new(Handover::new(1 << 10));
        let taken = Arc::clone(&since);
        let (ended, end) = std::sync::mpsc::channel();
        let thread = std::thread::spawn(move || {
            let mut batch = Batch::default();
            let deadline = Instant::now() + Duration::from_secs(10);
            let mut is_open = true;
            while is_open && Instant::now() < deadline {
                is_open = taken.take(&mut batch, LOOK);
            }
            let _ = ended.send(is_open);
            None
        });
        let catching_up = CatchingUp::new(since, thread);
        let core = std::thread::spawn(move || {
            let _catching_up = catching_up;
            std::panic::resume_unwind(Box::new("the core fails"));
        });
        assert!(core.join().is_err());
        assert_eq!(end.recv(), Ok(false), "still waiting for inputs");
    }
}
