//! The blocks of a store in entry order, each entry once; what is damaged is noted and passed over.

use super::batch::Batch;
use super::column::Unzipper;
use super::error::{Damage, DamageKind};
use super::index::{BlockPlace, Index};
use super::layout::{BLOCK_HEADER, BlockHeader, Store};
use super::payload;
use super::reader::RunReader;
use super::scan::{self, PART};
use super::storage::Storage;

/// Goes through the blocks of a store in entry order, each entry once.
pub(super) struct Blocks {
    position: usize,
    /// Next entry to be given out.
    next: u64,
    /// Entries below this are accounted for: given out, or listed as damage.
    explained: u64,
    fresh_start: bool,
    part: Option<Part>,
    unzipper: Unzipper,
}

/// The part of a segment that was read last.
struct Part {
    segment: usize,
    start: u64,
    bytes: Vec<u8>,
}

impl Part {
    /// The payload of a block, when all of it is here.
    fn payload(&self, place: &BlockPlace) -> Option<&[u8]> {
        if self.segment != place.segment {
            return None;
        }
        let start = usize::try_from(place.offset.checked_sub(self.start)?).ok()?;
        let block = self.bytes.get(start..)?;
        block.get(BLOCK_HEADER..BLOCK_HEADER + place.header.length as usize)
    }
}

impl Blocks {
    pub(super) fn new(first: u64) -> Self {
        Self {
            position: 0,
            next: first,
            explained: first,
            fresh_start: true,
            part: None,
            unzipper: Unzipper::default(),
        }
    }

    pub(super) fn next_inputs<S: Storage>(
        &mut self,
        reader: &mut RunReader<S>,
    ) -> Option<(u64, usize, Batch)> {
        let mut unzipper = std::mem::take(&mut self.unzipper);
        let found = self.next(reader, Store::Raw, |payload, header| {
            Batch::decode_with(payload, header.entries as usize, &mut unzipper)
        });
        self.unzipper = unzipper;
        found
    }

    /// The next whole block: number of its first entry to be used, entries to be skipped, contents.
    pub(super) fn next<S: Storage, T>(
        &mut self,
        reader: &mut RunReader<S>,
        store: Store,
        mut decode: impl FnMut(&[u8], &BlockHeader) -> Result<T, String>,
    ) -> Option<(u64, usize, T)> {
        loop {
            if self.fresh_start {
                self.fresh_start = false;
                self.find_place(reader, store);
            }
            if self.fetch(reader, store) {
                reader.refresh();
                self.find_place(reader, store);
                continue;
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
            let found = self.part.as_ref().and_then(|part| part.payload(place));
            let payload = match found {
                Some(payload) if header.holds(payload, reader.tag.salt()) => payload,
                other => {
                    let kind = match other {
                        Some(_) => DamageKind::Checksum,
                        None => DamageKind::Unreadable,
                    };
                    self.gap_before(damage, index, place, store);
                    note(damage, at_place(kind, index, place));
                    self.explained = self.explained.max(header.end());
                    continue;
                }
            };
            let decoded = if payload::is_known(header.encoding) {
                decode(payload, &header)
            } else {
                Err("unknown encoding".to_owned())
            };
            match decoded {
                Ok(contents) => {
                    self.gap_before(damage, index, place, store);
                    // A second copy makes up for a damaged first one.
                    for known in damage.iter_mut() {
                        if known.first_entry >= Some(header.sequence)
                            && known.first_entry < Some(header.end())
                            && known.kind != DamageKind::Gap
                            && known.kind != DamageKind::DecisionsMissing
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
                    self.gap_before(damage, index, place, store);
                    note(damage, at_place(DamageKind::Contents, index, place));
                    self.explained = self.explained.max(header.end());
                }
            }
        }
    }

    fn find_place<S: Storage>(&mut self, reader: &RunReader<S>, store: Store) {
        // Reading from the middle: earlier blocks are neither read nor duplicates.
        if self.next > 0 {
            self.position = reader.index(store).position_of(self.next);
        }
    }

    /// Reads the part with the next block, unless it is here. Whether the segment was packed since it was looked
    /// at: then the places known of it are wrong.
    fn fetch<S: Storage>(&mut self, reader: &RunReader<S>, store: Store) -> bool {
        let index = reader.index(store);
        let Some(place) = index.blocks.get(self.position) else {
            return false;
        };
        if let Some(part) = &self.part
            && part.payload(place).is_some()
        {
            return false;
        }
        self.part = None;
        let segment = &index.segments[place.segment];
        let length = PART.max(BLOCK_HEADER + place.header.length as usize);
        let Ok(bytes) = reader.disk.read(&segment.name, place.offset, length) else {
            return false;
        };
        // Asked afterwards: what was read before is of the file that was looked at.
        if scan::stamp(&reader.disk, &segment.name).is_ok_and(|stamp| stamp != segment.stamp) {
            return true;
        }
        self.part = Some(Part {
            segment: place.segment,
            start: place.offset,
            bytes,
        });
        false
    }

    fn gap_before(
        &mut self,
        damage: &mut Vec<Damage>,
        index: &Index,
        place: &BlockPlace,
        store: Store,
    ) {
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
            kind: match store {
                Store::Raw => DamageKind::Gap,
                Store::Derived => DamageKind::DecisionsMissing,
            },
            segment: if missing {
                format!("{before:05} (missing, before {name})")
            } else {
                name.clone()
            },
            offset: if missing { 0 } else { place.offset },
            bytes: 0,
            first_entry: Some(self.explained),
            entries: Some(sequence - self.explained),
        });
        self.explained = sequence;
    }
}

fn at_place(kind: DamageKind, index: &Index, place: &BlockPlace) -> Damage {
    Damage {
        kind,
        segment: index.segments[place.segment].name.clone(),
        offset: place.offset,
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
