//! One store (raw or derived) while it is being written: segments, backlog, sync.
//!
//! Blocks enter a backlog in memory and leave it when the system has taken them. What is not synced may
//! be lost in a power cut; what is synced is counted in `durable`. A failed sync is final for the store.

use super::error::RecordError;
use super::layout::{self, BlockKind, RunTag, SegmentHeader, Store};
use super::storage::Storage;
use crate::time::Nanos;
use std::collections::VecDeque;
use std::io;

/// The segment that grows.
#[derive(Debug)]
pub(super) struct OpenSegment {
    pub(super) name: String,
    /// Bytes of whole blocks.
    pub(super) length: u64,
    pub(super) opened_at: Nanos,
    unsynced: bool,
    entry_unsynced: bool,
}

/// A block waiting to be written.
#[derive(Debug)]
struct Waiting {
    bytes: Vec<u8>,
    sequence: u64,
    entries: u32,
}

/// Why blocks wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Drained {
    /// Nothing waits any more.
    All,
    /// The disk is full.
    Full,
    /// Another error; the message is in `fault`.
    Failed,
}

#[derive(Debug)]
pub(super) struct Track {
    pub(super) store: Store,
    tag: RunTag,
    next_segment: u32,
    pub(super) open: Option<OpenSegment>,
    /// Segments given up after a write error, with data that was never synced.
    left_unsynced: Vec<String>,
    /// Number of the next entry.
    pub(super) sequence: u64,
    /// Entries known to be on disk.
    pub(super) durable: u64,
    backlog: VecDeque<Waiting>,
    pub(super) backlog_bytes: usize,
    pub(super) poisoned: Option<String>,
    pub(super) fault: Option<String>,
    pub(super) syncs: u64,
    pub(super) bytes_written: u64,
    /// Entries given up because the backlog was full.
    pub(super) given_up: u64,
    /// Segments removed or changed by others while open, and what was last seen; stays for the whole run.
    pub(super) disturbed: u64,
    pub(super) disturbance: Option<String>,
}

/// Whether the system says that there is no room.
pub(super) fn is_full(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge
    )
}

impl Track {
    pub(super) fn new(store: Store, tag: RunTag, next_segment: u32, sequence: u64) -> Self {
        Self {
            store,
            tag,
            next_segment,
            open: None,
            left_unsynced: Vec::new(),
            sequence,
            durable: sequence,
            backlog: VecDeque::new(),
            backlog_bytes: 0,
            poisoned: None,
            fault: None,
            syncs: 0,
            bytes_written: 0,
            given_up: 0,
            disturbed: 0,
            disturbance: None,
        }
    }

    /// Numbers a block and queues it. When the backlog is over `most` bytes the block is given up: its
    /// numbers stay used, so the reader sees exactly which entries are missing.
    pub(super) fn queue(
        &mut self,
        kind: BlockKind,
        entries: u32,
        payload: &[u8],
        most: usize,
    ) -> bool {
        let bytes = layout::block(kind, self.sequence, entries, payload, self.tag.salt());
        let sequence = self.sequence;
        self.sequence += u64::from(entries);
        if !self.backlog.is_empty() && self.backlog_bytes + bytes.len() > most {
            self.given_up += u64::from(entries);
            return false;
        }
        self.backlog_bytes += bytes.len();
        self.backlog.push_back(Waiting {
            bytes,
            sequence,
            entries,
        });
        true
    }

    /// Forgets what waits (derived data after a failed sync); returns the entries given up.
    pub(super) fn drop_backlog(&mut self) -> u64 {
        let entries = self.waiting_entries();
        self.backlog.clear();
        self.backlog_bytes = 0;
        self.given_up += entries;
        entries
    }

    /// Hands waiting blocks to the system until none is left or it refuses.
    pub(super) fn drain(&mut self, disk: &mut impl Storage, now: Nanos) -> Drained {
        while let Some(waiting) = self.backlog.front() {
            if self.open.is_none()
                && let Err(error) = self.start_segment(disk, waiting.sequence, now)
            {
                return self.refused(&error, "cannot start a segment");
            }
            let (Some(segment), Some(waiting)) = (self.open.as_mut(), self.backlog.front()) else {
                return Drained::Failed;
            };
            match disk.append(&segment.name, &waiting.bytes) {
                Ok(()) => {
                    segment.length += waiting.bytes.len() as u64;
                    segment.unsynced = true;
                    self.bytes_written += waiting.bytes.len() as u64;
                    self.backlog_bytes -= waiting.bytes.len();
                    self.backlog.pop_front();
                }
                Err(error) => {
                    // A part of the block may be there. If it can't be cut off again the segment is left as it
                    // is (the reader steps over the torn block) and the next one is started.
                    let (name, length) = (segment.name.clone(), segment.length);
                    if disk.truncate(&name, length).is_err() {
                        self.abandon(disk);
                    }
                    return self.refused(&error, "cannot append");
                }
            }
        }
        self.fault = None;
        Drained::All
    }

