//! Writing a run folder.
//!
//! *Input -> output*: inputs in the order they go into the core, decisions, marks -> files. The caller
//! gives the time; nothing here reads a clock. [`RunWriter::append`] and [`RunWriter::derive`] only
//! gather in memory; [`RunWriter::turn`] does the writing and, when due, the syncing: call it about ten times
//! a second from a thread that may wait for the disk.
//!
//! *Disk full*: raw blocks wait in memory (up to [`Policy::backlog_bytes`]), and decisions behind them; the oldest
//! derived segments are removed to make room; raw data on disk are never removed. Everything is counted in
//! [`Health`]. Writing goes on by itself when there is room.
//!
//! *Failed sync*: final. Every later call answers [`RecordError::Poisoned`]; restart and resume.

use super::batch::Batch;
use super::derived::{self, Derived};
use super::error::RecordError;
use super::head::{Note, Notes, RUN_FILE, RunHead};
use super::health::{ClockAnchor, Health};
use super::layout::{BlockKind, RunTag, Store};
use super::manifest;
use super::policy::Policy;
use super::storage::Storage;
use super::track::{Drained, Track};
use super::{pack, payload};
use crate::input::{Input, MarkKind};
use crate::time::Nanos;

/// Name of the lock file.
pub const LOCK_FILE: &str = "run.lock";

/// Part of the backlog that decisions may take: hours of them.
const DECISIONS_PART: usize = 8;

/// Longest input, bytes.
pub const INPUT_MAX: usize = 1 << 20;

/// Writes one run.
#[derive(Debug)]
pub struct RunWriter<S: Storage> {
    pub(super) disk: S,
    policy: Policy,
    tag: RunTag,
    pub(super) raw: Track,
    pub(super) derived: Track,
    batch: Batch,
    records: Vec<Derived>,
    notes: Notes,
    notes_changed: bool,
    urgent: bool,
    last_sync: Nanos,
    pub(super) disk_full: bool,
    notes_fault: Option<String>,
    pack_fault: Option<String>,
    pub(super) segments_removed: u64,
    to_pack: Vec<String>,
}

impl<S: Storage> RunWriter<S> {
    /// Starts a run in an empty folder.
    ///
    /// # Errors
    /// The folder holds a run already, is locked, or the system refuses.
    pub fn create(mut disk: S, head: &RunHead, policy: Policy) -> Result<Self, RecordError> {
        claim(&mut disk)?;
        let names = disk.list().map_err(RecordError::io("cannot list", ""))?;
        let is_run = |n: &String| {
            n == RUN_FILE
                || Store::Raw.segment_number(n).is_some()
                || Store::Derived.segment_number(n).is_some()
        };
        if names.iter().any(is_run) {
            return Err(RecordError::Exists);
        }
        head.write(&mut disk)?;
        let tag = RunTag::of(&head.run_id);
        let raw = Track::new(Store::Raw, tag, 1, 0);
        let derived = Track::new(Store::Derived, tag, 1, 0);
        let mut writer = Self::with(disk, policy, tag, raw, derived, Notes::default());
        writer.anchor(0, head.started_unix_ns)?;
        Ok(writer)
    }

    pub(super) fn with(
        disk: S,
        policy: Policy,
        tag: RunTag,
        raw: Track,
        derived: Track,
        notes: Notes,
    ) -> Self {
        Self {
            disk,
            policy,
            tag,
            raw,
            derived,
            batch: Batch::default(),
            records: Vec::new(),
            notes,
            notes_changed: false,
            urgent: false,
            last_sync: Nanos::MIN,
            disk_full: false,
            notes_fault: None,
            pack_fault: None,
            segments_removed: 0,
            to_pack: Vec::new(),
        }
    }

