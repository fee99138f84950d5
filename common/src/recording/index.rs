//! Where the blocks of a store are, in entry order, and the damage between them.

use super::error::{Damage, DamageKind};
use super::health::ClockAnchor;
use super::layout::{
    BLOCK_HEADER, BlockHeader, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, Store,
};
use super::payload;
use super::recover::{Cut, whole_file};
use super::scan;
use super::storage::Storage;

/// A block in a segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BlockPlace {
    /// Position in [`Index::segments`].
    pub(super) segment: usize,
    pub(super) offset: u64,
    pub(super) header: BlockHeader,
}

/// What one segment holds.
#[derive(Debug, Clone, Default)]
pub(super) struct SegmentIndex {
    pub(super) number: u32,
    pub(super) name: String,
    pub(super) bytes: u64,
    /// End of the last whole block: what comes after it may yet be completed.
    whole: u64,
    /// The first bytes, which change when a segment is packed under the same name.
    pub(super) stamp: Vec<u8>,
    pub(super) packed: bool,
    pub(super) sealed: bool,
    pub(super) other_blocks: u64,
    blocks: Vec<(u64, BlockHeader)>,
    damage: Vec<Damage>,
    anchors: Vec<ClockAnchor>,
}

/// All blocks of one store that carry entries, sorted by entry number, then segment.
#[derive(Debug, Clone, Default)]
pub(super) struct Index {
    pub(super) segments: Vec<SegmentIndex>,
    pub(super) blocks: Vec<BlockPlace>,
    pub(super) damage: Vec<Damage>,
    pub(super) anchors: Vec<ClockAnchor>,
}

impl Index {
    /// Looks at every block header of the store, reading only what changed or was added since `before`.
    /// `tag` comes from `run.toml`; without it the first readable segment decides which run this is.
    pub(super) fn of(
        disk: &impl Storage,
        store: Store,
        tag: &mut Option<RunTag>,
        before: Self,
    ) -> Self {
        let mut index = Self::default();
        let Ok(names) = disk.list() else {
            index.damage.push(whole_file(DamageKind::Unreadable, "", 0));
            return index;
        };
        let mut names: Vec<(u32, String)> = names
            .into_iter()
            .filter_map(|n| Some((store.segment_number(&n)?, n)))
            .collect();
        names.sort();
        let mut known = before.segments;
        for (number, name) in names {
            let place = known.iter().position(|s| s.name == name);
            let before = place.map(|place| known.swap_remove(place));
            index.add(match before {
                Some(before) => before.look_again(disk, store, tag),
                None => SegmentIndex::of(disk, number, name, store, tag),
            });
        }
        index
            .blocks
            .sort_by_key(|b| (b.header.sequence, b.segment, b.offset));
        index
    }

    fn add(&mut self, segment: SegmentIndex) {
        let position = self.segments.len();
        let place = |(offset, header): &(u64, BlockHeader)| BlockPlace {
            segment: position,
            offset: *offset,
            header: *header,
        };
        self.blocks.extend(segment.blocks.iter().map(place));
        for damage in &segment.damage {
            if !self.damage.contains(damage) {
                self.damage.push(damage.clone());
            }
        }
        for anchor in &segment.anchors {
            if !self.anchors.contains(anchor) {
                self.anchors.push(*anchor);
            }
        }
        self.segments.push(segment);
    }

    /// Number after the last entry of any block found.
    pub(super) fn end(&self) -> u64 {
        self.blocks
            .iter()
            .map(|b| b.header.end())
            .max()
            .unwrap_or(0)
    }

    /// Position of the first block that holds entry `first` or a later one.
    pub(super) fn position_of(&self, first: u64) -> usize {
        self.blocks
            .iter()
            .position(|b| b.header.end() > first)
            .unwrap_or(self.blocks.len())
    }
}

/// How often a segment that is packed while it is looked at is looked at again.
const LOOKS_MAX: usize = 3;

impl SegmentIndex {
    fn of(
        disk: &impl Storage,
        number: u32,
        name: String,
        store: Store,
        tag: &mut Option<RunTag>,
    ) -> Self {
        let empty = Self {
            number,
            name,
            ..Self::default()
        };
        for _ in 0..LOOKS_MAX {
            let mut this = empty.clone();
            let looked = this.look(disk, store, tag);
            match looked.and_then(|()| scan::stamp(disk, &this.name)) {
                Ok(stamp) if stamp == this.stamp => return this,
                Ok(_) => {}
                Err(_) => break,
            }
        }
        Self {
            damage: vec![whole_file(DamageKind::Unreadable, &empty.name, 0)],
            ..empty
        }
    }