    fn refused(&mut self, error: &io::Error, what: &str) -> Drained {
        self.fault = Some(format!("{} store: {what}: {error}", self.store.prefix()));
        if is_full(error) {
            Drained::Full
        } else {
            Drained::Failed
        }
    }

    fn start_segment(
        &mut self,
        disk: &mut impl Storage,
        sequence: u64,
        now: Nanos,
    ) -> io::Result<()> {
        let number = self.next_segment;
        let name = self.store.segment_name(number);
        let header = SegmentHeader {
            store: self.store,
            packed: false,
            number,
            tag: self.tag,
            first_entry: sequence,
            opened_at: now,
        };
        disk.create(&name)?;
        let bytes = header.to_bytes();
        if let Err(error) = disk.append(&name, &bytes) {
            // Leave no headless file behind; if even that fails, the number is used up and reported by the reader.
            if disk.remove(&name).is_err() {
                self.next_segment += 1;
            }
            return Err(error);
        }
        self.next_segment += 1;
        self.bytes_written += bytes.len() as u64;
        self.open = Some(OpenSegment {
            name,
            length: bytes.len() as u64,
            opened_at: now,
            unsynced: true,
            entry_unsynced: true,
        });
        Ok(())
    }

    fn abandon(&mut self, disk: &mut impl Storage) {
        if let Some(segment) = self.open.take() {
            disk.close(&segment.name);
            self.left_unsynced.push(segment.name);
        }
    }

    fn poison(&mut self, what: &str, error: &io::Error) -> RecordError {
        let reason = format!("syncing {what} failed: {error}");
        self.poisoned = Some(reason.clone());
        RecordError::Poisoned(reason)
    }

    /// Makes everything handed over durable.
    ///
    /// # Errors
    /// [`RecordError::Poisoned`], now and ever after: after a failed sync the system may have dropped the
    /// data and report success the next time, so only reading the disk afresh can tell what is there.
    pub(super) fn sync(&mut self, disk: &mut impl Storage) -> Result<bool, RecordError> {
        if let Some(reason) = &self.poisoned {
            return Err(RecordError::Poisoned(reason.clone()));
        }
        let mut work = false;
        let mut folder = !self.left_unsynced.is_empty();
        while let Some(name) = self.left_unsynced.pop() {
            if let Err(error) = disk.sync(&name) {
                return Err(self.poison(&name, &error));
            }
            self.syncs += 1;
            work = true;
        }
        if let Some(segment) = self.open.as_mut() {
            if segment.unsynced {
                segment.unsynced = false;
                let name = segment.name.clone();
                if let Err(error) = disk.sync(&name) {
                    return Err(self.poison(&name, &error));
                }
                self.syncs += 1;
                work = true;
            }
            folder |= self.open.as_ref().is_some_and(|s| s.entry_unsynced);
        }
        if folder {
            if let Err(error) = disk.sync_dir() {
                return Err(self.poison("the folder", &error));
            }
            self.syncs += 1;
            work = true;
            if let Some(segment) = self.open.as_mut() {
                segment.entry_unsynced = false;
            }
        }
        self.look_for_disturbance(disk);
        if self.backlog.is_empty() {
            self.durable = self.sequence;
        } else if let Some(waiting) = self.backlog.front() {
            self.durable = waiting.sequence;
        }
        Ok(work)
    }

    /// A file removed by its name goes on taking data through the open handle, and all of it is lost: look whether
    /// the name still leads to what was written. If not, say so and go on in a new segment.
    fn look_for_disturbance(&mut self, disk: &mut impl Storage) {
        let Some(segment) = &self.open else {
            return;
        };
        let found = disk.len(&segment.name);
        if found.as_ref().is_ok_and(|len| *len == segment.length) {
            return;
        }
        let what = match found {
            Ok(len) => format!("has {len} bytes instead of {}", segment.length),
            Err(error) => format!("can't be found ({error})"),
        };
        self.disturbance = Some(format!(
            "`{}` {what}: another program removed or changed it; what it held may be lost",
            segment.name
        ));
        self.disturbed += 1;
        self.close(disk);
    }

    /// Closes the segment (synced already) and returns its name.
    pub(super) fn close(&mut self, disk: &mut impl Storage) -> Option<String> {
        let segment = self.open.take()?;
        disk.close(&segment.name);
        Some(segment.name)
    }

    /// Entries of the blocks that wait.
    pub(super) fn waiting_entries(&self) -> u64 {
        self.backlog.iter().map(|w| u64::from(w.entries)).sum()
    }

    pub(super) fn waits(&self) -> bool {
        !self.backlog.is_empty()
    }
}
