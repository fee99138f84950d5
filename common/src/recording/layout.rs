//! Bytes of a segment: its header and the headers of its blocks.
//!
//! *Input -> output*: header values <-> bytes, and a walk over the blocks of a segment that steps
//! over damage. All numbers little endian.
//!
//! Segment header, 56 bytes:
//!
//! | offset | size | what |
//! |---|---|---|
//! | 0 | 8 | magic `KWRECORD` |
//! | 8 | 2 | version of this layout, 1 |
//! | 10 | 1 | store: 0 raw, 1 derived |
//! | 11 | 1 | 1 when rewritten in large blocks after closing ("packed"), else 0 |
//! | 12 | 4 | segment number, as in the file name |
//! | 16 | 16 | run tag: first half of the SHA-256 of the run id |
//! | 32 | 8 | number of the first entry |
//! | 40 | 8 | when opened, ns since run start (signed) |
//! | 48 | 4 | zero |
//! | 52 | 4 | CRC-32C of bytes 0..52 |
//!
//! Block: a header of 32 bytes, then the payload:
//!
//! | offset | size | what |
//! |---|---|---|
//! | 0 | 4 | magic `KWB` and layout version 1 |
//! | 4 | 1 | kind: 1 inputs, 2 derived, 3 clock anchor, 4 recovery note, 5 end of segment |
//! | 5 | 1 | payload encoding (bincode): 3 of derived, 2 of all others; 2 and 1 in older runs |
//! | 6 | 2 | zero |
//! | 8 | 4 | payload length, bytes |
//! | 12 | 4 | entries in the block |
//! | 16 | 8 | sequence: number of the first entry, counted from run start without gap |
//! | 24 | 4 | CRC-32C of the payload |
//! | 28 | 4 | CRC-32C of bytes 0..28 |
//!
//! Worked example, run id `example`: the header of raw segment 1 that begins with entry 258, opened 1 ns before
//! run start, and its end-of-segment block (`tests/layout.rs` holds both to this):
//!
//! ```text
//! 4b575245434f5244 0100 00 00 01000000 50d858e0985ecc7f60418aaf0cc5ab58
//!     0201000000000000 ffffffffffffffff 00000000 2012635e
//! 4b574201 05 02 0000 00000000 00000000 0201000000000000 9f0b1e45 0dcaf8d9
//! ```
//!
//! Both block checksums start from the CRC-32C of the run tag instead of zero: left-over blocks of an
//! older run on the same disk do not pass for blocks of this one.

use super::error::DamageKind;
use super::payload;
use sha2::{Digest, Sha256};

/// Length of a segment header.
pub(super) const SEGMENT_HEADER: usize = 56;
/// Length of a block header.
pub(super) const BLOCK_HEADER: usize = 32;
/// Longest payload that is believed.
pub(super) const PAYLOAD_MAX: usize = 64 << 20;
/// Most entries of a block that are believed.
pub(super) const ENTRIES_MAX: usize = 1 << 20;

const SEGMENT_MAGIC: [u8; 8] = *b"KWRECORD";
const BLOCK_MAGIC: [u8; 4] = [b'K', b'W', b'B', 1];
const LAYOUT_VERSION: u16 = 1;

/// Which of the two stores a segment belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Store {
    /// What went into the core.
    Raw,
    /// What the core decided live.
    Derived,
}

impl Store {
    /// Start of its file names.
    pub const fn prefix(self) -> &'static str {
        match self {
            Self::Raw => "raw-",
            Self::Derived => "derived-",
        }
    }

    /// File name of a segment.
    pub fn segment_name(self, number: u32) -> String {
        format!("{}{number:05}.kwr", self.prefix())
    }

    /// Number of a segment from its file name.
    pub fn segment_number(self, name: &str) -> Option<u32> {
        let digits = name.strip_prefix(self.prefix())?.strip_suffix(".kwr")?;
        (digits.len() >= 5 && digits.bytes().all(|b| b.is_ascii_digit()))
            .then(|| digits.parse().ok())
            .flatten()
    }
}

/// Identity of a run inside its segments.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RunTag(pub(super) [u8; 16]);

impl RunTag {
    pub(super) fn of(run_id: &str) -> Self {
        let digest = Sha256::digest(run_id.as_bytes());
        let mut tag = [0; 16];
        for (to, from) in tag.iter_mut().zip(digest.iter()) {
            *to = *from;
        }
        Self(tag)
    }

    pub(super) fn salt(self) -> u32 {
        crc32c::crc32c(&self.0)
    }
}

/// A segment header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct SegmentHeader {
    pub(super) store: Store,
    pub(super) packed: bool,
    pub(super) number: u32,
    pub(super) tag: RunTag,
    pub(super) first_entry: u64,
    pub(super) opened_at: i64,
}

fn array<const N: usize>(bytes: &[u8], offset: usize) -> Option<[u8; N]> {
    bytes.get(offset..offset + N)?.try_into().ok()
}

impl SegmentHeader {
    pub(super) fn to_bytes(self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(SEGMENT_HEADER);
        bytes.extend(SEGMENT_MAGIC);
        bytes.extend(LAYOUT_VERSION.to_le_bytes());
        bytes.push(u8::from(self.store == Store::Derived));
        bytes.push(u8::from(self.packed));
        bytes.extend(self.number.to_le_bytes());
        bytes.extend(self.tag.0);
        bytes.extend(self.first_entry.to_le_bytes());
        bytes.extend(self.opened_at.to_le_bytes());
        bytes.extend([0; 4]);
        let crc = crc32c::crc32c(&bytes);
        bytes.extend(crc.to_le_bytes());
        bytes
    }

