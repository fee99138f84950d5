//! What polled registers say: Modbus RTU frames without their checks, sorted by what they are.
//!
//! A frame whose CRC-16 is right (*source*: MODBUS over Serial Line specification, V1.02, 6.2.2) is kept
//! without it, and the check is worked out again when it is read. Frames of one device, function and length share
//! columns: two instruments on one line take turns, and each alone is far smoother than both together. Varying bytes side by
//! side are taken as one big-endian number, as pairs or singly, whichever is smallest. How the bytes were cut into
//! pieces does not matter, and what is no such frame is kept as it is: the bytes come back exactly, whatever they were.

use super::column::{Bytes, IntColumn};
use super::layout::ENTRIES_MAX;
use super::payload;
use bincode::{Decode, Encode};
use crc::{CRC_16_MODBUS, Crc, Table};

const CRC: Crc<u16, Table<1>> = Crc::<u16, Table<1>>::new(&CRC_16_MODBUS);
/// Longest frame of the protocol.
const FRAME_MAX: usize = 256;
const CHECK: usize = 2;
/// Kinds of frames; more are kept as they are.
const KINDS_MAX: usize = 64;
/// Bytes that fit into one number.
const NUMBER_BYTES_MAX: usize = 7;

/// Frames by kind; kind 0 are stretches of bytes that are none.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) struct Polled {
    count: u32,
    /// Kind of each.
    order: Bytes,
    kinds: Vec<Kind>,
    other_lengths: IntColumn,
    others: Bytes,
}

/// Frames of one device, function and length.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
struct Kind {
    parts: Vec<Part>,
}

/// Some bytes side by side of each frame, as a big-endian number.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
struct Part {
    width: u8,
    numbers: IntColumn,
}

/// Times of the pieces in which the bytes came.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum Times {
    /// In order.
    Together(IntColumn),
    /// Each piece was one frame: the times of each kind, kind 0 first.
    ByKind(Vec<IntColumn>),
}

/// A stretch of the bytes: its kind and its length.
type Stretch = (u8, usize);

impl Polled {
    /// `None` when the bytes are mostly something else.
    pub(super) fn encode(bytes: &[u8], lengths: &[i64], at: &[i64]) -> Option<(Self, Times)> {
        let mut sorted: Vec<(Key, Vec<&[u8]>)> = Vec::new();
        let mut stretches: Vec<Stretch> = Vec::new();
        let mut others = Vec::new();
        let mut rest = bytes;
        while !rest.is_empty() {
            let frame = frame(rest);
            let kind = frame.and_then(|frame| kind_of(frame, &mut sorted));
            let (first, after) =
                rest.split_at(frame.filter(|_| kind.is_some()).map_or(1, <[u8]>::len));
            rest = after;
            match (kind, stretches.last_mut()) {
                (Some(kind), _) => {
                    sorted[usize::from(kind) - 1]
                        .1
                        .push(&first[..first.len() - CHECK]);
                    stretches.push((kind, first.len()));
                }
                (None, Some((0, length))) => {
                    *length += 1;
                    others.extend_from_slice(first);
                }
                (None, _) => {
                    stretches.push((0, 1));
                    others.extend_from_slice(first);
                }
            }
            if stretches.len() > ENTRIES_MAX || others.len() * 4 > bytes.len() + 64 {
                return None;
            }
        }
        let order: Vec<u8> = stretches.iter().map(|(kind, _)| *kind).collect();
        let other_lengths = stretches.iter().filter(|(kind, _)| *kind == 0);
        let other_lengths: Vec<i64> = other_lengths.map(|(_, length)| *length as i64).collect();
        let this = Self {
            count: order.len() as u32,
            order: Bytes::encode(&order),
            kinds: sorted
                .iter()
                .map(|(_, frames)| Kind::encode(frames))
                .collect(),
            other_lengths: IntColumn::encode(&other_lengths),
            others: Bytes::encode(&others),
        };
        let one_each = lengths
            .iter()
            .copied()
            .eq(stretches.iter().map(|(_, length)| *length as i64));
        let times = if one_each {
            Times::by_kind(at, &order, sorted.len())
        } else {
            Times::Together(IntColumn::encode(at))
        };
        let comes_back = this.decode(bytes.len()).as_deref() == Ok(bytes)
            && this.times(&times, at.len()).as_deref() == Ok(at);
        comes_back.then_some((this, times))
    }

    /// At most `most` bytes.
    pub(super) fn decode(&self, most: usize) -> Result<Vec<u8>, String> {
        let order = self.order()?;
        let counts = counts(&order);
        let mut frames = Vec::with_capacity(self.kinds.len());
        for (kind, count) in self.kinds.iter().zip(counts.iter().skip(1)) {
            frames.push(kind.decode(*count, most)?);
        }
        let mut frames: Vec<_> = frames
            .iter()
            .map(|(width, bytes)| (*width, bytes.as_slice()))
            .collect();
        let others = self.others.decode(most)?;
        let mut others = others.as_slice();
        let mut lengths = self.other_lengths.decode(counts[0])?.into_iter();
        let mut bytes = Vec::with_capacity(most.min(1 << 20));
        for kind in order {
            let (from, length, checked) = match usize::from(kind).checked_sub(1) {
                Some(kind) => {
                    let (width, from) = frames.get_mut(kind).ok_or("a frame of an unknown kind")?;
                    (from, *width, true)
                }
                None => {
                    let length = lengths.next().and_then(|l| usize::try_from(l).ok());
                    (
                        &mut others,
                        length.ok_or("a kept stretch of no length")?,
                        false,
                    )
                }
            };
            let (body, after) = from
                .split_at_checked(length)
                .ok_or("a frame is cut short")?;
            bytes.extend_from_slice(body);
            if checked {
                bytes.extend_from_slice(&CRC.checksum(body).to_le_bytes());
            }
            *from = after;
            if bytes.len() > most {
                return Err(format!("more than {most} bytes"));
            }
        }
        Ok(bytes)
    }

