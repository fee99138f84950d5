//! A run of inputs as columns: what one block of the raw store holds.
//!
//! *Input -> output*: [`Input`]s in the order they went into the core <-> one payload. Each source
//! (channel, port and direction, marks, ticks) has columns of its own; `order` names the source of each
//! entry, so the order across all sources comes back exactly.

use super::layout::ENTRIES_MAX;
use super::payload;
use crate::input::{ChannelId, Input, Mark};
use crate::time::Nanos;
use bincode::{Decode, Encode};

/// Sources a block can tell apart.
pub(super) const SOURCES_MAX: usize = 250;
/// Sources remembered from block to block.
const SOURCES_KEPT: usize = 16;
/// Bytes of frames a block may hold; more makes a new block.
pub(super) const BYTES_MAX: usize = 8 << 20;

/// Where an entry came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Encode, Decode)]
pub(super) enum Source {
    Load,
    Depth,
    Received(u8),
    Sent(u8),
    Port(u8),
    Mark,
    Tick,
}

impl Source {
    fn of(input: &Input) -> Self {
        match input {
            Input::Received { port, .. } => Self::Received(*port),
            Input::Sent { port, .. } => Self::Sent(*port),
            Input::Reading { channel, .. } => match channel {
                ChannelId::Load => Self::Load,
                ChannelId::Depth => Self::Depth,
            },
            Input::Mark { .. } => Self::Mark,
            Input::Port { port, .. } => Self::Port(*port),
            Input::Tick { .. } => Self::Tick,
        }
    }
}

/// Columns of one source; which besides `at` are filled depends on the source.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SourceColumns {
    pub(super) source: Source,
    pub(super) at: Vec<Nanos>,
    pub(super) values: Vec<f64>,
    pub(super) lengths: Vec<i64>,
    pub(super) bytes: Vec<u8>,
    pub(super) open: Vec<u8>,
    pub(super) marks: Vec<Mark>,
}

impl SourceColumns {
    pub(super) fn new(source: Source) -> Self {
        Self {
            source,
            at: Vec::new(),
            values: Vec::new(),
            lengths: Vec::new(),
            bytes: Vec::new(),
            open: Vec::new(),
            marks: Vec::new(),
        }
    }

    fn clear(&mut self) {
        self.at.clear();
        self.values.clear();
        self.lengths.clear();
        self.bytes.clear();
        self.open.clear();
        self.marks.clear();
    }
}

/// Inputs as columns.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Batch {
    pub(super) order: Vec<u8>,
    pub(super) sources: Vec<SourceColumns>,
    pub(super) bytes: usize,
}

impl Batch {
    pub(super) fn len(&self) -> usize {
        self.order.len()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.order.is_empty()
    }

    /// Empties the columns; the sources stay known, so that steady recording does not allocate.
    pub(super) fn clear(&mut self) {
        self.order.clear();
        self.bytes = 0;
        if self.sources.len() > SOURCES_KEPT {
            self.sources.clear();
        }
        for columns in &mut self.sources {
            columns.clear();
        }
    }

    /// Whether this input still fits into the block.
    pub(super) fn accepts(&self, input: &Input) -> bool {
        let bytes = match input {
            Input::Received { bytes, .. } | Input::Sent { bytes, .. } => bytes.len(),
            _ => 0,
        };
        let source = Source::of(input);
        self.len() < ENTRIES_MAX
            && (self.is_empty() || self.bytes + bytes <= BYTES_MAX)
            && (self.sources.len() < SOURCES_MAX || self.sources.iter().any(|c| c.source == source))
    }

    /// Adds an input at the end.
    pub(super) fn push(&mut self, input: &Input) {
        let source = Source::of(input);
        let index = self
            .sources
            .iter()
            .position(|c| c.source == source)
            .unwrap_or_else(|| {
                self.sources.push(SourceColumns::new(source));
                self.sources.len() - 1
            });
        self.order.push(index as u8);
        let columns = &mut self.sources[index];
        match input {
            Input::Received { at, bytes, .. } | Input::Sent { at, bytes, .. } => {
                columns.at.push(*at);
                columns.lengths.push(bytes.len() as i64);
                columns.bytes.extend_from_slice(bytes);
                self.bytes += bytes.len();
            }
            Input::Reading { at, value, .. } => {
                columns.at.push(*at);
                columns.values.push(*value);
            }
            Input::Mark { at, mark } => {
                columns.at.push(*at);
                columns.marks.push(mark.clone());
            }
            Input::Port { at, open, .. } => {
                columns.at.push(*at);
                columns.open.push(u8::from(*open));
            }
            Input::Tick { at } => columns.at.push(*at),
        }
    }
}

