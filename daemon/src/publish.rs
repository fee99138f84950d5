//! The present, handed from the core thread to whoever looks: page, metrics, outputs.
//!
//! Nothing here waits: readers take an `Arc` of the newest state, slow stream readers fall behind
//! and are dropped ([`crate::web`]).

use crate::history::History;
use crate::progress::Progress;
use crate::shell_alarm::ShellAlarms;
use arc_swap::ArcSwap;
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::result::{AlarmRecord, RunResult, Stroke};
use kerfwatch::snapshot::Snapshot;
use kerfwatch::time::{Nanos, seconds};
use serde::Serialize;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{broadcast, watch};

/// Strokes kept for whoever opens the page: what its pictures show, and a few more.
pub const STROKES_KEPT: usize = 60;
/// Changes of alarms kept for whoever opens the page: those of a shift on which much goes wrong.
const ALARMS_KEPT: usize = 200;

/// Decisions worth telling at once.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Told {
    /// A stroke ended.
    Stroke(Stroke),
    /// An alarm changed.
    Alarm(AlarmChange),
    /// An operator's mark was taken.
    Mark(MarkView),
    /// The record of the interrupted run has been read back: strokes, marks and history are whole.
    CaughtUp {
        /// When.
        at_s: f64,
    },
}

/// What became of an alarm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlarmChange {
    /// When.
    pub at_s: f64,
    /// Kind of alarm.
    pub alarm: String,
    /// Which of several of that kind: `load` or `depth` of `sensor`; else empty.
    pub about: String,
    /// New state.
    pub state: String,
}

impl AlarmChange {
    /// As the pipeline told it.
    pub fn of(at: Nanos, state: &str, record: &AlarmRecord) -> Self {
        Self {
            at_s: seconds(at),
            alarm: record.kind.clone(),
            about: record.about.clone().unwrap_or_default(),
            state: state.to_owned(),
        }
    }
}

/// A mark as shown.
#[derive(Debug, Clone, Serialize)]
pub struct MarkView {
    /// When.
    pub at_s: f64,
    /// Who.
    pub author: String,
    /// What: one word.
    pub mark: String,
    /// Text or value, empty when there is none.
    pub text: String,
}

/// A mark in words for page and console; `None` for what concerns the daemon alone.
pub fn mark_view(at: Nanos, mark: &Mark) -> Option<MarkView> {
    let (word, text) = match &mark.kind {
        MarkKind::CutterOut => ("cutter_out", String::new()),
        MarkKind::CutterIn => ("cutter_in", String::new()),
        MarkKind::WeightCheck => ("weight_check", String::new()),
        MarkKind::Note(text) => ("note", text.clone()),
        MarkKind::Zero(metres) => ("zero", format!("{metres} m")),
        MarkKind::ReferenceDepth(metres) => ("reference_depth", format!("{metres} m")),
        MarkKind::Acknowledge(kind) => ("acknowledge", kind.clone()),
        MarkKind::Shelve(kind, seconds) => ("shelve", format!("{kind} for {seconds} s")),
        MarkKind::Reset(kind) => ("reset", kind.clone()),
        MarkKind::AlarmsBefore(_) => (
            "alarms_before",
            "alarms of the run before that nobody had dealt with".to_owned(),
        ),
        MarkKind::DaemonAlarm(_) => return None,
    };
    Some(MarkView {
        at_s: seconds(at),
        author: mark.author.clone(),
        mark: word.to_owned(),
        text,
    })
}

/// Keeps a stroke among the newest.
pub fn keep_stroke(strokes: &mut VecDeque<Stroke>, stroke: Stroke) {
    keep_newest(strokes, stroke, STROKES_KEPT);
}

/// Keeps a change of an alarm among the newest.
pub fn keep_alarm(alarms: &mut VecDeque<AlarmChange>, change: AlarmChange) {
    keep_newest(alarms, change, ALARMS_KEPT);
}

