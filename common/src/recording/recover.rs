//! After an interruption: what the disk holds of one store, with the torn tail cut off.

use super::error::{Damage, DamageKind, RecordError};
use super::layout::{BLOCK_HEADER, Piece, RunTag, SEGMENT_HEADER, SegmentHeader, Store, walk};
use super::storage::Storage;

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
        let bytes = disk
            .read(name, 0, usize::MAX)
            .map_err(RecordError::io("cannot read", name))?;
        let header = SegmentHeader::from_bytes(&bytes);
        if header.is_some_and(|h| h.tag != tag) {
            found
                .damage
                .push(whole_file(DamageKind::ForeignSegment, name, &bytes));
            continue;
        }
        if let Some(header) = header {
            found.next_entry = found.next_entry.max(header.first_entry);
        } else {
            found
                .damage
                .push(whole_file(DamageKind::SegmentHeader, name, &bytes));
        }
        let start = if header.is_some() { SEGMENT_HEADER } else { 0 };
        let mut good_end = start;
        walk(&bytes, start, tag.salt(), |piece| match piece {
            Piece::Block { offset, header } => {
                let payload_at = offset + BLOCK_HEADER;
                let end = payload_at + header.length as usize;
                if header.holds(&bytes[payload_at..end], tag.salt()) {
                    good_end = end;
                    found.next_entry = found.next_entry.max(header.end());
                }
            }
            Piece::Bad { .. } => {}
        });
        if position != last || good_end == bytes.len() {
            continue;
        }
        let cut = Cut {
            segment: name.clone(),
            offset: good_end as u64,
            bytes: (bytes.len() - good_end) as u64,
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
        disk.truncate(name, good_end as u64)
            .map_err(RecordError::io("cannot cut the torn tail of", name))?;
        disk.sync(name)
            .map_err(RecordError::io("cannot sync", name))?;
        disk.close(name);
    }
    Ok(found)
}

pub(super) fn whole_file(kind: DamageKind, name: &str, bytes: &[u8]) -> Damage {
    Damage {
        kind,
        segment: name.to_owned(),
        offset: 0,
        bytes: bytes.len() as u64,
        first_entry: None,
        entries: None,
    }
}
