//! `run.toml` (what run this is) and `notes.toml` (what the operator marked), the two text files of a
//! run folder.

use super::error::RecordError;
use super::storage::Storage;
use crate::input::{Mark, MarkKind};
use crate::time::{Nanos, seconds};
use serde::{Deserialize, Serialize};

/// File name of the head.
pub const RUN_FILE: &str = "run.toml";
/// File name of the operator's marks.
pub const NOTES_FILE: &str = "notes.toml";
/// Version of `run.toml`.
pub const HEAD_FORMAT: u32 = 1;

/// What run this is: `run.toml`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunHead {
    /// [`HEAD_FORMAT`].
    pub format: u32,
    /// Run id, unique among all runs; enters the checksums of the segments.
    pub run_id: String,
    /// Name and version of the program that recorded.
    pub software: String,
    /// Universal time at run start (time 0 of the record), ns since 1970-01-01.
    pub started_unix_ns: i64,
    /// The same for people, RFC 3339.
    pub started_utc: String,
    /// The job file, exactly as used.
    pub job: String,
}

impl RunHead {
    pub(super) fn write(&self, store: &mut impl Storage) -> Result<(), RecordError> {
        let text = toml::to_string(self).map_err(|e| RecordError::Encode(e.to_string()))?;
        replace(store, RUN_FILE, text.as_bytes())
    }

    /// Reads `run.toml`.
    ///
    /// # Errors
    /// [`RecordError::Head`] when it is missing, damaged or of another format.
    pub fn read(store: &impl Storage) -> Result<Self, RecordError> {
        let bytes = store
            .read(RUN_FILE, 0, 16 << 20)
            .map_err(|e| RecordError::Head(e.to_string()))?;
        let text = std::str::from_utf8(&bytes).map_err(|e| RecordError::Head(e.to_string()))?;
        let head: Self = toml::from_str(text).map_err(|e| RecordError::Head(e.to_string()))?;
        if head.format == HEAD_FORMAT {
            Ok(head)
        } else {
            Err(RecordError::Head(format!(
                "format {} was written by a newer program",
                head.format
            )))
        }
    }
}

/// One mark of the operator, as in `notes.toml`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// When, s from run start.
    pub at_s: f64,
    /// Who.
    pub author: String,
    /// What.
    pub kind: MarkKind,
}

impl Note {
    pub(super) fn of(at: Nanos, mark: &Mark) -> Self {
        Self {
            at_s: seconds(at),
            author: mark.author.clone(),
            kind: mark.kind.clone(),
        }
    }
}

/// The whole of `notes.toml`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Notes {
    #[serde(default)]
    pub(super) note: Vec<Note>,
}

impl Notes {
    /// Replaces the file; marks are rare, and so it is never half written.
    pub(super) fn write(&self, store: &mut impl Storage) -> Result<(), RecordError> {
        let text = toml::to_string(self).map_err(|e| RecordError::Encode(e.to_string()))?;
        replace(store, NOTES_FILE, text.as_bytes())
    }

    /// Reads the file; `None` when it does not parse.
    pub(super) fn read(store: &impl Storage) -> Option<Self> {
        let bytes = store.read(NOTES_FILE, 0, 64 << 20).ok()?;
        toml::from_str(std::str::from_utf8(&bytes).ok()?).ok()
    }
}

/// Writes a small file so that a reader sees the old or the new one, never half of it.
pub(super) fn replace(
    store: &mut impl Storage,
    name: &str,
    bytes: &[u8],
) -> Result<(), RecordError> {
    let temporary = format!("{name}{NEW_SUFFIX}");
    let known = store.list().map_err(RecordError::io("cannot list", ""))?;
    if known.contains(&temporary) {
        store
            .remove(&temporary)
            .map_err(RecordError::io("cannot remove", &temporary))?;
    }
    store
        .create(&temporary)
        .map_err(RecordError::io("cannot create", &temporary))?;
    store
        .append(&temporary, bytes)
        .map_err(RecordError::io("cannot write", &temporary))?;
    store
        .sync(&temporary)
        .map_err(RecordError::io("cannot sync", &temporary))?;
    store
        .rename(&temporary, name)
        .map_err(RecordError::io("cannot rename to", name))?;
    store
        .sync_dir()
        .map_err(RecordError::io("cannot sync the folder for", name))
}

/// Suffix of files being written; left-overs are removed on resume.
pub(super) const NEW_SUFFIX: &str = ".new";
