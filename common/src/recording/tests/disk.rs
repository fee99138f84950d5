//! A disk in memory that does what disks do in a power cut: unsynced writes are lost, torn or come in any
//! order; directory changes likewise. It can be full, fail a sync, and have bits flipped. Deterministic.

use crate::recording::Storage;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind};
use std::rc::Rc;

/// Numbers from a seed (splitmix64).
#[derive(Debug, Clone)]
pub(super) struct Seeded(pub(super) u64);

impl Seeded {
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    pub(super) fn below(&mut self, n: u64) -> u64 {
        self.next() % n.max(1)
    }
    pub(super) fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}

/// Contents as the system sees them and as the platter holds them.
#[derive(Debug, Clone, Default)]
struct Contents {
    now: Vec<u8>,
    durable: Vec<u8>,
    /// A sync failed: the system has dropped the pages and will claim success next time.
    dropped: bool,
}

#[derive(Debug, Default)]
struct State {
    files: BTreeMap<u64, Contents>,
    names: BTreeMap<String, u64>,
    durable_names: BTreeMap<String, u64>,
    next_file: u64,
    capacity: Option<usize>,
    fail_syncs: u32,
    fail_appends: u32,
}

/// Shared handle, so that the test keeps the disk when the writer is gone.
#[derive(Debug, Clone, Default)]
pub(super) struct FaultyDisk(Rc<RefCell<State>>);

/// Bytes that reach the platter together.
const SECTOR: usize = 64;

impl FaultyDisk {
    /// Room for so many bytes more than now; `None`: no limit.
    pub(super) fn set_room(&self, room: Option<usize>) {
        let used = self.used();
        self.0.borrow_mut().capacity = room.map(|r| used + r);
    }

    pub(super) fn fail_next_syncs(&self, count: u32) {
        self.0.borrow_mut().fail_syncs = count;
    }

    pub(super) fn fail_next_appends(&self, count: u32) {
        self.0.borrow_mut().fail_appends = count;
    }

    fn used(&self) -> usize {
        let state = self.0.borrow();
        state
            .names
            .values()
            .filter_map(|f| state.files.get(f))
            .map(|c| c.now.len())
            .sum()
    }

    /// The power goes: what was not synced is kept, lost or torn as the dice fall.
    pub(super) fn cut_power(&self, dice: &mut Seeded) {
        let mut state = self.0.borrow_mut();
        let all: BTreeSet<String> = state
            .names
            .keys()
            .chain(state.durable_names.keys())
            .cloned()
            .collect();
        let mut after = BTreeMap::new();
        for name in all {
            let now = state.names.get(&name).copied();
            let durable = state.durable_names.get(&name).copied();
            let taken = if dice.one_in(2) { now } else { durable };
            if let Some(file) = taken {
                after.insert(name, file);
            }
        }
        for contents in state.files.values_mut() {
            let (short, long) = {
                let (a, b) = (contents.now.len(), contents.durable.len());
                (a.min(b), a.max(b))
            };
            let length = match dice.below(4) {
                0 => contents.durable.len(),
                1 => contents.now.len(),
                _ => short + dice.below((long - short + 1) as u64) as usize,
            };
            let mut kept = vec![0; length];
            let lossy = dice.below(4);
            for (start, sector) in (0..).step_by(SECTOR).zip(kept.chunks_mut(SECTOR)) {
                let take_new = !contents.dropped && dice.below(4) >= lossy;
                for (offset, byte) in sector.iter_mut().enumerate() {
                    let old = contents.durable.get(start + offset).copied();
                    let new = contents.now.get(start + offset).copied();
                    // What is durable and unchanged can't be lost.
                    *byte = if take_new {
                        new.or(old).unwrap_or(0)
                    } else {
                        old.unwrap_or(0)
                    };
                }
            }
            contents.now.clone_from(&kept);
            contents.durable = kept;
            contents.dropped = false;
        }
        state.names.clone_from(&after);
        state.durable_names = after;
        state.fail_syncs = 0;
        state.fail_appends = 0;
    }

