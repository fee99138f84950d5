//! A run folder at the start of a run: a new one, or one that goes on.

use crate::catch_up::{self, ReadBack};
use crate::disk::Brake;
use crate::handover::Handover;
use crate::progress::Progress;
use crate::recorder::{Beginning, Decisions};
use crate::run_folder::{Interrupted, NewRun};
use kerfwatch::job::Job;
use kerfwatch::recording::RunHead;
use kerfwatch::time::Nanos;
use std::path::PathBuf;
use std::sync::Arc;

/// A run folder, ready to begin.
pub(super) struct Opened {
    pub(super) folder: PathBuf,
    pub(super) head: RunHead,
    pub(super) beginning: Beginning,
    /// Not older than any earlier input.
    pub(super) from: Nanos,
    pub(super) knows_depth: bool,
    /// What the record should tell about the time away.
    pub(super) note: Option<String>,
    /// What was recorded before an interruption.
    pub(super) read_back: Option<ReadBack>,
}

/// What is put on record where a run that was over goes on.
const HAD_ENDED: &str = "this run had been ended in order, and goes on";

impl Opened {
    pub(super) fn new(run: NewRun) -> Self {
        Self {
            folder: run.folder,
            head: run.head,
            beginning: Beginning::New(Box::new(run.writer)),
            from: 0,
            knows_depth: true,
            note: None,
            read_back: None,
        }
    }

    pub(super) fn interrupted(
        run: Interrupted,
        (job, brake, decisions, progress): (&Job, &Brake, &Decisions, &Arc<Progress>),
    ) -> Self {
        let (tell, recovered) = std::sync::mpsc::sync_channel(1);
        let read_back = ReadBack {
            folder: run.folder.clone(),
            job: job.clone(),
            brake: brake.clone(),
            recovered,
            since: Arc::new(Handover::new(catch_up::SINCE_BYTES_MAX)),
            decisions: decisions.clone(),
            progress: Arc::clone(progress),
            had_ended: run.had_ended,
        };
        Self {
            folder: run.folder,
            head: run.head,
            beginning: Beginning::Interrupted {
                disk: run.disk,
                recovered: tell,
            },
            from: run.away.from,
            note: match (run.had_ended, run.away.note) {
                (true, Some(away)) => Some(format!("{HAD_ENDED}; {away}")),
                (true, None) => Some(HAD_ENDED.to_owned()),
                (false, note) => note,
            },
            knows_depth: !run.counter_was_set,
            read_back: Some(read_back),
        }
    }
}