    /// Adds an input; it is on disk after the next [`RunWriter::turn`] that syncs. Marks also go to `notes.toml`.
    ///
    /// # Errors
    /// The input is longer than [`INPUT_MAX`], or a full block can't be encoded.
    pub fn append(&mut self, input: &Input) -> Result<(), RecordError> {
        let length = match input {
            Input::Received { bytes, .. } | Input::Sent { bytes, .. } => bytes.len(),
            Input::Mark { mark, .. } => mark.author.len() + format!("{:?}", mark.kind).len(),
            _ => 0,
        };
        if length > INPUT_MAX {
            return Err(RecordError::Encode(format!(
                "an input of {length} bytes; at most {INPUT_MAX} fit: hand it over in pieces"
            )));
        }
        if self.batch.len() >= self.policy.block_entries || !self.batch.accepts(input) {
            self.flush_inputs()?;
        }
        self.batch.push(input);
        if let Input::Mark { at, mark } = input {
            self.urgent = true;
            // The daemon's own business is none of the crew's notes.
            if !matches!(mark.kind, MarkKind::DaemonAlarm(_)) {
                self.notes.note.push(Note::of(*at, mark));
                self.notes_changed = true;
            }
        }
        Ok(())
    }

    /// Adds a decision. A stroke or an alarm makes the next turn sync.
    pub fn derive(&mut self, record: Derived) {
        self.urgent |= record.is_urgent();
        self.records.push(record);
    }

    /// Notes universal time beside run time.
    ///
    /// # Errors
    /// Only when it can't be encoded.
    pub fn anchor(&mut self, at: Nanos, unix_ns: i64) -> Result<(), RecordError> {
        self.flush_inputs()?;
        let payload = payload::encode(&ClockAnchor { at, unix_ns }).map_err(RecordError::Encode)?;
        self.raw
            .queue(BlockKind::Anchor, 0, &payload, self.policy.backlog_bytes);
        Ok(())
    }

    /// Does what is due at `now`: writes when a sync is due (by time, stroke or alarm) or a block is full,
    /// rolls segments, frees room. Returns whether anything was synced.
    ///
    /// # Errors
    /// [`RecordError::Poisoned`] after a failed sync of the raw store. A full disk or a write error is not an
    /// error here: see [`RunWriter::health`].
    pub fn turn(&mut self, now: Nanos) -> Result<bool, RecordError> {
        let due = self.urgent
            || self.last_sync == Nanos::MIN
            || now.saturating_sub(self.last_sync) >= self.policy.sync_every;
        if due {
            return self.sync(now);
        }
        if self.raw.waits() {
            self.write_raw(now);
            self.roll(now)?;
        }
        Ok(false)
    }

    /// Writes and syncs everything now.
    ///
    /// # Errors
    /// As [`RunWriter::turn`].
    pub fn sync(&mut self, now: Nanos) -> Result<bool, RecordError> {
        self.flush_inputs()?;
        self.flush_records()?;
        self.last_sync = now;
        self.urgent = false;
        self.write_raw(now);
        let mut synced = self.raw.sync(&mut self.disk)?;
        synced |= self.write_derived(now);
        if self.notes_changed && !self.disk_full {
            // A copy for people; the marks themselves are inputs in the raw store.
            match self.notes.write(&mut self.disk) {
                Ok(()) => {
                    self.notes_changed = false;
                    self.notes_fault = None;
                }
                Err(error) => self.notes_fault = Some(error.to_string()),
            }
        }
        self.roll(now)?;
        Ok(synced)
    }

    /// State of the recording.
    pub fn health(&self) -> Health {
        Health {
            fault: self
                .raw
                .poisoned
                .clone()
                .or_else(|| self.raw.fault.clone())
                .or_else(|| self.raw.disturbance.clone())
                .or_else(|| self.derived.poisoned.clone())
                .or_else(|| self.derived.fault.clone())
                .or_else(|| self.notes_fault.clone())
                .or_else(|| self.pack_fault.clone()),
            disk_full: self.disk_full,
            raw_entries: self.raw.sequence + self.batch.len() as u64,
            raw_durable: self.raw.durable,
            raw_lost: self.raw.given_up,
            segments_disturbed: self.raw.disturbed + self.derived.disturbed,
            derived_lost: self.derived.given_up,
            derived_segments_removed: self.segments_removed,
            backlog_bytes: self.raw.backlog_bytes + self.derived.backlog_bytes,
            bytes_written: self.raw.bytes_written + self.derived.bytes_written,
            syncs: self.raw.syncs + self.derived.syncs,
        }
    }

    /// Raw entries that are on disk for certain.
    pub fn durable(&self) -> u64 {
        self.raw.durable
    }

