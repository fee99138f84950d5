//! Reading a run folder back.
//!
//! *Input -> output*: files -> inputs in exactly the order they were recorded, decisions, and a list of
//! damage. Damage never stops the reading: what is whole is used, once, in order; what is not is located and
//! listed. A run that is being written can be read at the same time (the end may then look torn).

use super::blocks::Blocks;
use super::derived::{self, Derived};
use super::error::{Damage, RecordError};
use super::head::{Note, Notes, RunHead};
use super::health::ClockAnchor;
use super::index::Index;
use super::layout::{RunTag, Store};
use super::readings::Readings;
use super::storage::{Folder, Storage};
use crate::input::Input;
use crate::time::Nanos;
use std::path::Path;

/// Reads one run.
#[derive(Debug)]
pub struct RunReader<S: Storage = Folder> {
    pub(super) disk: S,
    head: Result<RunHead, String>,
    pub(super) tag: RunTag,
    pub(super) raw: Index,
    pub(super) derived: Index,
    /// Damage found while reading payloads, by store.
    pub(super) read_damage: [Vec<Damage>; 2],
}

/// A stretch of the recording.
#[derive(Debug)]
pub enum Run<'a> {
    /// Readings in recorded order.
    Readings(Readings<'a>),
    /// Any single input.
    One(&'a Input),
}

impl Run<'_> {
    /// Every input of the stretch, in order.
    pub fn for_each(self, mut take: impl FnMut(&Input)) {
        match self {
            Self::One(input) => take(input),
            Self::Readings(readings) => {
                for (channel, at, value) in readings {
                    take(&Input::Reading { channel, at, value });
                }
            }
        }
    }
}

impl RunReader<Folder> {
    /// Opens a run folder.
    ///
    /// # Errors
    /// Only when the folder itself can't be read.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, RecordError> {
        Self::new(Folder::open(path.as_ref()))
    }
}

impl<S: Storage> RunReader<S> {
    /// Opens a run on any storage.
    ///
    /// # Errors
    /// Only when the folder can't be listed, or holds neither a `run.toml` nor segments.
    pub fn new(disk: S) -> Result<Self, RecordError> {
        let names = disk.list().map_err(RecordError::io("cannot list", ""))?;
        let head = RunHead::read(&disk);
        let is_segment = |n: &String| {
            Store::Raw.segment_number(n).is_some() || Store::Derived.segment_number(n).is_some()
        };
        let head = match head {
            Err(error) if !names.iter().any(is_segment) => return Err(error),
            Err(error) => Err(error.to_string()),
            Ok(head) => Ok(head),
        };
        let mut tag = head.as_ref().ok().map(|h| RunTag::of(&h.run_id));
        let raw = Index::of(&disk, Store::Raw, &mut tag, Index::default());
        let derived = Index::of(&disk, Store::Derived, &mut tag, Index::default());
        Ok(Self {
            disk,
            head,
            tag: tag.unwrap_or(RunTag([0; 16])),
            raw,
            derived,
            read_damage: [Vec::new(), Vec::new()],
        })
    }

    /// `run.toml`, or why it can't be read (the recording itself can).
    ///
    /// # Errors
    /// A sentence that says what is wrong with it.
    pub fn head(&self) -> Result<&RunHead, &str> {
        self.head.as_ref().map_err(String::as_str)
    }

    /// The operator's marks from `notes.toml`; the same marks are inputs in the recording.
    pub fn notes(&self) -> Vec<Note> {
        self.readable_notes().unwrap_or_default()
    }

    /// The same; `None` where there are none to be read, so that any may have been made.
    pub fn readable_notes(&self) -> Option<Vec<Note>> {
        Notes::read(&self.disk).map(|notes| notes.note)
    }

    /// Universal times noted beside run times.
    pub fn anchors(&self) -> &[ClockAnchor] {
        &self.raw.anchors
    }

    /// Damage found so far: in the frame of the files at opening, in their contents as they are read.
    pub fn damage(&self) -> Vec<Damage> {
        let [raw, derived] = &self.read_damage;
        [&self.raw.damage, raw, &self.derived.damage, derived]
            .into_iter()
            .flatten()
            .cloned()
            .collect()
    }

    /// Places of the raw recording where something was lost (for `quality.lost_blocks`); complete after all
    /// inputs were read.
    pub fn lost_blocks(&self) -> u64 {
        self.raw
            .damage
            .iter()
            .chain(&self.read_damage[0])
            .filter(|d| d.kind.is_loss())
            .count() as u64
    }

    /// Looks again at a run that is still being written, reading only the segments that changed. Together
    /// with [`RunReader::for_each_input_from`] and [`RunReader::for_each_derived_from`] this follows a run:
    /// an entry number is a cursor that stays valid through packing, restarts and resuming.
    pub fn refresh(&mut self) {
        let mut tag = Some(self.tag);
        let (raw, derived) = (
            std::mem::take(&mut self.raw),
            std::mem::take(&mut self.derived),
        );
        self.raw = Index::of(&self.disk, Store::Raw, &mut tag, raw);
        self.derived = Index::of(&self.disk, Store::Derived, &mut tag, derived);
    }

