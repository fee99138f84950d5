//! What something costs: processor time, time in the system, syncs.

use kerfwatch::recording::{Folder, Storage};
use std::cell::Cell;
use std::io;
use std::rc::Rc;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

/// Time this thread has had on a processor, so that a busy machine does not spoil the figures; wall time
/// where the system does not tell.
pub(crate) fn cpu() -> Duration {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse().ok())
        .map_or_else(|| START.elapsed(), Duration::from_nanos)
}

static START: LazyLock<Instant> = LazyLock::new(Instant::now);

/// A folder that counts and times what goes through it.
pub(crate) struct Counted {
    pub(crate) folder: Folder,
    pub(crate) syncs: Rc<Cell<u64>>,
    pub(crate) in_system: Rc<Cell<Duration>>,
}

impl Counted {
    fn timed<T>(&mut self, f: impl FnOnce(&mut Folder) -> T) -> T {
        let start = Instant::now();
        let result = f(&mut self.folder);
        self.in_system.set(self.in_system.get() + start.elapsed());
        result
    }
}

impl Storage for Counted {
    fn list(&self) -> io::Result<Vec<String>> {
        self.folder.list()
    }
    fn create(&mut self, name: &str) -> io::Result<()> {
        self.timed(|f| f.create(name))
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.timed(|f| f.append(name, bytes))
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.syncs.set(self.syncs.get() + 1);
        self.timed(|f| f.sync(name))
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        self.folder.truncate(name, len)
    }
    fn len(&self, name: &str) -> io::Result<u64> {
        self.folder.len(name)
    }
    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        self.folder.read(name, offset, length)
    }
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.timed(|f| f.rename(from, to))
    }
    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.folder.remove(name)
    }
    fn sync_dir(&mut self) -> io::Result<()> {
        self.syncs.set(self.syncs.get() + 1);
        self.timed(Folder::sync_dir)
    }
    fn close(&mut self, name: &str) {
        self.folder.close(name);
    }
    fn lock(&mut self, name: &str) -> io::Result<bool> {
        self.folder.lock(name)
    }
}
