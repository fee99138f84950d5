//! Rewriting a closed segment in large blocks.
//!
//! A block per second is what durability asks for, but at a hundred readings a second such blocks are
//! mostly headers. Once a segment is closed and synced, its entries are written again in blocks of thousands
//! into a new file, which replaces the old one by a rename: at any moment one of the two is whole. A segment
//! with any damage is left alone.

use super::batch::Batch;
use super::error::RecordError;
use super::head::NEW_SUFFIX;
use super::layout::{
    BLOCK_HEADER, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, block, walk,
};
use super::storage::Storage;

/// Packs one segment; `false` when there was nothing to do.
pub(super) fn pack(
    disk: &mut impl Storage,
    name: &str,
    tag: RunTag,
    block_entries: usize,
) -> Result<bool, RecordError> {
    let bytes = disk
        .read(name, 0, usize::MAX)
        .map_err(RecordError::io("cannot read", name))?;
    let Some(header) = SegmentHeader::from_bytes(&bytes).filter(|h| h.tag == tag && !h.packed)
    else {
        return Ok(false);
    };
    let Some(packed) = repack(&bytes, header, block_entries).map_err(RecordError::Encode)? else {
        return Ok(false);
    };
    let temporary = format!("{name}{NEW_SUFFIX}");
    let written = write(disk, &temporary, name, &packed);
    if written.is_err() {
        // The old segment is whole; a left-over is removed on resume if it can't be removed now.
        let _ = disk.remove(&temporary);
    }
    written.map(|()| true)
}

fn write(
    disk: &mut impl Storage,
    temporary: &str,
    name: &str,
    bytes: &[u8],
) -> Result<(), RecordError> {
    disk.create(temporary)
        .map_err(RecordError::io("cannot create", temporary))?;
    disk.append(temporary, bytes)
        .map_err(RecordError::io("cannot write", temporary))?;
    disk.sync(temporary)
        .map_err(RecordError::io("cannot sync", temporary))?;
    disk.close(temporary);
    disk.rename(temporary, name)
        .map_err(RecordError::io("cannot rename to", name))?;
    disk.sync_dir()
        .map_err(RecordError::io("cannot sync the folder for", name))
}

/// The packed segment, or `None` when it would not be shorter or the segment is damaged.
fn repack(
    bytes: &[u8],
    mut header: SegmentHeader,
    block_entries: usize,
) -> Result<Option<Vec<u8>>, String> {
    let salt = header.tag.salt();
    header.packed = true;
    let mut out = header.to_bytes();
    let mut sequence = header.first_entry;
    let mut gathered = Batch::default();
    let mut whole = true;
    let mut failure = None;
    walk(bytes, SEGMENT_HEADER, salt, |piece| {
        if !whole || failure.is_some() {
            return;
        }
        let Piece::Block { offset, header } = piece else {
            whole = false;
            return;
        };
        let payload = &bytes[offset + BLOCK_HEADER..][..header.length as usize];
        if !header.holds(payload, salt)
            || header.sequence != sequence + gathered.len() as u64
            || header.kind == BlockKind::Derived
        {
            whole = false;
            return;
        }
        if header.kind != BlockKind::Inputs {
            if let Err(error) = put(&mut gathered, &mut sequence, salt, &mut out) {
                failure = Some(error);
                return;
            }
            out.extend(block(header.kind, sequence, 0, payload, salt));
            return;
        }
        let batch = match Batch::decode(payload, header.entries as usize) {
            Ok(batch) => batch,
            Err(error) => {
                failure = Some(error);
                return;
            }
        };
        batch.for_each(|input| {
            if failure.is_none() && (gathered.len() >= block_entries || !gathered.accepts(input)) {
                failure = put(&mut gathered, &mut sequence, salt, &mut out).err();
            }
            gathered.push(input);
        });
    });
    if let Some(failure) = failure {
        return Err(failure);
    }
    if whole {
        put(&mut gathered, &mut sequence, salt, &mut out)?;
    }
    Ok((whole && out.len() < bytes.len()).then_some(out))
}

/// Writes the gathered entries as one block, after checking that it reads back the same.
fn put(
    gathered: &mut Batch,
    sequence: &mut u64,
    salt: u32,
    out: &mut Vec<u8>,
) -> Result<(), String> {
    if gathered.is_empty() {
        return Ok(());
    }
    let payload = gathered.encode()?;
    if !Batch::decode(&payload, gathered.len())?.same_as(gathered) {
        return Err("a packed block does not read back the same".to_owned());
    }
    let entries = gathered.len() as u32;
    out.extend(block(BlockKind::Inputs, *sequence, entries, &payload, salt));
    *sequence += u64::from(entries);
    gathered.clear();
    Ok(())
}
