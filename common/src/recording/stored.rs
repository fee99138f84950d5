//! Columns of a batch as the payload of a block, and back.

use super::batch::{Batch, SOURCES_MAX, Source, SourceColumns};
use super::column::{Bytes, IntColumn, ReadingColumn, Unzipper};
use super::layout::ENTRIES_MAX;
use super::polled::{Polled, Times};
use super::{payload, text};
use bincode::{Decode, Encode};

/// A single input may be longer than [`BYTES_MAX`](super::batch::BYTES_MAX); this is what a reader believes.
const DECODED_BYTES_MAX: usize = payload::DECODED_MAX;

#[derive(Encode, Decode)]
struct StoredBatch {
    order: Bytes,
    sources: Vec<StoredColumns>,
}

#[derive(Encode, Decode)]
struct StoredColumns {
    source: Source,
    at: IntColumn,
    body: StoredBody,
}

#[derive(Encode, Decode)]
enum StoredBody {
    Nothing,
    Values(ReadingColumn),
    Frames {
        lengths: IntColumn,
        bytes: text::Text,
    },
    Open(Bytes),
    Marks(Vec<u8>),
    /// Frames of polled registers; the times are here, not in `at`.
    Polled {
        lengths: IntColumn,
        times: Times,
        frames: Polled,
    },
}

fn store(columns: &SourceColumns) -> Result<StoredColumns, String> {
    let body = match columns.source {
        Source::Load | Source::Depth => StoredBody::Values(ReadingColumn::encode(&columns.values)),
        Source::Received(_) | Source::Sent(_) => frames(columns),
        Source::Port(_) => StoredBody::Open(Bytes::encode(&columns.open)),
        Source::Mark => StoredBody::Marks(payload::encode_shared(&columns.marks)?),
        Source::Tick => StoredBody::Nothing,
    };
    let at: &[i64] = match &body {
        StoredBody::Polled { .. } => &[],
        _ => &columns.at,
    };
    Ok(StoredColumns {
        source: columns.source,
        at: IntColumn::encode(at),
        body,
    })
}

fn frames(columns: &SourceColumns) -> StoredBody {
    let lengths = IntColumn::encode(&columns.lengths);
    if let Some(lines) = text::Text::lines(&columns.bytes) {
        return StoredBody::Frames {
            lengths,
            bytes: lines,
        };
    }
    match Polled::encode(&columns.bytes, &columns.lengths, &columns.at) {
        Some((frames, times)) => StoredBody::Polled {
            lengths,
            times,
            frames,
        },
        None => StoredBody::Frames {
            lengths,
            bytes: text::Text::other(&columns.bytes, common_length(&columns.lengths)),
        },
    }
}

/// The length of all frames, when it is the same.
fn common_length(lengths: &[i64]) -> Option<usize> {
    let (first, rest) = lengths.split_first()?;
    rest.iter()
        .all(|l| l == first)
        .then(|| usize::try_from(*first).ok())
        .flatten()
}

fn restore(
    stored: &StoredColumns,
    count: usize,
    bytes_max: usize,
) -> Result<SourceColumns, String> {
    let mut columns = SourceColumns::new(stored.source);
    columns.at = match &stored.body {
        StoredBody::Polled { times, frames, .. } => frames.times(times, count)?,
        _ => stored.at.decode(count)?,
    };
    match (stored.source, &stored.body) {
        (Source::Load | Source::Depth, StoredBody::Values(values)) => {
            columns.values = values.decode(count)?;
        }
        (Source::Received(_) | Source::Sent(_), StoredBody::Frames { lengths, bytes }) => {
            columns.lengths = lengths.decode(count)?;
            columns.bytes = bytes.decode(bytes_max)?;
            check_lengths(&columns)?;
        }
        (
            Source::Received(_) | Source::Sent(_),
            StoredBody::Polled {
                lengths, frames, ..
            },
        ) => {
            columns.lengths = lengths.decode(count)?;
            columns.bytes = frames.decode(bytes_max)?;
            check_lengths(&columns)?;
        }
        (Source::Port(_), StoredBody::Open(open)) => {
            columns.open = open.decode(count)?;
            if columns.open.len() != count {
                return Err("port column of wrong length".to_owned());
            }
        }
        (Source::Mark, StoredBody::Marks(marks)) => {
            columns.marks = payload::decode_shared(marks)?;
            if columns.marks.len() != count {
                return Err("mark column of wrong length".to_owned());
            }
        }
        (Source::Tick, StoredBody::Nothing) => {}
        _ => return Err("columns that don't belong to their source".to_owned()),
    }
    Ok(columns)
}

fn check_lengths(columns: &SourceColumns) -> Result<(), String> {
    let mut total = 0_i64;
    for length in &columns.lengths {
        total = (*length >= 0)
            .then(|| total.checked_add(*length))
            .flatten()
            .ok_or("impossible frame length")?;
    }
    if total == columns.bytes.len() as i64 {
        Ok(())
    } else {
        let bytes = columns.bytes.len();
        Err(format!("{bytes} bytes of frames, {total} expected"))
    }
}

impl Batch {
    /// The payload of a block.
    pub(super) fn encode(&self) -> Result<Vec<u8>, String> {
        let used: Vec<&SourceColumns> = self.sources.iter().filter(|c| !c.at.is_empty()).collect();
        // Numbers of the sources without the unused ones.
        let mut renumbered = [0_u8; 256];
        let mut next = 0;
        for (index, columns) in self.sources.iter().enumerate() {
            renumbered[index] = next;
            next += u8::from(!columns.at.is_empty());
        }
        let order: Vec<u8> = self
            .order
            .iter()
            .map(|i| renumbered[usize::from(*i)])
            .collect();
        let stored = StoredBatch {
            order: Bytes::encode(&order),
            sources: used.into_iter().map(store).collect::<Result<_, _>>()?,
        };
        payload::encode(&stored)
    }

    /// Back from a payload that must hold `entries` inputs.
    pub(super) fn decode(bytes: &[u8], entries: usize) -> Result<Self, String> {
        Self::decode_with(bytes, entries, &mut Unzipper::default())
    }

    /// The same for one payload of many.
    pub(super) fn decode_with(
        bytes: &[u8],
        entries: usize,
        unzipper: &mut Unzipper,
    ) -> Result<Self, String> {
        let stored: StoredBatch = payload::decode(bytes)?;
        let order = (stored.order).decode_with(entries.min(ENTRIES_MAX), unzipper)?;
        if order.len() != entries {
            return Err(format!("{} entries, {entries} expected", order.len()));
        }
        let mut counts = [0_usize; 256];
        for index in &order {
            counts[usize::from(*index)] += 1;
        }
        if stored.sources.len() > SOURCES_MAX
            || counts.iter().skip(stored.sources.len()).any(|c| *c != 0)
        {
            return Err("an entry of an unknown source".to_owned());
        }
        let mut bytes_left = DECODED_BYTES_MAX;
        let mut sources = Vec::with_capacity(stored.sources.len());
        for (columns, count) in stored.sources.iter().zip(counts) {
            let columns = restore(columns, count, bytes_left)?;
            bytes_left -= columns.bytes.len();
            sources.push(columns);
        }
        let bytes = DECODED_BYTES_MAX - bytes_left;
        Ok(Self {
            order,
            sources,
            bytes,
        })
    }
}
