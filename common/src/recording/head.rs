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

/// A note by itself: a tree of all notes of a long run would take megabytes for a moment.
#[derive(Serialize)]
struct OneNote<'a> {
    note: [&'a Note; 1],
}

/// Line that begins a note.
const NOTE_LINE: &str = "[[note]]\n";

impl Notes {
    /// Replaces the file; marks are rare, and so it is never half written.
    pub(super) fn write(&self, store: &mut impl Storage) -> Result<(), RecordError> {
        let text = self
            .text()
            .map_err(|e| RecordError::Encode(e.to_string()))?;
        replace(store, NOTES_FILE, text.as_bytes())
    }

    fn text(&self) -> Result<String, toml::ser::Error> {
        let mut text = String::new();
        for note in &self.note {
            if !text.is_empty() {
                text.push('\n');
            }
            text.push_str(&toml::to_string(&OneNote { note: [note] })?);
        }
        Ok(text)
    }

    /// Reads the file; `None` when it does not parse.
    pub(super) fn read(store: &impl Storage) -> Option<Self> {
        let bytes = store.read(NOTES_FILE, 0, 64 << 20).ok()?;
        let text = std::str::from_utf8(&bytes).ok()?;
        // As a whole where a note's own text holds such a line, or somebody has written into the file.
        Self::one_by_one(text).or_else(|| toml::from_str(text).ok())
    }

    fn one_by_one(text: &str) -> Option<Self> {
        let at_line_start = |at: &usize| *at == 0 || text.as_bytes()[at - 1] == b'\n';
        let mut starts = text
            .match_indices(NOTE_LINE)
            .map(|(at, _)| at)
            .filter(at_line_start);
        let mut start = starts.next()?;
        if start > 0 {
            return None;
        }
        let mut all = Self::default();
        while start < text.len() {
            let end = starts.next().unwrap_or(text.len());
            // A piece that ends within a note's own text ends within quotes: that is an error.
            let one: Self = toml::from_str(&text[start..end]).ok()?;
            all.note.extend(one.note);
            start = end;
        }
        Some(all)
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

#[cfg(test)]
mod tests {
    use super::super::storage::Folder;
    use super::*;

    fn notes() -> Notes {
        let kinds = [
            MarkKind::CutterOut,
            MarkKind::Acknowledge("overpull".to_owned()),
            MarkKind::Note("\n[[note]]\nat_s = 5.0\n\n[note.kind]\n".to_owned()),
            MarkKind::Shelve("slack".to_owned(), 300.0),
            MarkKind::Zero(2010.5),
        ];
        let note = kinds.map(|kind| Note {
            at_s: 7.682_280_000_000_003,
            author: "a \"b\"\n[note.kind]\n".to_owned(),
            kind,
        });
        Notes {
            note: note.to_vec(),
        }
    }

    #[test]
    fn notes_one_by_one_are_the_file_as_a_whole() {
        for count in 1..=notes().note.len() {
            let mut some = notes();
            some.note.truncate(count);
            assert_eq!(some.text().unwrap(), toml::to_string(&some).unwrap());
        }
    }

    #[test]
    fn notes_read_back_whatever_is_in_them() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Folder::open(folder.path());
        let all = notes();
        for skip in 0..=all.note.len() {
            let some = Notes {
                note: all.note[skip..].to_vec(),
            };
            some.write(&mut store).unwrap();
            assert_eq!(Notes::read(&store), Some(some));
        }
        replace(
            &mut store,
            NOTES_FILE,
            b"# by hand\n[[note]]\n at_s = 1.0\nauthor = ''\nkind = 'cutter_in'",
        )
        .unwrap();
        assert_eq!(Notes::read(&store).map(|n| n.note.len()), Some(1));
        replace(&mut store, NOTES_FILE, b"[[note]]\nat_s = ").unwrap();
        assert_eq!(Notes::read(&store), None);
    }

    #[test]
    fn usual_notes_are_read_one_by_one() {
        let some = Notes {
            note: vec![notes().note[1].clone(), notes().note[0].clone()],
        };
        let mut plain = some.clone();
        for note in &mut plain.note {
            "crew".clone_into(&mut note.author);
        }
        assert_eq!(Notes::one_by_one(&plain.text().unwrap()), Some(plain));
    }
}
