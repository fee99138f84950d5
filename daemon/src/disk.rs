//! The run folder's disk, with a brake for tests.
//!
//! A stalled disk cannot be had on demand, so the latency bench and the tests brake this one: each
//! sync then takes as long as they say.

use kerfwatch::recording::{Folder, Look, Storage};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

/// Extra time for each sync, no room, syncs that fail; settable while running. A new one brakes nothing.
#[derive(Debug, Clone, Default)]
pub struct Brake {
    stall_ms: Arc<AtomicU64>,
    full: Arc<AtomicU64>,
    failing: Arc<AtomicU64>,
    held: Arc<AtomicBool>,
}

impl Brake {
    /// Each sync takes this much longer from now on.
    pub fn stall(&self, time: Duration) {
        let millis = u64::try_from(time.as_millis()).unwrap_or(u64::MAX);
        self.stall_ms.store(millis, Ordering::Relaxed);
    }

    /// Every write is refused as on a full disk while `full`.
    pub fn fill(&self, full: bool) {
        self.full.store(u64::from(full), Ordering::Relaxed);
    }

    /// The next `count` syncs fail.
    pub fn fail_syncs(&self, count: u64) {
        self.failing.store(count, Ordering::Relaxed);
    }

    /// The record of an interrupted run is not read back while `held`.
    pub fn hold_reading_back(&self, held: bool) {
        self.held.store(held, Ordering::Relaxed);
    }

    fn wait(&self) {
        while self.held.load(Ordering::Relaxed) {
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn sync(&self) -> io::Result<()> {
        let millis = self.stall_ms.load(Ordering::Relaxed);
        if millis > 0 {
            std::thread::sleep(Duration::from_millis(millis));
        }
        let failing = self.failing.load(Ordering::Relaxed);
        if failing == 0 {
            return Ok(());
        }
        self.failing.store(failing - 1, Ordering::Relaxed);
        Err(io::Error::other("the disk failed"))
    }

    fn check_room(&self) -> io::Result<()> {
        if self.full.load(Ordering::Relaxed) == 0 {
            Ok(())
        } else {
            Err(io::ErrorKind::StorageFull.into())
        }
    }
}

/// A folder behind a [`Brake`].
#[derive(Debug)]
pub struct Disk {
    folder: Folder,
    brake: Brake,
    is_locked: bool,
    reads_back: bool,
}

impl Disk {
    /// The folder as it is, braked by `brake`.
    pub fn new(folder: Folder, brake: Brake) -> Self {
        Self {
            folder,
            brake,
            is_locked: false,
            reads_back: false,
        }
    }

    /// The same for reading back an interrupted run.
    pub fn to_read_back(folder: Folder, brake: Brake) -> Self {
        Self {
            reads_back: true,
            ..Self::new(folder, brake)
        }
    }
}

impl Storage for Disk {
    fn list(&self) -> io::Result<Vec<String>> {
        self.folder.list()
    }
    fn create(&mut self, name: &str) -> io::Result<()> {
        self.brake.check_room()?;
        self.folder.create(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.brake.check_room()?;
        self.folder.append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.brake.sync()?;
        self.folder.sync(name)
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        self.folder.truncate(name, len)
    }
    fn len(&self, name: &str) -> io::Result<u64> {
        self.folder.len(name)
    }
    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        if self.reads_back {
            self.brake.wait();
        }
        self.folder.read(name, offset, length)
    }
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.folder.rename(from, to)
    }
    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.folder.remove(name)
    }
    fn sync_dir(&mut self) -> io::Result<()> {
        self.folder.sync_dir()
    }
    fn close(&mut self, name: &str) {
        self.folder.close(name);
    }
    fn lock(&mut self, name: &str) -> io::Result<bool> {
        // Once is enough: the folder would take its own lock for another's.
        self.is_locked = self.is_locked || self.folder.lock(name)?;
        Ok(self.is_locked)
    }
}

/// A run folder of which only the last two segments show, to be looked at only: enough to know
/// when a run was cut off, without reading hours of it.
#[derive(Debug)]
pub struct LastSegments(pub Folder);

impl Look for LastSegments {
    fn list(&self) -> io::Result<Vec<String>> {
        let mut names = self.0.list()?;
        names.retain(|name| name.starts_with("raw-") && name.ends_with(".kwr"));
        names.sort();
        names.drain(..names.len().saturating_sub(2));
        Ok(names)
    }

    fn len(&self, name: &str) -> io::Result<u64> {
        self.0.len(name)
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        self.0.read(name, offset, length)
    }
}
