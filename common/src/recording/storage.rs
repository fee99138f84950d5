//! The few file operations a run folder needs, and the standard library's way of doing them.
//!
//! The trait exists so that tests can model disks that lose, tear and reorder what was not synced,
//! fill up, or flip bits. Names are bare file names inside one folder.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A folder of append-only files.
pub trait Storage {
    /// Names of the files, sorted.
    fn list(&self) -> io::Result<Vec<String>>;
    /// Makes a new, empty file; an existing one is an error. Durable only after [`Storage::sync_dir`].
    fn create(&mut self, name: &str) -> io::Result<()>;
    /// Adds bytes at the end. On error any prefix of them may have been added.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()>;
    /// Makes all appended bytes of the file durable.
    fn sync(&mut self, name: &str) -> io::Result<()>;
    /// Cuts the file to `len` bytes.
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()>;
    /// Length in bytes.
    fn len(&self, name: &str) -> io::Result<u64>;
    /// Reads up to `length` bytes from `offset`; fewer only at the end of the file.
    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>>;
    /// Renames, replacing `to`. Durable only after [`Storage::sync_dir`].
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()>;
    /// Removes the file. Durable only after [`Storage::sync_dir`].
    fn remove(&mut self, name: &str) -> io::Result<()>;
    /// Makes creations, renames and removals durable.
    fn sync_dir(&mut self) -> io::Result<()>;
    /// Nothing more will be appended to this file for now: handles may be released.
    fn close(&mut self, name: &str);
    /// Claims the folder for writing until dropped; `false` when another process has it.
    fn lock(&mut self, name: &str) -> io::Result<bool>;
}

/// Files that can only be looked at.
pub trait Look {
    /// As [`Storage::list`].
    fn list(&self) -> io::Result<Vec<String>>;
    /// As [`Storage::len`].
    fn len(&self, name: &str) -> io::Result<u64>;
    /// As [`Storage::read`].
    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>>;
}

/// Files as a folder that refuses every change.
#[derive(Debug)]
pub struct ReadOnly<T>(pub T);

fn refused<T>() -> io::Result<T> {
    Err(io::ErrorKind::ReadOnlyFilesystem.into())
}

impl<T: Look> Storage for ReadOnly<T> {
    fn list(&self) -> io::Result<Vec<String>> {
        self.0.list()
    }

    fn len(&self, name: &str) -> io::Result<u64> {
        self.0.len(name)
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        self.0.read(name, offset, length)
    }