    pub(super) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let body = bytes.get(..52)?;
        if crc32c::crc32c(body) != u32::from_le_bytes(array(bytes, 52)?)
            || array(bytes, 0)? != SEGMENT_MAGIC
            || u16::from_le_bytes(array(bytes, 8)?) != LAYOUT_VERSION
        {
            return None;
        }
        let [store, packed] = array(bytes, 10)?;
        Some(Self {
            store: match store {
                0 => Store::Raw,
                1 => Store::Derived,
                _ => return None,
            },
            packed: packed == 1,
            number: u32::from_le_bytes(array(bytes, 12)?),
            tag: RunTag(array(bytes, 16)?),
            first_entry: u64::from_le_bytes(array(bytes, 32)?),
            opened_at: i64::from_le_bytes(array(bytes, 40)?),
        })
    }
}

/// What a block holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BlockKind {
    Inputs,
    Derived,
    Anchor,
    Recovery,
    End,
}

impl BlockKind {
    fn from_byte(byte: u8) -> Option<Self> {
        Some(match byte {
            1 => Self::Inputs,
            2 => Self::Derived,
            3 => Self::Anchor,
            4 => Self::Recovery,
            5 => Self::End,
            _ => return None,
        })
    }

    fn to_byte(self) -> u8 {
        match self {
            Self::Inputs => 1,
            Self::Derived => 2,
            Self::Anchor => 3,
            Self::Recovery => 4,
            Self::End => 5,
        }
    }

    /// Encoding of its payload. Only what has changed gets a new number: programs that do not know it read all the rest.
    fn encoding(self) -> u8 {
        match self {
            Self::Derived => payload::ALARMS_ABOUT,
            _ => payload::POLLED,
        }
    }
}

/// A block header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BlockHeader {
    pub(super) kind: BlockKind,
    pub(super) encoding: u8,
    pub(super) length: u32,
    pub(super) entries: u32,
    pub(super) sequence: u64,
    pub(super) payload_crc: u32,
}

impl BlockHeader {
    /// A valid header at the start of `bytes`, or `None`.
    pub(super) fn from_bytes(bytes: &[u8], salt: u32) -> Option<Self> {
        let body = bytes.get(..28)?;
        if array(bytes, 0)? != BLOCK_MAGIC
            || crc32c::crc32c_append(salt, body) != u32::from_le_bytes(array(bytes, 28)?)
        {
            return None;
        }
        let [kind, encoding] = array(bytes, 4)?;
        let header = Self {
            kind: BlockKind::from_byte(kind)?,
            encoding,
            length: u32::from_le_bytes(array(bytes, 8)?),
            entries: u32::from_le_bytes(array(bytes, 12)?),
            sequence: u64::from_le_bytes(array(bytes, 16)?),
            payload_crc: u32::from_le_bytes(array(bytes, 24)?),
        };
        (header.length as usize <= PAYLOAD_MAX
            && header.entries as usize <= ENTRIES_MAX
            && header.sequence < u64::MAX >> 1)
            .then_some(header)
    }

    /// Number after the last entry.
    pub(super) fn end(&self) -> u64 {
        self.sequence + u64::from(self.entries)
    }

    /// Whether these contents are what was written.
    pub(super) fn holds(&self, payload: &[u8], salt: u32) -> bool {
        payload.len() == self.length as usize
            && crc32c::crc32c_append(salt, payload) == self.payload_crc
    }
}

/// A whole block as bytes.
pub(super) fn block(
    kind: BlockKind,
    sequence: u64,
    entries: u32,
    payload: &[u8],
    salt: u32,
) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(BLOCK_HEADER + payload.len());
    bytes.extend(BLOCK_MAGIC);
    bytes.push(kind.to_byte());
    bytes.push(kind.encoding());
    bytes.extend([0; 2]);
    bytes.extend((payload.len() as u32).to_le_bytes());
    bytes.extend(entries.to_le_bytes());
    bytes.extend(sequence.to_le_bytes());
    bytes.extend(crc32c::crc32c_append(salt, payload).to_le_bytes());
    let crc = crc32c::crc32c_append(salt, &bytes);
    bytes.extend(crc.to_le_bytes());
    bytes.extend(payload);
    bytes
}

/// A piece of a segment as found by [`walk`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Piece {
    /// A block whose header holds (its payload is not looked at).
    Block { offset: usize, header: BlockHeader },
    /// Bytes that are no block.
    Bad {
        kind: DamageKind,
        offset: usize,
        length: usize,
    },
}

/// Walks the blocks of a segment from `start`, stepping over what is no block.
pub(super) fn walk(bytes: &[u8], start: usize, salt: u32, mut found: impl FnMut(Piece)) {
    let mut offset = start.min(bytes.len());
    while offset < bytes.len() {
        let rest = &bytes[offset..];
        if let Some(header) = BlockHeader::from_bytes(rest, salt) {
            let whole = BLOCK_HEADER + header.length as usize;
            if whole <= rest.len() {
                found(Piece::Block { offset, header });
                offset += whole;
                continue;
            }
        }
        // Not a whole block here: look for the next valid header. A payload that claims to run past the
        // end is searched too, since its length may be true and the file cut, or blocks may follow a hole.
        let next = (1..rest.len())
            .find(|&skip| {
                rest[skip..].starts_with(&BLOCK_MAGIC)
                    && BlockHeader::from_bytes(&rest[skip..], salt)
                        .is_some_and(|h| skip + BLOCK_HEADER + h.length as usize <= rest.len())
            })
            .unwrap_or(rest.len());
        let kind = if offset + next < bytes.len() {
            DamageKind::Garbage
        } else if rest.iter().all(|&b| b == 0) {
            DamageKind::ZeroTail
        } else {
            DamageKind::TornTail
        };
        found(Piece::Bad {
            kind,
            offset,
            length: next,
        });
        offset += next;
    }
}