    /// What is left of the disk when everything is lost that was not synced, names included.
    pub(super) fn only_synced(&self) -> Self {
        let left = Self::default();
        let state = self.0.borrow();
        for (name, file) in &state.durable_names {
            if let Some(contents) = state.files.get(file) {
                left.put(name, contents.durable.clone());
            }
        }
        left
    }

    /// The bytes of a file as the system sees them.
    pub(super) fn bytes(&self, name: &str) -> Vec<u8> {
        self.read(name, 0, usize::MAX).unwrap()
    }

    /// Puts a file there, durable.
    pub(super) fn put(&self, name: &str, bytes: Vec<u8>) {
        let mut state = self.0.borrow_mut();
        state.next_file += 1;
        let file = state.next_file;
        let contents = Contents {
            durable: bytes.clone(),
            now: bytes,
            dropped: false,
        };
        state.files.insert(file, contents);
        state.names.insert(name.to_owned(), file);
        state.durable_names.insert(name.to_owned(), file);
    }

    /// An independent copy of the disk.
    pub(super) fn copy(&self) -> Self {
        let copy = Self::default();
        for name in self.list().unwrap() {
            copy.put(&name, self.bytes(&name));
        }
        copy
    }

    pub(super) fn delete(&self, name: &str) {
        let mut state = self.0.borrow_mut();
        state.names.remove(name);
        state.durable_names.remove(name);
    }
}

impl State {
    fn file(&mut self, name: &str) -> io::Result<&mut Contents> {
        let file = *self.names.get(name).ok_or(ErrorKind::NotFound)?;
        Ok(self.files.get_mut(&file).ok_or(ErrorKind::NotFound)?)
    }
}

impl Storage for FaultyDisk {
    fn list(&self) -> io::Result<Vec<String>> {
        Ok(self.0.borrow().names.keys().cloned().collect())
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        if state.names.contains_key(name) {
            return Err(ErrorKind::AlreadyExists.into());
        }
        state.next_file += 1;
        let file = state.next_file;
        state.files.insert(file, Contents::default());
        state.names.insert(name.to_owned(), file);
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let room = self
            .0
            .borrow()
            .capacity
            .map(|c| c.saturating_sub(self.used()));
        let mut state = self.0.borrow_mut();
        if state.fail_appends > 0 {
            state.fail_appends -= 1;
            let half = &bytes[..bytes.len() / 2];
            state.file(name)?.now.extend_from_slice(half);
            return Err(io::Error::other("write error"));
        }
        let fits = room.map_or(bytes.len(), |r| r.min(bytes.len()));
        state.file(name)?.now.extend_from_slice(&bytes[..fits]);
        if fits < bytes.len() {
            Err(ErrorKind::StorageFull.into())
        } else {
            Ok(())
        }
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        let fails = state.fail_syncs > 0;
        state.fail_syncs = state.fail_syncs.saturating_sub(1);
        let contents = state.file(name)?;
        if fails {
            contents.dropped = true;
            return Err(io::Error::other("sync failed"));
        }
        if !contents.dropped {
            contents.durable = contents.now.clone();
        }
        Ok(())
    }

    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.file(name)?.now.truncate(len as usize);
        Ok(())
    }

    fn len(&self, name: &str) -> io::Result<u64> {
        Ok(self.0.borrow_mut().file(name)?.now.len() as u64)
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        let mut state = self.0.borrow_mut();
        let bytes = &state.file(name)?.now;
        let start = (offset as usize).min(bytes.len());
        let end = start.saturating_add(length).min(bytes.len());
        Ok(bytes[start..end].to_vec())
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        let file = state.names.remove(from).ok_or(ErrorKind::NotFound)?;
        state.names.insert(to.to_owned(), file);
        Ok(())
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.names.remove(name).ok_or(ErrorKind::NotFound)?;
        Ok(())
    }

    fn sync_dir(&mut self) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        if state.fail_syncs > 0 {
            state.fail_syncs -= 1;
            return Err(io::Error::other("sync failed"));
        }
        let names = state.names.clone();
        state.durable_names = names;
        Ok(())
    }

    fn close(&mut self, _name: &str) {}

    fn lock(&mut self, _name: &str) -> io::Result<bool> {
        Ok(true)
    }
}
