//! The recorder thread: everything that went in, and what was decided, to disk.
//!
//! It is the only one that waits for the disk. While the disk stalls, inputs wait packed in memory
//! (minutes at 2 kHz, [`crate::handover`]); what finds no room is counted and noted in the record.
//! A failed sync ends that writer, as nobody can know what the disk holds: the folder is then
//! recovered and recording goes on in new segments.
//!
//! *Never a decision without its inputs*: a decision is written after the inputs it follows from, so that a run
//! that is cut off anywhere can be gone on with from its inputs alone.

use crate::disk::Disk;
use crate::handover::{Batch, Handover};
use crate::progress::{Progress, count, read};
use crate::shell_alarm::ShellAlarms;
use kerfwatch::alarm::AlarmKind;
use kerfwatch::input::{Input, Mark, MarkKind};
use kerfwatch::recording::{Derived, Health, Policy, RecordError, RunWriter, time_of};
use kerfwatch::time::seconds;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::time::{Duration, Instant};

/// Wall time between looks at the queue.
const LOOK: Duration = Duration::from_millis(50);
/// Wall time between attempts to record again after a failure.
const RETRY: Duration = Duration::from_secs(5);
/// Decisions that may wait for the disk.
const DECISIONS_MAX: usize = 16_384;
/// Looks at a full queue of decisions before one is given up: five seconds.
const PATIENCE_LOOKS: u32 = 100;
/// Wall time for which inputs that found no room count as lost now.
const LATELY: Duration = Duration::from_secs(10);
/// Part of the queue that may fill before the disk counts as too slow.
const SLOW_PART: usize = 4;
const ALARM: AlarmKind = AlarmKind::Recorder;
/// Which of its alarms, since an acknowledged one may not hide another: the writer is in trouble, the disk lags behind,
/// nothing is written at all.
const FAULT: &str = "";
const SLOW: &str = "slow";
const STOPPED: &str = "stopped";

/// Hands decisions over without ever waiting.
///
/// Each in a box: the channel has its room from the start, which would be two megabytes of them.
#[derive(Debug, Clone)]
pub struct Decisions {
    sender: SyncSender<Box<Derived>>,
}

impl Decisions {
    /// The way in and the way out.
    pub fn channel() -> (Self, Receiver<Box<Derived>>) {
        let (sender, receiver) = sync_channel(DECISIONS_MAX);
        (Self { sender }, receiver)
    }

    /// `false` when there was no room: a replay can always make it again from the raw record.
    pub fn tell(&self, record: Derived) -> bool {
        self.sender.try_send(Box::new(record)).is_ok()
    }

    /// The same, but gives the recorder some seconds to make room. Only for whoever may wait.
    pub fn tell_patiently(&self, record: Derived) -> bool {
        let mut record = Box::new(record);
        for _ in 0..PATIENCE_LOOKS {
            match self.sender.try_send(record) {
                Ok(()) => return true,
                Err(TrySendError::Full(back)) => record = back,
                Err(TrySendError::Disconnected(_)) => return false,
            }
            std::thread::sleep(LOOK);
        }
        false
    }
}

/// How the recording begins.
#[derive(Debug)]
pub enum Beginning {
    /// In a new folder.
    New(Box<RunWriter<Disk>>),
    /// With a run that was cut off.
    Interrupted {
        /// Its folder, locked.
        disk: Disk,
        /// Told how many entries were there.
        recovered: SyncSender<u64>,
    },
}

impl Beginning {
    /// Recovers the folder, if it has to be.
    pub fn writer(self, sync_s: f64) -> Result<RunWriter<Disk>, RecordError> {
        match self {
            Self::New(writer) => Ok(*writer),
            Self::Interrupted { disk, recovered } => {
                let (writer, _, recovery) = RunWriter::resume(disk, policy(sync_s))?;
                for damage in &recovery.damage {
                    tracing::warn!("{damage}");
                }
                // The core may have ended already.
                let _ = recovered.send(recovery.raw_entries);
                Ok(writer)
            }
        }
    }
}

/// Decisions whose inputs may still wait in the queue.
#[derive(Debug, Default)]
struct Held(VecDeque<(u64, Derived)>);

impl Held {
    /// Takes what was decided so far. Its inputs were pushed before, so the queue is asked afterwards.
    fn take(&mut self, decisions: &Receiver<Box<Derived>>, inputs: &Handover) {
        let before = self.0.len();
        let room = DECISIONS_MAX.saturating_sub(before);
        self.0
            .extend(decisions.try_iter().take(room).map(|record| (0, *record)));
        let pushed = inputs.pushed();
        for (follows, _) in self.0.iter_mut().skip(before) {
            *follows = pushed;
        }
    }