    fn create(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn append(&mut self, _: &str, _: &[u8]) -> io::Result<()> {
        refused()
    }

    fn sync(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn truncate(&mut self, _: &str, _: u64) -> io::Result<()> {
        refused()
    }

    fn rename(&mut self, _: &str, _: &str) -> io::Result<()> {
        refused()
    }

    fn remove(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn sync_dir(&mut self) -> io::Result<()> {
        refused()
    }

    fn close(&mut self, _: &str) {}

    fn lock(&mut self, _: &str) -> io::Result<bool> {
        refused()
    }
}

/// The part of `bytes` that [`Look::read`] asks for.
pub fn part_of(bytes: &[u8], offset: u64, length: usize) -> Vec<u8> {
    let start = usize::try_from(offset).map_or(bytes.len(), |start| start.min(bytes.len()));
    let end = start.saturating_add(length).min(bytes.len());
    bytes[start..end].to_vec()
}

/// A real folder.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    open: BTreeMap<String, File>,
    lock: Option<File>,
}

impl Folder {
    /// An existing folder; nothing is opened or created.
    pub fn open(path: impl Into<PathBuf>) -> Self {
        Self {
            path: path.into(),
            open: BTreeMap::new(),
            lock: None,
        }
    }

    /// Makes the folder (and its parents) if missing, durably.
    ///
    /// # Errors
    /// What the system answers.
    pub fn create(path: impl Into<PathBuf>) -> io::Result<Self> {
        let path = path.into();
        let changed = folders_to_change(&path);
        fs::create_dir_all(&path)?;
        for folder in changed {
            sync_folder(folder)?;
        }
        Ok(Self::open(path))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn writable(&mut self, name: &str) -> io::Result<&mut File> {
        if !self.open.contains_key(name) {
            let file = OpenOptions::new().append(true).open(self.path.join(name))?;
            self.open.insert(name.to_owned(), file);
        }
        self.open
            .get_mut(name)
            .ok_or_else(|| io::Error::from(io::ErrorKind::NotFound))
    }
}

/// The folders that get a new entry when `path` and its parents are made, the innermost first. The one around `path`
/// is always among them: who made that entry may not have synced it.
fn folders_to_change(path: &Path) -> Vec<&Path> {
    let mut changed = Vec::new();
    for folder in path.ancestors() {
        if !changed.is_empty() && folder.exists() {
            break;
        }
        match folder.parent() {
            Some(parent) if parent.as_os_str().is_empty() => {
                changed.push(Path::new("."));
                break;
            }
            Some(parent) => changed.push(parent),
            None => break,
        }
    }
    changed
}

/// On Unix a directory can be opened and synced; elsewhere the system does not offer it.
fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(unix) {
        File::open(path)?.sync_all()
    } else {
        Ok(())
    }
}

impl Storage for Folder {
    fn list(&self) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            if entry.file_type()?.is_file()
                && let Ok(name) = entry.file_name().into_string()
            {
                names.push(name);
            }
        }
        names.sort();
        Ok(names)
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let file = OpenOptions::new()
            .append(true)
            .create_new(true)
            .open(self.path.join(name))?;
        self.open.insert(name.to_owned(), file);
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.writable(name)?.write_all(bytes)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.writable(name)?.sync_data()
    }

    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        // A second handle: cutting needs write access, which an append handle does not promise everywhere.
        let file = OpenOptions::new().write(true).open(self.path.join(name))?;
        file.set_len(len)
    }

    fn len(&self, name: &str) -> io::Result<u64> {
        Ok(fs::metadata(self.path.join(name))?.len())
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        let mut file = File::open(self.path.join(name))?;
        if offset > 0 {
            file.seek(SeekFrom::Start(offset))?;
        }
        // What is there and no more: one large block, once given back, makes the allocator keep megabytes.
        let left = file.metadata()?.len().saturating_sub(offset);
        let mut bytes = Vec::with_capacity(length.min(left as usize).min(1 << 24));
        file.take(length as u64).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.open.remove(from);
        self.open.remove(to);
        fs::rename(self.path.join(from), self.path.join(to))
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.open.remove(name);
        fs::remove_file(self.path.join(name))
    }

    fn sync_dir(&mut self) -> io::Result<()> {
        sync_folder(&self.path)
    }

    fn close(&mut self, name: &str) {
        self.open.remove(name);
    }

    fn lock(&mut self, name: &str) -> io::Result<bool> {
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .open(self.path.join(name))?;
        match file.try_lock() {
            Ok(()) => {
                self.lock = Some(file);
                Ok(true)
            }
            Err(TryLockError::WouldBlock) => Ok(false),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_folder_that_gets_a_new_entry_is_synced() {
        let there = tempfile::tempdir().unwrap();
        let there = there.path();
        let deep = there.join("wells").join("7").join("run");
        assert_eq!(
            folders_to_change(&deep),
            [&there.join("wells/7"), &there.join("wells"), there]
        );
        let folder = Folder::create(&deep).unwrap();
        assert!(folder.path().is_dir());
        assert_eq!(folders_to_change(&deep), [there.join("wells/7")]);
        assert_eq!(
            folders_to_change(&there.join("wells/8")),
            [there.join("wells")]
        );
        assert_eq!(folders_to_change(Path::new("not-there")), [Path::new(".")]);
        assert_eq!(
            folders_to_change(Path::new("not-there/run")),
            [Path::new("not-there"), Path::new(".")]
        );
        assert_eq!(folders_to_change(Path::new("/")), Vec::<&Path>::new());
    }
}