fn keep_newest<T>(kept: &mut VecDeque<T>, newest: T, most: usize) {
    if kept.len() >= most {
        kept.pop_front();
    }
    kept.push_back(newest);
}

/// Shared present of one run.
#[derive(Debug)]
pub struct Published {
    /// The job.
    pub job: Job,
    /// Run id.
    pub run_id: String,
    /// Folder of the run, as given.
    pub run_folder: String,
    /// UTC of run time zero, RFC 3339.
    pub started_utc: String,
    /// Speed of the run clock (1 except in the demonstration).
    pub speed: f64,
    /// Counters.
    pub progress: Arc<Progress>,
    /// Newest snapshot.
    pub snapshot: watch::Sender<Arc<Snapshot>>,
    /// Strokes, alarms, marks as they happen.
    pub told: broadcast::Sender<Told>,
    /// Points for the charts.
    pub history: Mutex<History>,
    /// Newest strokes, oldest first, at most [`STROKES_KEPT`].
    pub strokes: Mutex<VecDeque<Stroke>>,
    /// Marks so far.
    pub marks: Mutex<Vec<MarkView>>,
    alarms: Mutex<VecDeque<AlarmChange>>,
    /// Conditions of the shell itself: recorder, outputs, forwarder.
    pub shell_alarms: Arc<ShellAlarms>,
    result: ArcSwap<RunResult>,
    result_wanted: AtomicU64,
    result_made: watch::Sender<u64>,
}

impl Published {
    /// The state before the first input.
    pub fn new(
        job: Job,
        run_id: String,
        run_folder: String,
        started_utc: String,
        speed: f64,
        progress: Arc<Progress>,
        snapshot: Snapshot,
        result: RunResult,
    ) -> Self {
        Self {
            job,
            run_id,
            run_folder,
            started_utc,
            speed,
            progress,
            snapshot: watch::Sender::new(Arc::new(snapshot)),
            told: broadcast::Sender::new(256),
            history: Mutex::new(History::default()),
            strokes: Mutex::default(),
            marks: Mutex::default(),
            alarms: Mutex::default(),
            shell_alarms: Arc::default(),
            result: ArcSwap::from_pointee(result),
            result_wanted: AtomicU64::new(0),
            result_made: watch::Sender::new(0),
        }
    }

    /// The history, whoever panicked while holding it.
    pub fn history(&self) -> std::sync::MutexGuard<'_, History> {
        self.history.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The marks.
    pub fn marks(&self) -> std::sync::MutexGuard<'_, Vec<MarkView>> {
        self.marks.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The newest changes of alarms, oldest first.
    pub fn alarms(&self) -> std::sync::MutexGuard<'_, VecDeque<AlarmChange>> {
        self.alarms.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The newest strokes.
    pub fn strokes(&self) -> std::sync::MutexGuard<'_, VecDeque<Stroke>> {
        self.strokes.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Asks the core thread for the whole result as of now; the last one if it does not answer.
    pub async fn fresh_result(&self) -> Arc<RunResult> {
        let mut made = self.result_made.subscribe();
        let wanted = self.result_wanted.fetch_add(1, Ordering::AcqRel) + 1;
        let answer = made.wait_for(|made| *made >= wanted);
        // A run that has ended answers no more: its last result is the final one.
        let _ = tokio::time::timeout(std::time::Duration::from_secs(5), answer).await;
        self.result.load_full()
    }

    /// For the core thread: makes the result if somebody has asked.
    pub fn answer_result(&self, make: impl FnOnce() -> RunResult) {
        let wanted = self.result_wanted.load(Ordering::Acquire);
        if wanted > *self.result_made.borrow() {
            self.put_result(make(), wanted);
        }
    }

    /// For the core thread: the final result.
    pub fn final_result(&self, result: RunResult) {
        self.put_result(result, u64::MAX);
    }

    fn put_result(&self, result: RunResult, number: u64) {
        self.result.store(Arc::new(result));
        self.result_made.send_replace(number);
    }
}