    /// The next decision that follows from the first `taken` inputs alone.
    fn next(&mut self, taken: u64) -> Option<Derived> {
        if self.0.front()?.0 > taken {
            return None;
        }
        self.0.pop_front().map(|(_, record)| record)
    }
}

/// When inputs last found no room.
#[derive(Debug)]
struct Losses {
    lost: u64,
    since: Instant,
}

impl Losses {
    /// Tells `progress` what was lost longer ago than [`LATELY`]. Not asked while the disk holds the thread up: what is
    /// lost then stays news.
    fn look(&mut self, progress: &Progress, now: Instant) {
        let lost = read(&progress.record_lost);
        if lost != self.lost {
            (self.lost, self.since) = (lost, now);
        } else if now - self.since >= LATELY {
            progress.record_lost_before.store(lost, Ordering::Relaxed);
        }
    }
}

/// A writer that has failed.
#[derive(Debug)]
struct Failed {
    /// Inputs that it had taken in the whole run.
    entries: u64,
    /// Of these, on disk for certain.
    durable: u64,
    why: String,
}

impl Failed {
    fn of(health: &Health, error: &RecordError) -> Self {
        Self {
            entries: health.raw_entries,
            durable: health.raw_durable,
            why: error.to_string(),
        }
    }
}

/// Opens the folder again after a failure.
pub type Reopen = Box<dyn FnMut() -> Result<RunWriter<Disk>, RecordError> + Send>;

/// The thread's state.
pub struct Recorder {
    /// Writes; `None` while there is no working disk.
    pub writer: Option<RunWriter<Disk>>,
    /// How to get a new writer.
    pub reopen: Reopen,
    /// Where inputs come from.
    pub inputs: Arc<Handover>,
    /// Where decisions come from; closed when the core has ended.
    pub decisions: Receiver<Box<Derived>>,
    /// Counters.
    pub progress: Arc<Progress>,
    /// Shown when the disk fails.
    pub alarms: Arc<ShellAlarms>,
}

/// When the policy asks for a turn is wall time: the demonstration must not sync sixty times as often.
pub fn policy(sync: f64) -> Policy {
    Policy {
        sync_every: kerfwatch::time::nanos(sync.max(0.05)).unwrap_or(1_000_000_000),
        ..Policy::default()
    }
}

