//! Handing blocks to a disk that may be full: raw data first, derived data make room for it and wait.

use super::layout::Store;
use super::storage::Storage;
use super::track::Drained;
use super::writer::RunWriter;
use crate::time::Nanos;

impl<S: Storage> RunWriter<S> {
    /// Raw first: while the disk is full, derived data make room for it.
    pub(super) fn write_raw(&mut self, now: Nanos) {
        loop {
            match self.raw.drain(&mut self.disk, now) {
                Drained::All => {
                    self.disk_full = false;
                    return;
                }
                Drained::Failed => return,
                Drained::Full => {
                    self.disk_full = true;
                    if !self.remove_oldest_derived() {
                        return;
                    }
                }
            }
        }
    }

    /// Whether a derived segment was removed.
    fn remove_oldest_derived(&mut self) -> bool {
        let Ok(names) = self.disk.list() else {
            return false;
        };
        let oldest = names
            .iter()
            .filter(|n| Store::Derived.segment_number(n).is_some())
            .min_by_key(|n| Store::Derived.segment_number(n));
        let Some(oldest) = oldest else {
            return false;
        };
        if self
            .derived
            .open
            .as_ref()
            .is_some_and(|s| s.name == *oldest)
        {
            self.derived.close(&mut self.disk);
        }
        if self.disk.remove(oldest).is_err() {
            return false;
        }
        self.segments_removed += 1;
        true
    }

    /// Derived data never stop the raw recording: their failures only show in the health.
    pub(super) fn write_derived(&mut self, now: Nanos) -> bool {
        if self.derived.poisoned.is_some() {
            self.derived.drop_backlog();
            return false;
        }
        if self.disk_full || self.raw.waits() {
            // The disk refuses: no decision may be on it without the inputs it follows from.
            return false;
        }
        self.derived.drain(&mut self.disk, now);
        self.derived.sync(&mut self.disk).unwrap_or(false)
    }
}
