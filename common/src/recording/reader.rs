//! Reading a run folder back.
//!
//! *Input -> output*: files -> inputs in exactly the order they were recorded, decisions, and a list of
//! damage. Damage never stops the reading: what is whole is used, once, in order; what is not is located and
//! listed. A run that is being written can be read at the same time (the end may then look torn).

use super::batch::{Batch, ReadingColumns};
use super::derived::{self, Derived};
use super::error::{Damage, DamageKind, RecordError};
use super::head::{Note, Notes, RunHead};
use super::index::{BlockPlace, Index};
use super::layout::{BLOCK_HEADER, RunTag, SEGMENT_HEADER, Store};
use super::manifest::{self, DigestState};
use super::payload;
use super::storage::{Folder, Storage};
use super::writer::ClockAnchor;
use crate::input::{ChannelId, Input};
use crate::time::Nanos;
use std::path::Path;

/// Reads one run.
#[derive(Debug)]
pub struct RunReader<S: Storage = Folder> {
    disk: S,
    head: Result<RunHead, String>,
    tag: RunTag,
    raw: Index,
    derived: Index,
    /// Damage found while reading payloads, by store.
    read_damage: [Vec<Damage>; 2],
}

/// A stretch of the recording.
#[derive(Debug)]
pub enum Run<'a> {
    /// Readings, as columns of equal length in recorded order.
    Readings {
        /// Channel of each.
        channel: &'a [ChannelId],
        /// Time of each.
        at: &'a [Nanos],
        /// Newtons or metres.
        value: &'a [f64],
    },
    /// Any single input.
    One(&'a Input),
}

/// What [`RunReader::verify`] reports.
#[derive(Debug, Clone, PartialEq)]
pub struct Verification {
    /// Whole blocks of inputs and of decisions.
    pub blocks: u64,
    /// Other blocks (clock anchors, ends of segments, recovery notes).
    pub other_blocks: u64,
    /// Raw and derived segments.
    pub segments: usize,
    /// Of these, packed.
    pub packed_segments: usize,
    /// Bytes in them.
    pub bytes: u64,
    /// Inputs read.
    pub inputs: u64,
    /// Readings and received frames among them.
    pub samples: u64,
    /// Decisions read.
    pub derived: u64,
    /// First and last time of the inputs.
    pub span: Option<(Nanos, Nanos)>,
    /// Silences longer than asked for: start, length.
    pub silences: Vec<(Nanos, Nanos)>,
    /// Universal time beside run time.
    pub anchors: Vec<ClockAnchor>,
    /// Segments without an end mark: the run is going on, was interrupted there, or the file was cut.
    pub unsealed: Vec<String>,
    /// Everything damaged.
    pub damage: Vec<Damage>,
    /// Files against the digests of the finished run; `None` when the run was not finished.
    pub digests: Option<Vec<(String, DigestState)>>,
}