impl Recorder {
    /// Runs until inputs and decisions have ended; then seals the run. `Err` when the end could not
    /// be written: the run can still be resumed.
    ///
    /// A sync that fails at the very end is no reason to give up: what was taken last is on record only once it
    /// is synced, so the folder is opened once more.
    pub fn run(mut self) -> Result<(), RecordError> {
        let start = Instant::now();
        let mut batch = Batch::default();
        let mut retry_at = Instant::now();
        let mut newest = i64::MIN;
        let mut open = true;
        let mut held = Held::default();
        let mut failed: Option<Failed> = None;
        let mut was_last_try = false;
        let mut taken = 0;
        let mut lost_before = 0;
        let mut given_up = 0;
        let mut losses = Losses {
            lost: 0,
            since: start,
        };
        while open {
            losses.look(&self.progress, Instant::now());
            if self.writer.is_none() {
                if Instant::now() < retry_at && !self.inputs.is_closed() {
                    std::thread::sleep(LOOK);
                    continue;
                }
                retry_at = Instant::now() + RETRY;
                match (self.reopen)() {
                    Ok(mut writer) => {
                        if let Some(before) = failed.take() {
                            let lost = before.entries.saturating_sub(writer.health().raw_entries);
                            self.lost(lost);
                            given_up = 0;
                            // In the record only: the pipeline has had these inputs.
                            if let Err(error) = writer.append(&lost_note(newest, lost, &before.why))
                            {
                                tracing::warn!("{lost} inputs are not on record: {error}");
                            }
                        }
                        self.writer = Some(writer);
                    }
                    Err(error) => {
                        self.failed(&error, newest);
                        if self.inputs.is_closed() {
                            self.ends_without(failed.as_ref(), taken);
                            return Err(error);
                        }
                        continue;
                    }
                }
            }
            held.take(&self.decisions, &self.inputs);
            open = self.inputs.take(&mut batch, LOOK);
            let Some(writer) = &mut self.writer else {
                continue;
            };
            let mut result = Ok(());
            batch.drain(|input| {
                taken += 1;
                newest = newest.max(time_of(input));
                if let Err(error) = writer.append(input) {
                    result = Err(error);
                }
            });
            while let Some(record) = held.next(taken) {
                writer.derive(record);
            }
            let before = Instant::now();
            let result = result.and_then(|()| writer.turn(elapsed_ns(start)));
            match result {
                Ok(synced) => {
                    if synced {
                        self.synced(before.elapsed(), newest);
                    }
                    self.look_at_health(newest, &mut lost_before, &mut given_up);
                }
                Err(error) => {
                    failed = Some(Failed::of(&writer.health(), &error));
                    self.failed(&error, newest);
                    self.writer = None;
                    if !open && was_last_try {
                        self.ends_without(failed.as_ref(), taken);
                        return Err(error);
                    }
                    was_last_try = !open;
                    open = true;
                }
            }
        }
        // The core has the same inputs still to finish; its last decisions belong to the record.
        let rest = held.0.into_iter().map(|(_, record)| record);
        for record in rest.chain(self.decisions.iter().map(|record| *record)) {
            if let Some(writer) = &mut self.writer {
                writer.derive(record);
            }
        }
        match self.writer.take() {
            Some(writer) => {
                let bytes = writer.health().bytes_written;
                writer
                    .finish(elapsed_ns(start))
                    .inspect_err(|_| self.works(false))?;
                self.progress
                    .recorded_at_ns
                    .store(newest, Ordering::Relaxed);
                self.progress.recorded_bytes.store(bytes, Ordering::Relaxed);
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn synced(&self, took: Duration, newest: i64) {
        let took = u64::try_from(took.as_nanos()).unwrap_or(u64::MAX);
        self.progress.sync_ns_max.fetch_max(took, Ordering::Relaxed);
        // A disk that is filling up may have taken a part only.
        if self.writer.as_ref().is_some_and(|writer| {
            let health = writer.health();
            health.raw_durable == health.raw_entries
        }) {
            self.progress
                .recorded_at_ns
                .store(newest, Ordering::Relaxed);
        }
    }

    /// `lost_before`: inputs lost when this was last looked at; `given_up`: likewise of this writer.
    fn look_at_health(&self, newest: i64, lost_before: &mut u64, given_up: &mut u64) {
        let Some(writer) = &self.writer else { return };
        let health = writer.health();
        self.progress
            .recorded_bytes
            .store(health.bytes_written, Ordering::Relaxed);
        self.works(health.fault.is_none());
        self.lost(health.raw_lost.saturating_sub(*given_up));
        *given_up = health.raw_lost;
        self.alarms.clear(ALARM, STOPPED);
        let fault = health.fault.map(|fault| {
            format!(
                "the record is in trouble: {fault}; {}; free the disk or change it",
                match health.raw_lost {
                    0 => "nothing is lost yet, what comes waits in memory for some minutes"
                        .to_owned(),
                    lost => format!("{lost} entries lost so far"),
                }
            )
        });
        self.judge(FAULT, newest, fault);
        let backlog = self.inputs.backlog();
        let lags = backlog.bytes > backlog.bytes_max / SLOW_PART || backlog.lost > *lost_before;
        *lost_before = backlog.lost;
        let slow = lags.then(|| {
            format!(
                "the disk is too slow: {} of {} KiB wait to be recorded, {} inputs lost so far",
                backlog.bytes / 1024,
                backlog.bytes_max / 1024,
                backlog.lost
            )
        });
        self.judge(SLOW, newest, slow);
    }

    /// `trouble`: what there is now, if anything.
    fn judge(&self, which: &str, newest: i64, trouble: Option<String>) {
        match trouble {
            Some(text) => self.alarms.raise(ALARM, which, seconds(newest), text),
            None => self.alarms.clear(ALARM, which),
        }
    }

    /// Inputs that had found room and are not on record all the same.
    fn lost(&self, entries: u64) {
        let lost = &self.progress.record_lost;
        lost.fetch_add(entries, Ordering::Relaxed);
    }

    /// The run ends here, and nobody can read what the disk holds of it: only what was synced counts as on record.
    fn ends_without(&self, failed: Option<&Failed>, taken: u64) {
        let unsynced = failed.map_or(0, |failed| failed.entries.saturating_sub(failed.durable));
        let lost = unsynced + self.inputs.pushed().saturating_sub(taken);
        self.lost(lost);
        tracing::error!("the record could not be ended: {lost} inputs are not on it for certain");
    }

    fn works(&self, works: bool) {
        self.progress
            .record_in_trouble
            .store(!works, Ordering::Relaxed);
    }

    fn failed(&self, error: &RecordError, newest: i64) {
        count(&self.progress.record_errors);
        self.works(false);
        let text = format!(
            "nothing is being written: {error}; what comes waits in memory for some minutes"
        );
        self.judge(STOPPED, newest, Some(text));
    }
}

/// Says in the record what it lacks.
fn lost_note(at: i64, lost: u64, why: &str) -> Input {
    let text = format!("{lost} inputs before this are not on record: {why}");
    Input::Mark {
        at: at.max(0),
        mark: Mark::of_daemon(MarkKind::Note(text)),
    }
}

fn elapsed_ns(start: Instant) -> i64 {
    i64::try_from(start.elapsed().as_nanos()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests;