    /// As it is now: a segment that grew is read from its last whole block on.
    fn look_again(mut self, disk: &impl Storage, store: Store, tag: &mut Option<RunTag>) -> Self {
        let same_file = scan::stamp(disk, &self.name).is_ok_and(|stamp| stamp == self.stamp);
        match (disk.len(&self.name), tag.as_ref().map(|tag| tag.salt())) {
            (Ok(length), _) if same_file && length == self.bytes => self,
            (Ok(length), Some(salt)) if same_file && length > self.bytes && self.whole > 0 => {
                let whole = self.whole;
                self.damage.retain(|damage| damage.offset < whole);
                let walked = self.walk(disk, whole, salt);
                match walked.and_then(|()| scan::stamp(disk, &self.name)) {
                    Ok(stamp) if stamp == self.stamp => self,
                    _ => Self::of(disk, self.number, self.name, store, tag),
                }
            }
            _ => Self::of(disk, self.number, self.name, store, tag),
        }
    }

    fn look(
        &mut self,
        disk: &impl Storage,
        store: Store,
        tag: &mut Option<RunTag>,
    ) -> std::io::Result<()> {
        self.stamp = scan::stamp(disk, &self.name)?;
        let header = SegmentHeader::from_bytes(&self.stamp);
        if let Some(header) = header {
            let run = *tag.get_or_insert(header.tag);
            if header.tag != run || header.store != store {
                self.bytes = disk.len(&self.name)?;
                self.damage.push(whole_file(
                    DamageKind::ForeignSegment,
                    &self.name,
                    self.bytes,
                ));
                return Ok(());
            }
            self.packed = header.packed;
            self.whole = SEGMENT_HEADER as u64;
        } else {
            let bytes = self.stamp.len() as u64;
            self.damage
                .push(whole_file(DamageKind::SegmentHeader, &self.name, bytes));
        }
        self.walk(disk, self.whole, tag.map_or(0, RunTag::salt))
    }

    fn walk(&mut self, disk: &impl Storage, start: u64, salt: u32) -> std::io::Result<()> {
        let name = self.name.clone();
        let no_header = self.whole == 0;
        self.bytes = scan::walk_file(disk, &name, start, salt, |piece, base, bytes| match piece {
            Piece::Block { offset, header } => {
                let end = offset + BLOCK_HEADER + header.length as usize;
                self.block(&bytes[offset..end], base + offset as u64, header, salt);
                self.whole = base + end as u64;
            }
            // The damaged header itself is reported already.
            Piece::Bad { offset, length, .. }
                if no_header && base == 0 && offset == 0 && length <= SEGMENT_HEADER => {}
            Piece::Bad {
                kind,
                offset,
                length,
            } => self.damage.push(Damage {
                kind,
                segment: name.clone(),
                offset: base + offset as u64,
                bytes: length as u64,
                first_entry: None,
                entries: None,
            }),
        })?;
        Ok(())
    }

    /// Takes a block, whose bytes begin at `offset` of the file.
    fn block(&mut self, bytes: &[u8], offset: u64, header: BlockHeader, salt: u32) {
        if matches!(header.kind, BlockKind::Inputs | BlockKind::Derived) {
            self.blocks.push((offset, header));
            return;
        }
        self.other_blocks += 1;
        let payload = &bytes[BLOCK_HEADER..];
        let mut damage = Damage {
            kind: DamageKind::Checksum,
            segment: self.name.clone(),
            offset,
            bytes: bytes.len() as u64,
            first_entry: None,
            entries: None,
        };
        if !header.holds(payload, salt) {
            self.damage.push(damage);
            return;
        }
        damage.kind = DamageKind::Contents;
        match header.kind {
            BlockKind::Anchor => match payload::decode::<ClockAnchor>(payload) {
                Ok(anchor) => self.anchors.push(anchor),
                Err(_) => self.damage.push(damage),
            },
            BlockKind::Recovery => match payload::decode::<Cut>(payload) {
                Ok(cut) => self.damage.push(Damage {
                    kind: DamageKind::CutOnResume,
                    segment: cut.segment,
                    offset: cut.offset,
                    bytes: cut.bytes,
                    first_entry: Some(header.sequence),
                    entries: None,
                }),
                Err(_) => self.damage.push(damage),
            },
            BlockKind::End => self.sealed = true,
            BlockKind::Inputs | BlockKind::Derived => {}
        }
    }
}
