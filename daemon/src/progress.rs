//! Counters of the sample path: the one thing health, watchdog and heartbeat go by.
//!
//! All are written by the thread that does the work and only read by others, so a web server that
//! answers cannot hide a sample path that stands still.

use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};

/// Shared counters. Relaxed ordering: each is a figure of its own.
#[derive(Debug, Default)]
pub struct Progress {
    /// Ticks that went through the whole ingest.
    pub ticks: AtomicU64,
    /// Inputs taken in.
    pub inputs: AtomicU64,
    /// Bytes received from instruments.
    pub bytes_received: AtomicU64,
    /// Ticks that went through the pipeline.
    pub core_ticks: AtomicU64,
    /// Run time of the newest input taken in, ns.
    pub ingest_at_ns: AtomicI64,
    /// Run time of the newest input the pipeline finished, ns.
    pub core_at_ns: AtomicI64,
    /// Run time up to which the record is safely on disk, ns.
    pub recorded_at_ns: AtomicI64,
    /// Bytes written to the record.
    pub recorded_bytes: AtomicU64,
    /// Inputs that could not be recorded.
    pub record_lost: AtomicU64,
    /// Of these, lost some seconds ago or longer, as the recorder last saw it.
    pub record_lost_before: AtomicU64,
    /// The recorder has no disk that works, or one that does not take everything.
    pub record_in_trouble: AtomicBool,
    /// Inputs the pipeline could not take in time.
    pub core_lost: AtomicU64,
    /// Write errors of the record.
    pub record_errors: AtomicU64,
    /// Longest sync to disk, ns.
    pub sync_ns_max: AtomicU64,
    /// Load readings the overpull guard has judged.
    pub guarded: AtomicU64,
    /// Overpulls the guard has raised.
    pub overpulls: AtomicU64,
    /// Port changes: opened.
    pub ports_opened: AtomicU64,
    /// Port changes: lost.
    pub ports_lost: AtomicU64,
    /// Steps of the host's UTC noticed.
    pub clock_steps: AtomicU64,
    /// Times the sample path did not run for a second or more.
    pub standstills: AtomicU64,
    /// Page: streams open now.
    pub streams: AtomicU64,
    /// Page: streams closed because their reader was too slow.
    pub streams_dropped: AtomicU64,
    /// Page: connections closed because others wanted in.
    pub crowded_out: AtomicU64,
    /// Requests that wanted to change something and were refused.
    pub refused: AtomicU64,
    /// Changes made from the page.
    pub changes: AtomicU64,
    /// The record of an interrupted run that is being read back.
    pub read_back: ReadBackProgress,
    /// The forwarder.
    pub forward: crate::forward::Status,
    /// A thread has panicked.
    pub failed: AtomicBool,
}

impl Progress {
    /// Whether all threads run, and what comes in is being recorded now.
    pub fn is_well(&self) -> bool {
        !self.failed.load(Ordering::Relaxed)
            && !self.record_in_trouble.load(Ordering::Relaxed)
            && !self.is_losing()
    }

    /// Whether inputs of the last seconds are lost for the record. A disk in trouble loses nothing while memory holds
    /// what it does not take.
    pub fn is_losing(&self) -> bool {
        read(&self.record_lost) > read(&self.record_lost_before)
    }
}

/// How far the record of an interrupted run has been read back. Nothing to read back: never on.
#[derive(Debug, Default)]
pub struct ReadBackProgress {
    /// From the start until the core has changed over.
    pub on: AtomicBool,
    /// The record is through; what has come since may not be.
    pub done: AtomicBool,
    entries: AtomicU64,
    reached: AtomicU64,
}

impl ReadBackProgress {
    /// So many entries are to be read back.
    pub fn begin(&self, entries: u64) {
        self.entries.store(entries, Ordering::Relaxed);
    }

    /// This entry is being read.
    pub fn reached(&self, entry: u64) {
        self.reached.store(entry, Ordering::Relaxed);
    }

    /// The part that is through, 0 to 1; `None` while nothing is read back.
    pub fn part(&self) -> Option<f64> {
        if !self.on.load(Ordering::Acquire) {
            return None;
        }
        let entries = read(&self.entries).max(1) as f64;
        Some(match self.done.load(Ordering::Acquire) {
            true => 1.0,
            false => (read(&self.reached) as f64 / entries).min(1.0),
        })
    }
}

/// Adds one.
pub fn count(counter: &AtomicU64) {
    counter.fetch_add(1, Ordering::Relaxed);
}

/// Reads a counter.
pub fn read(counter: &AtomicU64) -> u64 {
    counter.load(Ordering::Relaxed)
}
