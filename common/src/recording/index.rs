//! Where the blocks of a store are, in entry order, and the damage between them.

use super::error::{Damage, DamageKind};
use super::layout::{
    BLOCK_HEADER, BlockHeader, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, Store, walk,
};
use super::payload;
use super::recover::{Cut, whole_file};
use super::storage::Storage;
use super::writer::ClockAnchor;

/// A block in a segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BlockPlace {
    /// Position in [`Index::segments`].
    pub(super) segment: usize,
    pub(super) offset: usize,
    pub(super) header: BlockHeader,
}

/// All blocks of one store that carry entries, sorted by entry number, then segment.
#[derive(Debug, Clone, Default)]
pub(super) struct Index {
    pub(super) segments: Vec<(u32, String)>,
    pub(super) blocks: Vec<BlockPlace>,
    pub(super) damage: Vec<Damage>,
    pub(super) anchors: Vec<ClockAnchor>,
    pub(super) packed_segments: usize,
    pub(super) other_blocks: u64,
    /// Segments without an end block: still open, or interrupted.
    pub(super) unsealed: Vec<String>,
    pub(super) bytes: u64,
}

impl Index {
    /// Looks at every block header of the store. `tag` comes from `run.toml`; without it the first readable
    /// segment decides which run this is.
    pub(super) fn of(disk: &impl Storage, store: Store, tag: &mut Option<RunTag>) -> Self {
        let mut index = Self::default();
        let Ok(names) = disk.list() else {
            index
                .damage
                .push(whole_file(DamageKind::Unreadable, "", &[]));
            return index;
        };
        let mut segments: Vec<(u32, String)> = names
            .into_iter()
            .filter_map(|n| Some((store.segment_number(&n)?, n)))
            .collect();
        segments.sort();
        for (position, (_, name)) in segments.iter().enumerate() {
            match disk.read(name, 0, usize::MAX) {
                Ok(bytes) => index.segment(position, name, &bytes, store, tag),
                Err(_) => index
                    .damage
                    .push(whole_file(DamageKind::Unreadable, name, &[])),
            }
        }
        index.segments = segments;
        index
            .blocks
            .sort_by_key(|b| (b.header.sequence, b.segment, b.offset));
        index
    }

    /// Adds the blocks of one segment.
    pub(super) fn segment(
        &mut self,
        position: usize,
        name: &str,
        bytes: &[u8],
        store: Store,
        tag: &mut Option<RunTag>,
    ) {
        self.bytes += bytes.len() as u64;
        let header = SegmentHeader::from_bytes(bytes);
        let start = match header {
            Some(header) => {
                let run = *tag.get_or_insert(header.tag);
                if header.tag != run || header.store != store {
                    self.damage
                        .push(whole_file(DamageKind::ForeignSegment, name, bytes));
                    return;
                }
                self.packed_segments += usize::from(header.packed);
                SEGMENT_HEADER
            }
            None => {
                let mut damage = whole_file(DamageKind::SegmentHeader, name, bytes);
                damage.bytes = bytes.len().min(SEGMENT_HEADER) as u64;
                self.damage.push(damage);
                0
            }
        };
        let salt = tag.map_or(0, RunTag::salt);
        self.unsealed.push(name.to_owned());
        walk(bytes, start, salt, |piece| match piece {
            Piece::Block { offset, header } => {
                self.block(position, name, bytes, offset, header, salt);
            }
            // The damaged header itself is reported above.
            Piece::Bad { offset, length, .. }
                if start == 0 && offset == 0 && length <= SEGMENT_HEADER => {}
            Piece::Bad {
                kind,
                offset,
                length,
            } => self.damage.push(Damage {
                kind,
                segment: name.to_owned(),
                offset: offset as u64,
                bytes: length as u64,
                first_entry: None,
                entries: None,
            }),
        });
    }

    fn block(
        &mut self,
        segment: usize,
        name: &str,
        bytes: &[u8],
        offset: usize,
        header: BlockHeader,
        salt: u32,
    ) {
        if matches!(header.kind, BlockKind::Inputs | BlockKind::Derived) {
            self.blocks.push(BlockPlace {
                segment,
                offset,
                header,
            });
            return;
        }
        self.other_blocks += 1;
        let payload = &bytes[offset + BLOCK_HEADER..][..header.length as usize];
        let mut damage = Damage {
            kind: DamageKind::Checksum,
            segment: name.to_owned(),
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
                Ok(anchor) if self.anchors.contains(&anchor) => {}
                Ok(anchor) => self.anchors.push(anchor),
                Err(_) => self.damage.push(damage),
            },
            BlockKind::Recovery => match payload::decode::<Cut>(payload) {
                Ok(cut) => {
                    let cut = Damage {
                        kind: DamageKind::CutOnResume,
                        segment: cut.segment,
                        offset: cut.offset,
                        bytes: cut.bytes,
                        first_entry: Some(header.sequence),
                        entries: None,
                    };
                    if !self.damage.contains(&cut) {
                        self.damage.push(cut);
                    }
                }
                Err(_) => self.damage.push(damage),
            },
            BlockKind::End => self.unsealed.retain(|n| n != name),
            BlockKind::Inputs | BlockKind::Derived => {}
        }
    }

    /// Number after the last entry of any block found.
    pub(super) fn end(&self) -> u64 {
        self.blocks
            .iter()
            .map(|b| b.header.end())
            .max()
            .unwrap_or(0)
    }
}