impl Verification {
    /// Nothing lost and nothing changed since the run was finished.
    pub fn is_whole(&self) -> bool {
        !self.damage.iter().any(|d| d.kind.is_loss())
            && self
                .digests
                .iter()
                .flatten()
                .all(|(_, state)| *state == DigestState::Right)
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
        Notes::read(&self.disk).unwrap_or_default().note
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

    fn index(&self, store: Store) -> &Index {
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

    /// All inputs in recorded order, readings as whole columns: the fast way for recomputing.
    pub fn for_each_run(&mut self, mut f: impl FnMut(Run<'_>)) {
        self.read_damage[0].clear();
        let mut blocks = Blocks::new(0);
        let mut columns = ReadingColumns::default();
        while let Some((_, skip, batch)) = blocks.next_inputs(self) {
            if batch.readings(&mut columns) {
                f(Run::Readings {
                    channel: &columns.channel[skip..],
                    at: &columns.at[skip..],
                    value: &columns.value[skip..],
                });
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
            blocks.next(self, Store::Derived, |payload, entries| {
                derived::decode(payload, entries)
            })
        {
            for (number, record) in (entry..).zip(records.iter().skip(skip)) {
                if !f(number, record) {
                    return;
                }
            }
        }
    }

    /// Reads everything and reports. Silences of any kind of input longer than `silence` are listed.
    pub fn verify(&mut self, silence: Nanos) -> Verification {
        let mut inputs = 0;
        let mut samples = 0;
        let mut span: Option<(Nanos, Nanos)> = None;
        let mut silences = Vec::new();
        let mut seen = |at: Nanos, is_sample: bool| {
            inputs += 1;
            samples += u64::from(is_sample);
            match &mut span {
                None => span = Some((at, at)),
                Some((_, last)) => {
                    let quiet = at.saturating_sub(*last);
                    if quiet > silence {
                        silences.push((*last, quiet));
                    }
                    *last = at.max(*last);
                }
            }
        };
        self.for_each_run(|run| match run {
            Run::Readings { at, .. } => at.iter().for_each(|at| seen(*at, true)),
            Run::One(input) => seen(
                time_of(input),
                matches!(input, Input::Reading { .. } | Input::Received { .. }),
            ),
        });
        let mut derived = 0;
        self.for_each_derived_from(0, |_, _| derived += 1);
        let segments: Vec<_> = self
            .raw
            .segments
            .iter()
            .chain(&self.derived.segments)
            .collect();
        Verification {
            blocks: (self.raw.blocks.len() + self.derived.blocks.len()) as u64,
            other_blocks: segments.iter().map(|s| s.other_blocks).sum(),
            segments: segments.len(),
            packed_segments: segments.iter().filter(|s| s.packed).count(),
            bytes: segments.iter().map(|s| s.bytes).sum(),
            inputs,
            samples,
            derived,
            span,
            silences,
            anchors: self.raw.anchors.clone(),
            unsealed: segments
                .iter()
                .filter(|s| !s.sealed)
                .map(|s| s.name.clone())
                .collect(),
            damage: self.damage(),
            digests: manifest::check(&self.disk),
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

/// Goes through the blocks of a store in entry order, each entry once.
struct Blocks {
    position: usize,
    /// Next entry to be given out.
    next: u64,
    /// Entries below this are accounted for: given out, or listed as damage.
    explained: u64,
    fresh_start: bool,
    segment: Option<(usize, Vec<u8>)>,
}

impl Blocks {
    fn new(first: u64) -> Self {
        Self {
            position: 0,
            next: first,
            explained: first,
            fresh_start: true,
            segment: None,
        }
    }

    fn next_inputs<S: Storage>(
        &mut self,
        reader: &mut RunReader<S>,
    ) -> Option<(u64, usize, Batch)> {
        self.next(reader, Store::Raw, Batch::decode)
    }

    /// The next whole block: number of its first entry to be used, entries to be skipped, contents.
    fn next<S: Storage, T>(
        &mut self,
        reader: &mut RunReader<S>,
        store: Store,
        decode: impl Fn(&[u8], usize) -> Result<T, String>,
    ) -> Option<(u64, usize, T)> {
        loop {
            let moved = self.moved(reader, store);
            if moved {
                reader.refresh();
                self.segment = None;
            }
            if moved || self.fresh_start {
                self.fresh_start = false;
                // Reading from the middle: earlier blocks are neither read nor duplicates.
                if self.next > 0 {
                    self.position = reader.index(store).position_of(self.next);
                }
            }
            let (index, damage) = match store {
                Store::Raw => (&reader.raw, &mut reader.read_damage[0]),
                Store::Derived => (&reader.derived, &mut reader.read_damage[1]),
            };
            let place = index.blocks.get(self.position)?;
            self.position += 1;
            let header = place.header;
            if header.end() <= self.next && header.entries > 0 {
                note_duplicate(damage, index, place);
                continue;
            }
            let payload = match self.payload(&reader.disk, index, place) {
                Ok(payload) if header.holds(payload, reader.tag.salt()) => payload,
                other => {
                    let kind = match other {
                        Ok(_) => DamageKind::Checksum,
                        Err(_) => DamageKind::Unreadable,
                    };
                    self.gap_before(damage, index, place);
                    note(damage, at_place(kind, index, place));
                    self.explained = self.explained.max(header.end());
                    continue;
                }
            };
            let decoded = if header.encoding == payload::VERSION {
                decode(payload, header.entries as usize)
            } else {
                Err("unknown encoding".to_owned())
            };
            match decoded {
                Ok(contents) => {
                    self.gap_before(damage, index, place);
                    // A second copy makes up for a damaged first one.
                    for known in damage.iter_mut() {
                        if known.first_entry >= Some(header.sequence)
                            && known.first_entry < Some(header.end())
                            && known.kind != DamageKind::Gap
                        {
                            known.entries = Some(0);
                        }
                    }
                    let first = self.next.max(header.sequence);
                    self.next = header.end();
                    self.explained = self.explained.max(self.next);
                    return Some((first, (first - header.sequence) as usize, contents));
                }
                Err(_) => {
                    self.gap_before(damage, index, place);
                    note(damage, at_place(DamageKind::Contents, index, place));
                    self.explained = self.explained.max(header.end());
                }
            }
        }
    }

    /// Whether the segment to be read next was packed since it was looked at.
    fn moved<S: Storage>(&self, reader: &RunReader<S>, store: Store) -> bool {
        let index = reader.index(store);
        let Some(place) = index.blocks.get(self.position) else {
            return false;
        };
        if self
            .segment
            .as_ref()
            .is_some_and(|(s, _)| *s == place.segment)
        {
            return false;
        }
        let segment = &index.segments[place.segment];
        reader
            .disk
            .read(&segment.name, 0, SEGMENT_HEADER)
            .is_ok_and(|stamp| stamp.len() == SEGMENT_HEADER && stamp != segment.stamp)
    }

    fn gap_before(&mut self, damage: &mut Vec<Damage>, index: &Index, place: &BlockPlace) {
        let sequence = place.header.sequence;
        if sequence <= self.explained {
            return;
        }
        // Name the missing segment where that is what the hole is.
        let segment = &index.segments[place.segment];
        let name = &segment.name;
        let before = segment.number.saturating_sub(1);
        let missing = before > 0 && !index.segments.iter().any(|s| s.number == before);
        damage.push(Damage {
            kind: DamageKind::Gap,
            segment: if missing {
                format!("{before:05} (missing, before {name})")
            } else {
                name.clone()
            },
            offset: if missing { 0 } else { place.offset as u64 },
            bytes: 0,
            first_entry: Some(self.explained),
            entries: Some(sequence - self.explained),
        });
        self.explained = sequence;
    }

    fn payload<S: Storage>(
        &mut self,
        disk: &S,
        index: &Index,
        place: &BlockPlace,
    ) -> std::io::Result<&[u8]> {
        if self
            .segment
            .as_ref()
            .is_none_or(|(s, _)| *s != place.segment)
        {
            let name = &index.segments[place.segment].name;
            self.segment = Some((place.segment, disk.read(name, 0, usize::MAX)?));
        }
        let start = place.offset + BLOCK_HEADER;
        self.segment
            .as_ref()
            .and_then(|(_, bytes)| bytes.get(start..start + place.header.length as usize))
            .ok_or_else(|| std::io::Error::from(std::io::ErrorKind::UnexpectedEof))
    }
}

fn at_place(kind: DamageKind, index: &Index, place: &BlockPlace) -> Damage {
    Damage {
        kind,
        segment: index.segments[place.segment].name.clone(),
        offset: place.offset as u64,
        bytes: BLOCK_HEADER as u64 + u64::from(place.header.length),
        first_entry: Some(place.header.sequence),
        entries: Some(u64::from(place.header.entries)),
    }
}

/// A block may be come upon again after the segments were looked at afresh.
fn note(damage: &mut Vec<Damage>, this: Damage) {
    if !damage.contains(&this) {
        damage.push(this);
    }
}

/// A copied segment repeats all its blocks: one line in the list, not thousands.
fn note_duplicate(damage: &mut Vec<Damage>, index: &Index, place: &BlockPlace) {
    let this = at_place(DamageKind::Duplicate, index, place);
    if let Some(known) = damage
        .iter_mut()
        .find(|d| d.kind == DamageKind::Duplicate && d.segment == this.segment)
    {
        known.bytes += this.bytes;
        let first = known.first_entry.min(this.first_entry);
        known.first_entry = first;
        known.entries = known.entries.zip(this.entries).map(|(a, b)| a + b);
    } else {
        damage.push(this);
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
