//! Going through a segment file a part at a time: a program that runs for hours must not hold whole segments, as
//! an allocator that was once asked for megabytes keeps them.

use super::layout::{BLOCK_HEADER, Piece, SEGMENT_HEADER, walk};
use super::storage::Storage;
use std::io;

/// Bytes read at a time, below what common allocators map separately; small in tests, so that each history of
/// theirs crosses parts.
pub(super) const PART: usize = if cfg!(test) { 700 } else { 96 << 10 };

/// The first bytes of a segment, which change when it is packed under the same name.
pub(super) fn stamp(disk: &impl Storage, name: &str) -> io::Result<Vec<u8>> {
    disk.read(name, 0, SEGMENT_HEADER)
}

/// Walks the blocks of a file from `start`: `found` is given each piece, where the bytes beside it begin in the file
/// (a piece's offset counts from there), and these bytes. Returns the length of the file as it was seen.
///
/// # Errors
/// The system's.
pub(super) fn walk_file(
    disk: &impl Storage,
    name: &str,
    start: u64,
    salt: u32,
    mut found: impl FnMut(Piece, u64, &[u8]),
) -> io::Result<u64> {
    let mut at = start;
    let mut part = PART;
    let mut pieces = Vec::new();
    loop {
        let bytes = disk.read(name, at, part)?;
        let is_last = bytes.len() < part;
        pieces.clear();
        walk(&bytes, 0, salt, |piece| pieces.push(piece));
        let whole = pieces.iter().rev().find_map(end_of_block);
        let end = match whole {
            _ if is_last => bytes.len(),
            Some(end) => end,
            None => {
                part *= 2;
                continue;
            }
        };
        // What follows the last whole block may be a block that the next part completes.
        for piece in pieces.drain(..).take_while(|piece| start_of(piece) < end) {
            found(piece, at, &bytes);
        }
        if is_last {
            return Ok(at + bytes.len() as u64);
        }
        at += end as u64;
        part = PART;
    }
}

fn start_of(piece: &Piece) -> usize {
    match piece {
        Piece::Block { offset, .. } | Piece::Bad { offset, .. } => *offset,
    }
}

fn end_of_block(piece: &Piece) -> Option<usize> {
    match piece {
        Piece::Block { offset, header } => Some(offset + BLOCK_HEADER + header.length as usize),
        Piece::Bad { .. } => None,
    }
}
