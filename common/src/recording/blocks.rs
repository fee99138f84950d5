//! The blocks of a store in entry order, each entry once; what is damaged is noted and passed over.

use super::batch::Batch;
use super::error::{Damage, DamageKind};
use super::index::{BlockPlace, Index};
use super::layout::{BLOCK_HEADER, SEGMENT_HEADER, Store};
use super::payload;
use super::reader::RunReader;
use super::storage::Storage;

/// Goes through the blocks of a store in entry order, each entry once.
pub(super) struct Blocks {
    position: usize,
    /// Next entry to be given out.
    next: u64,
    /// Entries below this are accounted for: given out, or listed as damage.
    explained: u64,
    fresh_start: bool,
    segment: Option<(usize, Vec<u8>)>,
}

impl Blocks {
    pub(super) fn new(first: u64) -> Self {
        Self {
            position: 0,
            next: first,
            explained: first,
            fresh_start: true,
            segment: None,
        }
    }

    pub(super) fn next_inputs<S: Storage>(
        &mut self,
        reader: &mut RunReader<S>,
    ) -> Option<(u64, usize, Batch)> {
        self.next(reader, Store::Raw, Batch::decode)
    }

    /// The next whole block: number of its first entry to be used, entries to be skipped, contents.
    pub(super) fn next<S: Storage, T>(
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
