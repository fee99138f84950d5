//! Rewriting a closed segment in large blocks.
//!
//! A block per second is what durability asks for, but at a hundred readings a second such blocks are
//! mostly headers. Once a segment is closed and synced, its entries are written again in blocks of thousands
//! into a new file, which replaces the old one by a rename: at any moment one of the two is whole. A segment
//! with any damage is left alone. A part of the segment is in memory at a time.

use super::batch::Batch;
use super::error::RecordError;
use super::head::NEW_SUFFIX;
use super::layout::{
    BLOCK_HEADER, BlockHeader, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, block,
};
use super::scan::{self, PART, Scan};
use super::storage::Storage;

/// Packs one segment; `false` when there was nothing to do.
pub(super) fn pack(
    disk: &mut impl Storage,
    name: &str,
    tag: RunTag,
    block_entries: usize,
) -> Result<bool, RecordError> {
    let stamp = scan::stamp(disk, name).map_err(RecordError::io("cannot read", name))?;
    let Some(header) = SegmentHeader::from_bytes(&stamp).filter(|h| h.tag == tag && !h.packed)
    else {
        return Ok(false);
    };
    let temporary = format!("{name}{NEW_SUFFIX}");
    let packed = repack(disk, name, &temporary, header, block_entries);
    if !matches!(packed, Ok(true)) {
        // The old segment is whole; a left-over is removed on resume if it can't be removed now.
        disk.close(&temporary);
        let _ = disk.remove(&temporary);
        return packed;
    }
    disk.rename(&temporary, name)
        .map_err(RecordError::io("cannot rename to", name))?;
    disk.sync_dir()
        .map_err(RecordError::io("cannot sync the folder for", name))?;
    Ok(true)
}

/// Writes and syncs the packed segment; `false` when it would not be shorter or the segment is damaged.
fn repack(
    disk: &mut impl Storage,
    name: &str,
    temporary: &str,
    mut header: SegmentHeader,
    block_entries: usize,
) -> Result<bool, RecordError> {
    header.packed = true;
    let mut packed = Packed {
        salt: header.tag.salt(),
        block_entries,
        gathered: Batch::default(),
        sequence: header.first_entry,
        out: header.to_bytes(),
        length: 0,
    };
    disk.create(temporary)
        .map_err(RecordError::io("cannot create", temporary))?;
    let mut scan = Scan::from(SEGMENT_HEADER as u64);
    while let Some(part) = scan
        .next(disk, name, packed.salt)
        .map_err(RecordError::io("cannot read", name))?
    {
        for piece in part.pieces {
            let Piece::Block { offset, header } = piece else {
                return Ok(false);
            };
            let payload = &part.bytes[offset + BLOCK_HEADER..][..header.length as usize];
            if !packed.take(header, payload).map_err(RecordError::Encode)? {
                return Ok(false);
            }
        }
        packed.write(disk, temporary, PART)?;
    }
    packed.put().map_err(RecordError::Encode)?;
    packed.write(disk, temporary, 0)?;
    let before = disk
        .len(name)
        .map_err(RecordError::io("cannot read", name))?;
    if packed.length >= before {
        return Ok(false);
    }
    disk.sync(temporary)
        .map_err(RecordError::io("cannot sync", temporary))?;
    disk.close(temporary);
    Ok(true)
}

/// The packed segment as it grows.
struct Packed {
    salt: u32,
    block_entries: usize,
    gathered: Batch,
    /// Of the first entry gathered.
    sequence: u64,
    /// Not yet written.
    out: Vec<u8>,
    /// Bytes written.
    length: u64,
}

impl Packed {
    /// Takes the next block; `false` when it is not what it should be.
    fn take(&mut self, header: BlockHeader, payload: &[u8]) -> Result<bool, String> {
        if !header.holds(payload, self.salt)
            || header.sequence != self.sequence + self.gathered.len() as u64
            || header.kind == BlockKind::Derived
        {
            return Ok(false);
        }
        if header.kind != BlockKind::Inputs {
            self.put()?;
            let block = block(header.kind, self.sequence, 0, payload, self.salt);
            self.out.extend(block);
            return Ok(true);
        }
        let mut failure = None;
        Batch::decode(payload, header.entries as usize)?.for_each(|input| {
            let is_full = self.gathered.len() >= self.block_entries;
            if failure.is_none() && (is_full || !self.gathered.accepts(input)) {
                failure = self.put().err();
            }
            self.gathered.push(input);
        });
        failure.map_or(Ok(true), Err)
    }

    /// Makes one block of the gathered entries, after checking that it reads back the same.
    fn put(&mut self) -> Result<(), String> {
        if self.gathered.is_empty() {
            return Ok(());
        }
        let payload = self.gathered.encode()?;
        if !Batch::decode(&payload, self.gathered.len())?.same_as(&self.gathered) {
            return Err("a packed block does not read back the same".to_owned());
        }
        let entries = self.gathered.len() as u32;
        let block = block(
            BlockKind::Inputs,
            self.sequence,
            entries,
            &payload,
            self.salt,
        );
        self.out.extend(block);
        self.sequence += u64::from(entries);
        self.gathered.clear();
        Ok(())
    }

    /// Hands over what is ready, if it is more than `most` bytes.
    fn write(
        &mut self,
        disk: &mut impl Storage,
        temporary: &str,
        most: usize,
    ) -> Result<(), RecordError> {
        if self.out.len() > most {
            disk.append(temporary, &self.out)
                .map_err(RecordError::io("cannot write", temporary))?;
            self.length += self.out.len() as u64;
            self.out.clear();
        }
        Ok(())
    }
}
