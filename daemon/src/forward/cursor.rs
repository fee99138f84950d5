//! How far the record has been delivered: `forward.toml` in the run folder.
//!
//! Written after each batch the server took, to another name and renamed. Not synced: a cursor that is lost or
//! unreadable after a power cut only means that points are sent again, which changes nothing.

use serde::{Deserialize, Serialize};
use std::io;
use std::path::Path;

/// File name of the cursor.
pub use kerfwatch::recording::FORWARD_CURSOR_FILE as CURSOR_FILE;

/// Everything before it is on the server.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Cursor {
    /// Server, organisation and bucket; another target starts from the beginning.
    pub(super) target: String,
    /// First derived record still to be delivered.
    pub(super) derived_next: u64,
    /// First raw entry whose points are still to be delivered.
    pub(super) raw_next: u64,
    /// Points the server took so far, repeated ones included.
    pub(super) points: u64,
    /// Points the server would not take.
    pub(super) set_aside: u64,
    /// Where what was taken in the last half minute began, derived and raw: whoever starts anew after the run was cut
    /// off begins there. The same power cut may have made the server forget.
    #[serde(default)]
    pub(super) again: Option<(u64, u64)>,
}

impl Cursor {
    /// The cursor of `folder` for `target`; the beginning when there is none that can be used.
    pub(super) fn read(folder: &Path, target: &str) -> Self {
        std::fs::read_to_string(folder.join(CURSOR_FILE))
            .ok()
            .and_then(|text| toml::from_str::<Self>(&text).ok())
            .filter(|cursor| cursor.target == target)
            .unwrap_or_else(|| Self {
                target: target.to_owned(),
                ..Self::default()
            })
    }

    /// Goes back to where what was taken last began.
    pub(super) fn go_back(&mut self) {
        if let Some((derived, raw)) = self.again.take() {
            self.derived_next = self.derived_next.min(derived);
            self.raw_next = self.raw_next.min(raw);
        }
    }

    /// Replaces the file of `folder`.
    pub(super) fn write(&self, folder: &Path) -> io::Result<()> {
        let text = toml::to_string(self).map_err(io::Error::other)?;
        let new = folder.join("forward.toml.new");
        std::fs::write(&new, text)?;
        std::fs::rename(&new, folder.join(CURSOR_FILE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_damaged_or_foreign_cursor_starts_from_the_beginning() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        assert_eq!(Cursor::read(path, "here").raw_next, 0);
        let mut cursor = Cursor {
            raw_next: 7,
            again: Some((3, 5)),
            ..Cursor::read(path, "here")
        };
        cursor.write(path).unwrap();
        assert_eq!(Cursor::read(path, "here"), cursor);
        assert_eq!(Cursor::read(path, "elsewhere").raw_next, 0);
        cursor.go_back();
        assert_eq!((cursor.derived_next, cursor.raw_next), (0, 5));
        std::fs::write(path.join(CURSOR_FILE), "raw_next = ").unwrap();
        assert_eq!(Cursor::read(path, "here").raw_next, 0);
    }
}
