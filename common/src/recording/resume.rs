//! Going on with a run that was cut off.

use super::error::RecordError;
use super::head::{NEW_SUFFIX, NOTES_FILE, Notes, RunHead};
use super::health::Recovery;
use super::layout::{BlockKind, RunTag, Store};
use super::manifest::MANIFEST_FILE;
use super::policy::Policy;
use super::storage::Storage;
use super::track::Track;
use super::writer::{RunWriter, claim};
use super::{payload, recover};

impl<S: Storage> RunWriter<S> {
    /// Continues an interrupted run: recovers what the disk holds, cuts torn tails, goes on in new segments.
    ///
    /// # Errors
    /// No readable `run.toml`, finished, locked, or the system refuses.
    pub fn resume(mut disk: S, policy: Policy) -> Result<(Self, RunHead, Recovery), RecordError> {
        claim(&mut disk)?;
        let head = RunHead::read(&disk)?;
        let names = disk.list().map_err(RecordError::io("cannot list", ""))?;
        if names.iter().any(|n| n == MANIFEST_FILE) {
            return Err(RecordError::Finished(MANIFEST_FILE));
        }
        for name in names.iter().filter(|n| n.ends_with(NEW_SUFFIX)) {
            disk.remove(name)
                .map_err(RecordError::io("cannot remove", name))?;
        }
        let tag = RunTag::of(&head.run_id);
        let raw = recover::recover(&mut disk, Store::Raw, tag)?;
        let derived = recover::recover(&mut disk, Store::Derived, tag)?;
        let notes = match Notes::read(&disk) {
            Some(notes) => notes,
            None => {
                if names.iter().any(|n| n == NOTES_FILE) {
                    disk.rename(NOTES_FILE, "notes-damaged.toml")
                        .map_err(RecordError::io("cannot rename", NOTES_FILE))?;
                }
                Notes::default()
            }
        };
        disk.sync_dir()
            .map_err(RecordError::io("cannot sync the folder", ""))?;
        let recovery = Recovery {
            raw_entries: raw.next_entry,
            derived_entries: derived.next_entry,
            damage: [raw.damage.clone(), derived.damage.clone()].concat(),
        };
        let mut writer = Self::with(
            disk,
            policy,
            tag,
            Track::new(Store::Raw, tag, raw.next_segment, raw.next_entry),
            Track::new(
                Store::Derived,
                tag,
                derived.next_segment,
                derived.next_entry,
            ),
            notes,
        );
        for (found, is_raw) in [(&raw, true), (&derived, false)] {
            for cut in &found.cuts {
                let note = payload::encode(cut).map_err(RecordError::Encode)?;
                let track = if is_raw {
                    &mut writer.raw
                } else {
                    &mut writer.derived
                };
                track.queue(BlockKind::Recovery, 0, &note, usize::MAX);
            }
        }
        Ok((writer, head, recovery))
    }
}
