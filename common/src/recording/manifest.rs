//! Digests of the files of a finished run, in the text form that `sha256sum -c` reads.

use super::error::RecordError;
use super::head::{NEW_SUFFIX, replace};
use super::storage::Storage;
use super::writer::LOCK_FILE;
use sha2::{Digest, Sha256};

/// File name of the digests.
pub const MANIFEST_FILE: &str = "manifest.sha256";

/// File name of the note how far the run has been forwarded to a server.
pub const FORWARD_CURSOR_FILE: &str = "forward.toml";
/// File name of the points that server would not take.
pub const FORWARD_REFUSED_FILE: &str = "forward-refused.txt";

/// Bytes read at a time.
const CHUNK: usize = 1 << 20;

fn digest(disk: &impl Storage, name: &str) -> std::io::Result<String> {
    let mut hash = Sha256::new();
    let mut offset = 0;
    loop {
        let bytes = disk.read(name, offset, CHUNK)?;
        if bytes.is_empty() {
            break;
        }
        offset += bytes.len() as u64;
        hash.update(&bytes);
    }
    Ok(hash.finalize().iter().map(|b| format!("{b:02x}")).collect())
}

/// What was done with the record, not the record: forwarding goes on after the run is finished. Lists of earlier
/// versions name these files all the same.
fn is_of_forwarding(name: &str) -> bool {
    matches!(name, FORWARD_CURSOR_FILE | FORWARD_REFUSED_FILE)
}

/// Files that no list names.
fn is_beside(name: &str) -> bool {
    name == LOCK_FILE || name == MANIFEST_FILE || is_of_forwarding(name)
}

/// Writes the digests of all files but the lock, the list itself and the notes of forwarding.
pub(super) fn write(disk: &mut impl Storage) -> Result<(), RecordError> {
    let mut text = String::new();
    for name in disk.list().map_err(RecordError::io("cannot list", ""))? {
        if is_beside(&name) || name.ends_with(NEW_SUFFIX) {
            continue;
        }
        let digest = digest(disk, &name).map_err(RecordError::io("cannot read", &name))?;
        text.push_str(&format!("{digest}  {name}\n"));
    }
    replace(disk, MANIFEST_FILE, text.as_bytes())
}

/// One file against the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DigestState {
    /// As when the run was finished.
    Right,
    /// Changed since.
    Changed,
    /// Listed but not there, or unreadable.
    Missing,
    /// There but not listed.
    Added,
}

/// Names of the files there are, and the text of the list; `None` when there is no list (the run was not finished).
fn names_and_list(disk: &impl Storage) -> Option<(Vec<String>, String)> {
    let names = disk.list().ok()?;
    if !names.iter().any(|n| n == MANIFEST_FILE) {
        return None;
    }
    let bytes = disk.read(MANIFEST_FILE, 0, 64 << 20).unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes).into_owned();
    Some((names, text))
}

/// Digest and name in each line of the list; `None` for what is no such line.
fn entries(text: &str) -> impl Iterator<Item = Option<(&str, &str)>> {
    text.lines().map(|line| line.split_once("  "))
}

/// Files that the list names and that are not there. Cheap, unlike [`check`].
pub(super) fn missing(disk: &impl Storage) -> Vec<String> {
    let Some((names, text)) = names_and_list(disk) else {
        return Vec::new();
    };
    entries(&text)
        .flatten()
        .map(|(_, name)| name)
        .filter(|name| !is_of_forwarding(name) && !names.iter().any(|n| n == name))
        .map(str::to_owned)
        .collect()
}

/// All files against the list; `None` when there is no list (the run was not finished).
pub(super) fn check(disk: &impl Storage) -> Option<Vec<(String, DigestState)>> {
    let (names, text) = names_and_list(disk)?;
    let mut states = Vec::new();
    let mut listed = Vec::new();
    for entry in entries(&text) {
        let Some((expected, name)) = entry else {
            states.push((MANIFEST_FILE.to_owned(), DigestState::Changed));
            continue;
        };
        if is_of_forwarding(name) {
            continue;
        }
        // Bare names only: a doctored list must not lead out of the folder.
        let state = if !names.iter().any(|n| n == name) {
            DigestState::Missing
        } else {
            match digest(disk, name) {
                Ok(found) if found == expected => DigestState::Right,
                Ok(_) => DigestState::Changed,
                Err(_) => DigestState::Missing,
            }
        };
        listed.push(name);
        states.push((name.to_owned(), state));
    }
    for name in &names {
        if !is_beside(name) && !listed.contains(&name.as_str()) {
            states.push((name.clone(), DigestState::Added));
        }
    }
    Some(states)
}
