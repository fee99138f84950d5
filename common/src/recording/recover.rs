//! After an interruption: what the disk holds of one store, with the torn tail cut off.
//!
//! Segments that were never sealed, and the last one, are written anew and synced. This is not for tidiness:
//! after a failed sync the system may show data that never reached the disk and report success from then on,
//! so what reads well after a restart is not thereby durable. A fresh copy is.

use super::error::{Damage, DamageKind, RecordError};
use super::head::NEW_SUFFIX;
use super::layout::{
    BLOCK_HEADER, BlockKind, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, Store, block,
};
use super::scan::{self, PART, walk_file};
use super::storage::Storage;
use super::track::is_full;

/// A cut, noted in the record itself so that it is never silent.
#[derive(Debug, Clone, PartialEq, Eq, bincode::Encode, bincode::Decode)]
pub(super) struct Cut {
    pub(super) segment: String,
    pub(super) offset: u64,
    pub(super) bytes: u64,
}

/// What was found in one store.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Found {
    pub(super) next_segment: u32,
    pub(super) next_entry: u64,
    pub(super) damage: Vec<Damage>,
    pub(super) cuts: Vec<Cut>,
}

/// Looks through all segments of a store and cuts the last one back to its last whole block.
pub(super) fn recover(
    disk: &mut impl Storage,
    store: Store,
    tag: RunTag,
) -> Result<Found, RecordError> {
    let names = disk.list().map_err(RecordError::io("cannot list", ""))?;
    let mut segments: Vec<(u32, String)> = names
        .into_iter()
        .filter_map(|n| Some((store.segment_number(&n)?, n)))
        .collect();
    segments.sort();
    let mut found = Found {
        next_segment: 1,
        ..Found::default()
    };
    let last = segments.len().saturating_sub(1);
    for (position, (number, name)) in segments.iter().enumerate() {
        found.next_segment = found.next_segment.max(number.saturating_add(1));
        let cannot = |error| RecordError::io("cannot read", name)(error);
        let header = SegmentHeader::from_bytes(&scan::stamp(disk, name).map_err(cannot)?);
        let length = disk.len(name).map_err(cannot)?;
        if header.is_some_and(|h| h.tag != tag) {
            found
                .damage
                .push(whole_file(DamageKind::ForeignSegment, name, length));
            continue;
        }
        if let Some(header) = header {
            found.next_entry = found.next_entry.max(header.first_entry);
        } else {
            found
                .damage
                .push(whole_file(DamageKind::SegmentHeader, name, length));
        }
        let start = header.map_or(0, |_| SEGMENT_HEADER as u64);
        let mut good_end = start;
        let mut sealed = false;
        let salt = tag.salt();
        let length = walk_file(disk, name, start, salt, |piece, base, bytes| {
            if let Piece::Block { offset, header } = piece {
                let end = offset + BLOCK_HEADER + header.length as usize;
                if header.holds(&bytes[offset + BLOCK_HEADER..end], salt) {
                    good_end = base + end as u64;
                    found.next_entry = found.next_entry.max(header.end());
                    sealed |= header.kind == BlockKind::End;
                }
            }
        })
        .map_err(cannot)?;
        let is_last = position == last;
        if sealed && !is_last {
            continue;
        }
        // Only the last segment can end torn by the interruption itself; damage elsewhere stays to be seen.
        let kept = if is_last { good_end } else { length };
        let end = block(BlockKind::End, found.next_entry, 0, &[], tag.salt());
        let end = if sealed || header.is_none() {
            &[][..]
        } else {
            &end
        };
        renew(disk, name, kept, end)?;
        if kept == length {
            continue;
        }
        let cut = Cut {
            segment: name.clone(),
            offset: good_end,
            bytes: length - good_end,
        };
        found.damage.push(Damage {
            kind: DamageKind::CutOnResume,
            segment: cut.segment.clone(),
            offset: cut.offset,
            bytes: cut.bytes,
            first_entry: Some(found.next_entry),
            entries: None,
        });
        found.cuts.push(cut);
    }
    Ok(found)
}

pub(super) fn whole_file(kind: DamageKind, name: &str, bytes: u64) -> Damage {
    Damage {
        kind,
        segment: name.to_owned(),
        offset: 0,
        bytes,
        first_entry: None,
        entries: None,
    }
}

/// Puts a fresh, synced copy of the first `kept` bytes in place of the segment, sealed by `end`. On a full disk the
/// segment is cut and synced where it is.
fn renew(disk: &mut impl Storage, name: &str, kept: u64, end: &[u8]) -> Result<(), RecordError> {
    let temporary = format!("{name}{NEW_SUFFIX}");
    let written = disk
        .create(&temporary)
        .and_then(|()| copy(disk, name, kept, &temporary))
        .and_then(|()| disk.append(&temporary, end));
    match written {
        Ok(()) => {
            disk.sync(&temporary)
                .map_err(RecordError::io("cannot sync", &temporary))?;
            disk.close(&temporary);
            disk.rename(&temporary, name)
                .map_err(RecordError::io("cannot rename to", name))
        }
        Err(error) if is_full(&error) => {
            disk.remove(&temporary)
                .map_err(RecordError::io("cannot remove", &temporary))?;
            disk.truncate(name, kept)
                .map_err(RecordError::io("cannot cut the torn tail of", name))?;
            disk.sync(name)
                .map_err(RecordError::io("cannot sync", name))?;
            disk.close(name);
            Ok(())
        }
        Err(error) => Err(RecordError::io("cannot write", &temporary)(error)),
    }
}

/// Adds the first `length` bytes of a file to another, a part at a time.
fn copy(disk: &mut impl Storage, from: &str, length: u64, to: &str) -> std::io::Result<()> {
    let mut at = 0;
    while at < length {
        let part = PART.min(usize::try_from(length - at).unwrap_or(PART));
        let bytes = disk.read(from, at, part)?;
        if bytes.is_empty() {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        at += bytes.len() as u64;
        disk.append(to, &bytes)?;
    }
    Ok(())
}