    /// The times of `count` pieces, in order.
    pub(super) fn times(&self, times: &Times, count: usize) -> Result<Vec<i64>, String> {
        let columns = match times {
            Times::Together(column) => return column.decode(count),
            Times::ByKind(columns) => columns,
        };
        let order = self.order()?;
        let counts = counts(&order);
        if order.len() != count || counts.iter().skip(columns.len()).any(|n| *n > 0) {
            return Err("times that don't belong to their frames".to_owned());
        }
        let columns = columns.iter().zip(counts).map(|(c, n)| c.decode(n));
        let columns: Result<Vec<_>, _> = columns.collect();
        let mut columns: Vec<_> = columns?.into_iter().map(Vec::into_iter).collect();
        let next = |kind: &u8| columns.get_mut(usize::from(*kind)).and_then(Iterator::next);
        let at: Option<Vec<i64>> = order.iter().map(next).collect();
        at.ok_or_else(|| "a time is missing".to_owned())
    }

    fn order(&self) -> Result<Vec<u8>, String> {
        let order = self.order.decode((self.count as usize).min(ENTRIES_MAX))?;
        if order.len() == self.count as usize && self.kinds.len() <= KINDS_MAX {
            Ok(order)
        } else {
            Err("frame column of wrong length".to_owned())
        }
    }
}

impl Times {
    fn by_kind(at: &[i64], order: &[u8], kinds: usize) -> Self {
        let mut columns = vec![Vec::new(); kinds + 1];
        for (at, kind) in at.iter().zip(order) {
            columns[usize::from(*kind)].push(*at);
        }
        Self::ByKind(
            columns
                .iter()
                .map(|column| IntColumn::encode(column))
                .collect(),
        )
    }
}

impl Kind {
    /// Frames of one length, without their checks.
    fn encode(frames: &[&[u8]]) -> Self {
        let width = frames.first().map_or(0, |frame| frame.len());
        let varies = |at: usize| frames.windows(2).any(|pair| pair[0][at] != pair[1][at]);
        let mut parts = Vec::new();
        let mut at = 0;
        while at < width {
            let run = (at..width).take_while(|at| varies(*at)).count();
            if run == 0 {
                parts.push(Part::encode(frames, at, 1));
                at += 1;
                continue;
            }
            let ways = [NUMBER_BYTES_MAX, 2, 1].map(|widest| {
                let starts = (0..run).step_by(widest);
                let parts = starts.map(|s| Part::encode(frames, at + s, widest.min(run - s)));
                parts.collect::<Vec<_>>()
            });
            let size = |parts: &Vec<Part>| payload::encode(parts).map_or(usize::MAX, |p| p.len());
            parts.extend(ways.into_iter().min_by_key(size).unwrap_or_default());
            at += run;
        }
        Self { parts }
    }

    /// Width of a frame, and `count` of them.
    fn decode(&self, count: usize, most: usize) -> Result<(usize, Vec<u8>), String> {
        let widths = self.parts.iter().map(|part| usize::from(part.width));
        let width: usize = widths.sum();
        if width == 0 || width > FRAME_MAX || count.saturating_mul(width) > most {
            return Err(format!("{count} frames of {width} bytes"));
        }
        let mut bytes = vec![0; count * width];
        let mut at = 0;
        for part in &self.parts {
            let size = usize::from(part.width);
            if size > NUMBER_BYTES_MAX {
                return Err(format!("a number of {size} bytes"));
            }
            let numbers = part.numbers.decode(count)?;
            for (frame, number) in bytes.chunks_exact_mut(width).zip(numbers) {
                frame[at..at + size].copy_from_slice(&number.to_be_bytes()[8 - size..]);
            }
            at += size;
        }
        Ok((width, bytes))
    }
}

impl Part {
    fn encode(frames: &[&[u8]], at: usize, width: usize) -> Self {
        let number = |frame: &&[u8]| {
            let bytes = frame[at..at + width].iter();
            bytes.fold(0, |number, byte| number << 8 | i64::from(*byte))
        };
        let numbers: Vec<i64> = frames.iter().map(number).collect();
        Self {
            width: width as u8,
            numbers: IntColumn::encode(&numbers),
        }
    }
}

/// Device, function, length.
type Key = (u8, u8, usize);

/// Number of the frame's kind, from 1; `None`: there are too many.
fn kind_of(frame: &[u8], sorted: &mut Vec<(Key, Vec<&[u8]>)>) -> Option<u8> {
    let key = (*frame.first()?, *frame.get(1)?, frame.len());
    let known = sorted.iter().position(|(other, _)| *other == key);
    let place = known.or_else(|| {
        (sorted.len() < KINDS_MAX).then(|| {
            sorted.push((key, Vec::new()));
            sorted.len() - 1
        })
    })?;
    u8::try_from(place + 1).ok()
}

/// The frame with a right check that these bytes begin with: an answer, a question, or a refusal.
fn frame(bytes: &[u8]) -> Option<&[u8]> {
    let answer = usize::from(*bytes.get(2)?) + 3 + CHECK;
    [answer, 8, 5].into_iter().find_map(|length| {
        let frame = bytes.get(..length).filter(|_| length <= FRAME_MAX)?;
        let (body, check) = frame.split_last_chunk::<CHECK>()?;
        (CRC.checksum(body).to_le_bytes() == *check).then_some(frame)
    })
}

fn counts(order: &[u8]) -> [usize; 256] {
    let mut counts = [0; 256];
    for kind in order {
        counts[usize::from(*kind)] += 1;
    }
    counts
}
