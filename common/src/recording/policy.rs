//! How a run is written: times, sizes, packing.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// How to write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Policy {
    /// Longest time that unsynced data may wait; `sync` of the job file.
    pub sync_every: Nanos,
    /// A segment is closed when it is longer than this.
    pub segment_bytes: u64,
    /// A segment is closed when it is open for longer than this.
    pub segment_time: Nanos,
    /// Most entries of one block.
    pub block_entries: usize,
    /// Most bytes that wait in memory while the disk refuses.
    pub backlog_bytes: usize,
    /// Whether closed segments are rewritten in large blocks.
    pub pack: bool,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            sync_every: NANOS_PER_SECOND,
            segment_bytes: 4 << 20,
            segment_time: 600 * NANOS_PER_SECOND,
            block_entries: 8192,
            backlog_bytes: 8 << 20,
            pack: true,
        }
    }
}

impl Policy {
    /// For data that exist elsewhere already (imports): synced only when a segment is closed and at the end.
    pub fn bulk() -> Self {
        Self {
            sync_every: Nanos::MAX,
            segment_time: Nanos::MAX,
            pack: false,
            ..Self::default()
        }
    }
}