    /// Ends the run: everything synced, segments closed and packed, digests of all files written to
    /// `manifest.sha256` (readable by `sha256sum -c`).
    ///
    /// # Errors
    /// When something could not be written; the run can then still be resumed and finished later.
    pub fn finish(mut self, now: Nanos) -> Result<S, RecordError> {
        self.sync(now)?;
        if self.raw.waits() {
            return Err(RecordError::Unwritten {
                entries: self.raw.waiting_entries(),
                why: self.raw.fault.clone().unwrap_or_default(),
            });
        }
        self.close_segment(Store::Raw, now)?;
        self.close_segment(Store::Derived, now)?;
        self.pack_closed();
        manifest::write(&mut self.disk)?;
        Ok(self.disk)
    }

    fn flush_inputs(&mut self) -> Result<(), RecordError> {
        if self.batch.is_empty() {
            return Ok(());
        }
        let payload = self.batch.encode().map_err(RecordError::Encode)?;
        let entries = self.batch.len() as u32;
        self.batch.clear();
        if self.raw.backlog_bytes + payload.len() > self.policy.backlog_bytes / 2 {
            // Whoever appends much between two turns must not lose anything for it.
            self.write_raw(self.last_sync.max(0));
        }
        self.raw.queue(
            BlockKind::Inputs,
            entries,
            &payload,
            self.policy.backlog_bytes,
        );
        Ok(())
    }

    fn flush_records(&mut self) -> Result<(), RecordError> {
        if self.records.is_empty() {
            return Ok(());
        }
        let payload = derived::encode(&self.records).map_err(RecordError::Encode)?;
        let entries = self.records.len() as u32;
        self.records.clear();
        self.derived.queue(
            BlockKind::Derived,
            entries,
            &payload,
            self.policy.backlog_bytes / DECISIONS_PART,
        );
        Ok(())
    }

    fn roll(&mut self, now: Nanos) -> Result<(), RecordError> {
        for store in [Store::Raw, Store::Derived] {
            let track = self.track(store);
            let full = track.open.as_ref().is_some_and(|s| {
                s.length >= self.policy.segment_bytes
                    || now.saturating_sub(s.opened_at) >= self.policy.segment_time
            });
            if full && !track.waits() {
                self.close_segment(store, now)?;
                self.pack_closed();
            }
        }
        Ok(())
    }

    fn track(&self, store: Store) -> &Track {
        match store {
            Store::Raw => &self.raw,
            Store::Derived => &self.derived,
        }
    }

    /// Seals the open segment with an end block, syncs and closes it.
    fn close_segment(&mut self, store: Store, now: Nanos) -> Result<(), RecordError> {
        let track = match store {
            Store::Raw => &mut self.raw,
            Store::Derived => &mut self.derived,
        };
        if track.open.is_none() || track.poisoned.is_some() {
            return Ok(());
        }
        track.queue(BlockKind::End, 0, &[], usize::MAX);
        if track.drain(&mut self.disk, now) == Drained::All {
            match track.sync(&mut self.disk) {
                Err(error) if store == Store::Raw => return Err(error),
                Err(_) => return Ok(()),
                Ok(_) => {}
            }
            if let Some(name) = track.close(&mut self.disk)
                && store == Store::Raw
            {
                self.to_pack.push(name);
            }
        }
        Ok(())
    }

    /// Rewrites closed segments in large blocks. Where that fails the segment is good as it is; it is tried
    /// again when the next one is closed.
    fn pack_closed(&mut self) {
        if self.disk_full || !self.policy.pack {
            return;
        }
        self.pack_fault = None;
        for name in std::mem::take(&mut self.to_pack) {
            let done = pack::pack(&mut self.disk, &name, self.tag, self.policy.block_entries);
            if let Err(error) = done {
                self.pack_fault = Some(format!("`{name}` stays unpacked for now: {error}"));
                self.to_pack.push(name);
            }
        }
    }
}

pub(super) fn claim(disk: &mut impl Storage) -> Result<(), RecordError> {
    let mine = disk
        .lock(LOCK_FILE)
        .map_err(RecordError::io("cannot lock", LOCK_FILE))?;
    if mine {
        Ok(())
    } else {
        Err(RecordError::Locked)
    }
}
