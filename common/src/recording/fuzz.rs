//! Bodies for fuzzing: ordinary functions that must return, whatever the bytes.

use super::batch::Batch;
use super::derived;
use super::layout::{BlockKind, RunTag, SegmentHeader, Store, block};
use super::payload;
use super::reader::RunReader;
use super::storage::{Look, ReadOnly, part_of};
use std::io::{self, ErrorKind};

/// The same bytes as the only raw and the only derived segment.
struct OneSegment<'a>(&'a [u8]);

impl Look for OneSegment<'_> {
    fn list(&self) -> io::Result<Vec<String>> {
        Ok(vec![
            Store::Derived.segment_name(1),
            Store::Raw.segment_name(1),
        ])
    }

    fn len(&self, _: &str) -> io::Result<u64> {
        Ok(self.0.len() as u64)
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        if !name.ends_with(".kwr") {
            return Err(ErrorKind::NotFound.into());
        }
        Ok(part_of(self.0, offset, length))
    }
}

/// Reads the bytes as a segment, all the way.
pub fn fuzz_segment(bytes: &[u8]) {
    if let Ok(mut reader) = RunReader::new(ReadOnly(OneSegment(bytes))) {
        let _ = reader.verify(1_000_000_000);
        reader.for_each_input(|_| {});
    }
}

/// Reads the bytes as the payload of a block whose checksums hold: number of entries in the first two
/// bytes, then the payload.
pub fn fuzz_payload(bytes: &[u8]) {
    for entries in [0, 1, 300] {
        if let Ok(batch) = Batch::decode(bytes, entries) {
            batch.for_each(|_| {});
        }
        for encoding in [payload::POLLED, payload::ALARMS_ABOUT] {
            let _ = derived::decode(bytes, entries, encoding);
        }
    }
    if let Some((count, payload)) = bytes.split_first_chunk::<2>()
        && let Ok(batch) = Batch::decode(payload, usize::from(u16::from_le_bytes(*count)))
    {
        batch.for_each(|_| {});
    }
}

/// Reads the bytes as blocks of a segment whose checksums all hold, so that what is inside them is reached:
/// for each block kind, number of entries, first entry, length (2 bytes each), then the payload.
pub fn fuzz_blocks(bytes: &[u8]) {
    const TAG: RunTag = RunTag([7; 16]);
    let mut segment = SegmentHeader {
        store: Store::Raw,
        packed: bytes.len().is_multiple_of(2),
        number: 1,
        tag: TAG,
        first_entry: 0,
        opened_at: 0,
    }
    .to_bytes();
    let mut rest = bytes;
    while let Some((head, more)) = rest.split_first_chunk::<8>() {
        let [kind, entries, first, length] =
            [0, 2, 4, 6].map(|at| u16::from_le_bytes([head[at], head[at + 1]]));
        let kind = [
            BlockKind::Inputs,
            BlockKind::Derived,
            BlockKind::Anchor,
            BlockKind::Recovery,
            BlockKind::End,
        ][usize::from(kind % 5)];
        let (payload, after) = more.split_at(more.len().min(usize::from(length)));
        segment.extend(block(
            kind,
            u64::from(first),
            u32::from(entries),
            payload,
            TAG.salt(),
        ));
        rest = after;
    }
    segment.extend(rest);
    fuzz_segment(&segment);
}
