//! Where the blocks of a store are, in entry order, and the damage between them.

use super::error::{Damage, DamageKind};
use super::health::ClockAnchor;
use super::layout::{
    BLOCK_HEADER, BlockHeader, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, Store, walk,
};
use super::payload;
use super::recover::{Cut, whole_file};
use super::storage::Storage;

/// A block in a segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BlockPlace {
    /// Position in [`Index::segments`].
    pub(super) segment: usize,
    pub(super) offset: usize,
    pub(super) header: BlockHeader,
}

/// What one segment holds.
#[derive(Debug, Clone, Default)]
pub(super) struct SegmentIndex {
    pub(super) number: u32,
    pub(super) name: String,
    pub(super) bytes: u64,
    /// The first bytes, which change when a segment is packed under the same name.
    pub(super) stamp: Vec<u8>,
    pub(super) packed: bool,
    pub(super) sealed: bool,
    pub(super) other_blocks: u64,
    blocks: Vec<(usize, BlockHeader)>,
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
    /// Looks at every block header of the store, reading again only the segments that changed since `before`.
    /// `tag` comes from `run.toml`; without it the first readable segment decides which run this is.
    pub(super) fn of(
        disk: &impl Storage,
        store: Store,
        tag: &mut Option<RunTag>,
        before: Self,
    ) -> Self {
        let mut index = Self::default();
        let Ok(names) = disk.list() else {
            index
                .damage
                .push(whole_file(DamageKind::Unreadable, "", &[]));
            return index;
        };
        let mut names: Vec<(u32, String)> = names
            .into_iter()
            .filter_map(|n| Some((store.segment_number(&n)?, n)))
            .collect();
        names.sort();
        let mut known = before.segments;
        for (number, name) in names {
            let unchanged = known
                .iter()
                .position(|s| s.name == name && s.is_current(disk))
                .map(|p| known.swap_remove(p));
            let segment = unchanged.unwrap_or_else(|| SegmentIndex {
                number,
                name: name.clone(),
                ..SegmentIndex::of(disk, &name, store, tag)
            });
            index.add(segment);
        }
        index
            .blocks
            .sort_by_key(|b| (b.header.sequence, b.segment, b.offset));
        index
    }

    fn add(&mut self, segment: SegmentIndex) {
        let position = self.segments.len();
        let place = |(offset, header): &(usize, BlockHeader)| BlockPlace {
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

impl SegmentIndex {
    fn of(disk: &impl Storage, name: &str, store: Store, tag: &mut Option<RunTag>) -> Self {
        match disk.read(name, 0, usize::MAX) {
            Ok(bytes) => Self::from_bytes(name, &bytes, store, tag),
            Err(_) => Self {
                damage: vec![whole_file(DamageKind::Unreadable, name, &[])],
                ..Self::default()
            },
        }
    }

    fn is_current(&self, disk: &impl Storage) -> bool {
        disk.len(&self.name).is_ok_and(|len| len == self.bytes)
            && disk
                .read(&self.name, 0, SEGMENT_HEADER)
                .is_ok_and(|stamp| stamp == self.stamp)
    }

    fn from_bytes(name: &str, bytes: &[u8], store: Store, tag: &mut Option<RunTag>) -> Self {
        let mut this = Self {
            name: name.to_owned(),
            bytes: bytes.len() as u64,
            stamp: bytes.iter().take(SEGMENT_HEADER).copied().collect(),
            ..Self::default()
        };
        let start = match SegmentHeader::from_bytes(bytes) {
            Some(header) => {
                let run = *tag.get_or_insert(header.tag);
                if header.tag != run || header.store != store {
                    this.damage
                        .push(whole_file(DamageKind::ForeignSegment, name, bytes));
                    return this;
                }
                this.packed = header.packed;
                SEGMENT_HEADER
            }
            None => {
                let mut damage = whole_file(DamageKind::SegmentHeader, name, bytes);
                damage.bytes = bytes.len().min(SEGMENT_HEADER) as u64;
                this.damage.push(damage);
                0
            }
        };
        let salt = tag.map_or(0, RunTag::salt);
        walk(bytes, start, salt, |piece| match piece {
            Piece::Block { offset, header } => this.block(bytes, offset, header, salt),
            // The damaged header itself is reported above.
            Piece::Bad { offset, length, .. }
                if start == 0 && offset == 0 && length <= SEGMENT_HEADER => {}
            Piece::Bad {
                kind,
                offset,
                length,
            } => this.damage.push(Damage {
                kind,
                segment: name.to_owned(),
                offset: offset as u64,
                bytes: length as u64,
                first_entry: None,
                entries: None,
            }),
        });
        this
    }

    fn block(&mut self, bytes: &[u8], offset: usize, header: BlockHeader, salt: u32) {
        if matches!(header.kind, BlockKind::Inputs | BlockKind::Derived) {
            self.blocks.push((offset, header));
            return;
        }
        self.other_blocks += 1;
        let payload = &bytes[offset + BLOCK_HEADER..][..header.length as usize];
        let mut damage = Damage {
            kind: DamageKind::Checksum,
            segment: self.name.clone(),
            offset: offset as u64,
            bytes: (BLOCK_HEADER + payload.len()) as u64,
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
