//! What the writer tells of itself: its state while it writes, what it found on resuming.

use super::error::Damage;
use crate::time::Nanos;

/// State of the recording, for the page and the `recorder` alarm.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Health {
    /// What is wrong now, in plain words.
    pub fault: Option<String>,
    /// The disk is full: everything waits in memory, the oldest derived segments are removed.
    pub disk_full: bool,
    /// Raw entries recorded so far.
    pub raw_entries: u64,
    /// Of these, on disk for certain.
    pub raw_durable: u64,
    /// Raw entries given up because the backlog was full.
    pub raw_lost: u64,
    /// Segments that another program removed or changed while they were being written.
    pub segments_disturbed: u64,
    /// Derived records given up.
    pub derived_lost: u64,
    /// Derived segments removed to make room.
    pub derived_segments_removed: u64,
    /// Bytes waiting in memory.
    pub backlog_bytes: usize,
    /// Bytes handed to the system.
    pub bytes_written: u64,
    /// Syncs of files and folder.
    pub syncs: u64,
}

/// A universal time noted beside a run time, to tell clock drift afterwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq, bincode::Encode, bincode::Decode)]
pub struct ClockAnchor {
    /// Run time.
    pub at: Nanos,
    /// Universal time, ns since 1970-01-01.
    pub unix_ns: i64,
}

/// What [`super::writer::RunWriter::resume`] found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Recovery {
    /// Damage seen, torn tails (now cut off) included.
    pub damage: Vec<Damage>,
    /// Raw entries numbered so far, lost ones included.
    pub raw_entries: u64,
    /// Derived records numbered so far.
    pub derived_entries: u64,
}
