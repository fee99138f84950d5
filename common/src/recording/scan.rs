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

/// Some pieces of a file, one after the other.
pub(super) struct Pieces {
    /// Where `bytes` begin in the file; offsets of the pieces count from there.
    pub(super) base: u64,
    pub(super) bytes: Vec<u8>,
    pub(super) pieces: Vec<Piece>,
}

/// A walk over the blocks of a file.
pub(super) struct Scan {
    at: u64,
    is_over: bool,
}

impl Scan {
    /// Begins at a place of the file.
    pub(super) const fn from(start: u64) -> Self {
        Self {
            at: start,
            is_over: false,
        }
    }

    /// The next part of the file, which ends with a whole block or with the file.
    ///
    /// # Errors
    /// The system's.
    pub(super) fn next(
        &mut self,
        disk: &impl Storage,
        name: &str,
        salt: u32,
    ) -> io::Result<Option<Pieces>> {
        let mut part = PART;
        while !self.is_over {
            let bytes = disk.read(name, self.at, part)?;
            let mut pieces = Vec::new();
            walk(&bytes, 0, salt, |piece| pieces.push(piece));
            self.is_over = bytes.len() < part;
            let end = match pieces.iter().rev().find_map(end_of_block) {
                _ if self.is_over => bytes.len(),
                Some(end) => end,
                None => {
                    part *= 2;
                    continue;
                }
            };
            // What follows the last whole block may be a block that the next part completes.
            pieces.retain(|piece| start_of(piece) < end);
            let base = self.at;
            self.at += end as u64;
            return Ok(Some(Pieces {
                base,
                bytes,
                pieces,
            }));
        }
        Ok(None)
    }
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
    let mut scan = Scan::from(start);
    while let Some(part) = scan.next(disk, name, salt)? {
        for piece in part.pieces {
            found(piece, part.base, &part.bytes);
        }
    }
    Ok(scan.at)
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