    /// Number after the last derived record.
    pub fn derived_end(&self) -> u64 {
        self.derived.end()
    }

    /// Number after the last raw entry.
    pub fn raw_end(&self) -> u64 {
        self.raw.end()
    }

    pub(super) fn index(&self, store: Store) -> &Index {
        match store {
            Store::Raw => &self.raw,
            Store::Derived => &self.derived,
        }
    }

    /// Gives the storage back.
    pub fn into_storage(self) -> S {
        self.disk
    }

    /// All inputs in recorded order.
    pub fn inputs(&mut self) -> Inputs<'_, S> {
        self.read_damage[0].clear();
        Inputs {
            blocks: Blocks::new(0),
            reader: self,
            waiting: Vec::new().into_iter(),
        }
    }

    /// All inputs in recorded order, without an allocation for each.
    pub fn for_each_input(&mut self, mut f: impl FnMut(&Input)) {
        self.for_each_input_from(0, |_, input| f(input));
    }

    /// All inputs from entry number `first` on, with their numbers.
    pub fn for_each_input_from(&mut self, first: u64, mut f: impl FnMut(u64, &Input)) {
        self.for_each_input_while(first, |number, input| {
            f(number, input);
            true
        });
    }

    /// Inputs from entry number `first` on, with their numbers, until `f` says `false`: a long record is
    /// taken in portions.
    pub fn for_each_input_while(&mut self, first: u64, mut f: impl FnMut(u64, &Input) -> bool) {
        self.read_damage[0].clear();
        let mut blocks = Blocks::new(first);
        let mut more = true;
        while more && let Some((entry, skip, batch)) = blocks.next_inputs(self) {
            let mut number = entry;
            batch.for_each_from(skip, |input| {
                more = more && f(number, input);
                number += 1;
            });
        }
    }

    /// All inputs in recorded order, readings many at a time: the fast way for recomputing.
    pub fn for_each_run(&mut self, mut f: impl FnMut(Run<'_>)) {
        self.read_damage[0].clear();
        let mut blocks = Blocks::new(0);
        while let Some((_, skip, batch)) = blocks.next_inputs(self) {
            if let Some(mut readings) = batch.readings() {
                readings.by_ref().take(skip).for_each(drop);
                f(Run::Readings(readings));
            } else {
                batch.for_each_from(skip, |input| f(Run::One(input)));
            }
        }
    }

    /// All decisions from record number `first` on, with their numbers.
    pub fn for_each_derived_from(&mut self, first: u64, mut f: impl FnMut(u64, &Derived)) {
        self.for_each_derived_while(first, |number, record| {
            f(number, record);
            true
        });
    }

    /// Decisions from record number `first` on, with their numbers, until `f` says `false`.
    pub fn for_each_derived_while(&mut self, first: u64, mut f: impl FnMut(u64, &Derived) -> bool) {
        self.read_damage[1].clear();
        let mut blocks = Blocks::new(first);
        while let Some((entry, skip, records)) =
            blocks.next(self, Store::Derived, |payload, header| {
                derived::decode(payload, header.entries as usize, header.encoding)
            })
        {
            for (number, record) in (entry..).zip(records.iter().skip(skip)) {
                if !f(number, record) {
                    return;
                }
            }
        }
    }
}

/// When an input happened.
pub fn time_of(input: &Input) -> Nanos {
    match input {
        Input::Received { at, .. }
        | Input::Sent { at, .. }
        | Input::Reading { at, .. }
        | Input::Mark { at, .. }
        | Input::Port { at, .. }
        | Input::Tick { at } => *at,
    }
}

/// Iterator over all inputs of a run.
pub struct Inputs<'a, S: Storage> {
    reader: &'a mut RunReader<S>,
    blocks: Blocks,
    waiting: std::vec::IntoIter<Input>,
}

impl<S: Storage> Iterator for Inputs<'_, S> {
    type Item = Input;

    fn next(&mut self) -> Option<Input> {
        loop {
            if let Some(input) = self.waiting.next() {
                return Some(input);
            }
            let (_, skip, batch) = self.blocks.next_inputs(self.reader)?;
            let mut inputs = Vec::with_capacity(batch.len() - skip);
            batch.for_each_from(skip, |input| inputs.push(input.clone()));
            self.waiting = inputs.into_iter();
        }
    }
}

impl<'a, S: Storage> IntoIterator for &'a mut RunReader<S> {
    type Item = Input;
    type IntoIter = Inputs<'a, S>;

    fn into_iter(self) -> Inputs<'a, S> {
        self.inputs()
    }
}