/// Where reading stands in each source of a batch.
struct Places {
    entry: Vec<usize>,
    byte: Vec<usize>,
}

impl Batch {
    /// All inputs in order. One `Input` is reused, so that frames cost no allocation each.
    pub(super) fn for_each(&self, mut f: impl FnMut(&Input)) {
        self.for_each_from(0, |input| f(input));
    }

    /// As [`Batch::for_each`], leaving out the first `skip` inputs.
    pub(super) fn for_each_from(&self, skip: usize, mut f: impl FnMut(&Input)) {
        let mut places = Places {
            entry: vec![0; self.sources.len()],
            byte: vec![0; self.sources.len()],
        };
        let mut spare = Vec::new();
        for (number, index) in self.order.iter().enumerate() {
            let Some(mut input) = self.input(usize::from(*index), &mut places, &mut spare) else {
                return; // decode() has checked the columns
            };
            if number >= skip {
                f(&input);
            }
            if let Input::Received { bytes, .. } | Input::Sent { bytes, .. } = &mut input {
                spare = std::mem::take(bytes);
            }
        }
    }

    fn input(&self, index: usize, places: &mut Places, spare: &mut Vec<u8>) -> Option<Input> {
        let columns = self.sources.get(index)?;
        let entry = *places.entry.get(index)?;
        let at = *columns.at.get(entry)?;
        places.entry[index] += 1;
        let mut frame = || {
            let start = places.byte[index];
            let end = start + usize::try_from(*columns.lengths.get(entry)?).ok()?;
            places.byte[index] = end;
            let mut bytes = std::mem::take(spare);
            bytes.clear();
            bytes.extend_from_slice(columns.bytes.get(start..end)?);
            Some(bytes)
        };
        Some(match columns.source {
            Source::Load => Input::Reading {
                channel: ChannelId::Load,
                at,
                value: *columns.values.get(entry)?,
            },
            Source::Depth => Input::Reading {
                channel: ChannelId::Depth,
                at,
                value: *columns.values.get(entry)?,
            },
            Source::Received(port) => Input::Received {
                port,
                at,
                bytes: frame()?,
            },
            Source::Sent(port) => Input::Sent {
                port,
                at,
                bytes: frame()?,
            },
            Source::Port(port) => Input::Port {
                port,
                at,
                open: *columns.open.get(entry)? != 0,
            },
            Source::Mark => Input::Mark {
                at,
                mark: columns.marks.get(entry)?.clone(),
            },
            Source::Tick => Input::Tick { at },
        })
    }

    /// Whether both hold the same inputs in the same order, numbers compared by their bits. Sources may be
    /// numbered differently.
    pub(super) fn same_as(&self, other: &Self) -> bool {
        let names = |batch: &Self| -> Vec<Source> {
            batch
                .order
                .iter()
                .filter_map(|i| batch.sources.get(usize::from(*i)).map(|c| c.source))
                .collect()
        };
        if self.len() != other.len() || names(self) != names(other) {
            return false;
        }
        self.sources.iter().filter(|c| !c.at.is_empty()).all(|a| {
            other.sources.iter().any(|b| {
                let bits = |c: &SourceColumns| -> Vec<u64> {
                    c.values.iter().map(|v| v.to_bits()).collect()
                };
                a.source == b.source
                    && a.at == b.at
                    && bits(a) == bits(b)
                    && a.lengths == b.lengths
                    && a.bytes == b.bytes
                    && a.open == b.open
                    && same_marks(&a.marks, &b.marks)
            })
        })
    }
}

/// Marks can carry numbers, which are compared by their bits.
fn same_marks(a: &[Mark], b: &[Mark]) -> bool {
    payload::encode_shared(&a).ok() == payload::encode_shared(&b).ok()
}
