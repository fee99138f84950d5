//! Readings of a batch in recorded order, straight from its columns.

use super::batch::{Batch, Source, SourceColumns};
use crate::input::ChannelId;
use crate::time::Nanos;
use std::iter::{Copied, Zip};
use std::slice::Iter;

/// What a channel has left to give: times and values.
type Rest<'a> = Zip<Copied<Iter<'a, Nanos>>, Copied<Iter<'a, f64>>>;

/// Readings of both channels in recorded order: channel, time, newtons or metres.
#[derive(Debug, Clone)]
pub struct Readings<'a> {
    /// For each reading 0 or 1: which of the columns it comes from.
    order: Iter<'a, u8>,
    columns: [(ChannelId, Rest<'a>); 2],
}

impl Iterator for Readings<'_> {
    type Item = (ChannelId, Nanos, f64);

    #[inline]
    fn next(&mut self) -> Option<Self::Item> {
        let index = *self.order.next()?;
        let (channel, rest) = &mut self.columns[usize::from(index != 0)];
        let (at, value) = rest.next()?;
        Some((*channel, at, value))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.order.size_hint()
    }
}

impl ExactSizeIterator for Readings<'_> {}

impl Batch {
    /// All readings, when the batch holds nothing else.
    pub(super) fn readings(&self) -> Option<Readings<'_>> {
        let columns = match self.sources.as_slice() {
            [one] => [column(one)?, (ChannelId::Depth, rest(&[], &[]))],
            [one, other] => [column(one)?, column(other)?],
            _ => return None,
        };
        Some(Readings {
            order: self.order.iter(),
            columns,
        })
    }
}

fn rest<'a>(at: &'a [Nanos], value: &'a [f64]) -> Rest<'a> {
    at.iter().copied().zip(value.iter().copied())
}

fn column(columns: &SourceColumns) -> Option<(ChannelId, Rest<'_>)> {
    let channel = match columns.source {
        Source::Load => ChannelId::Load,
        Source::Depth => ChannelId::Depth,
        _ => return None,
    };
    Some((channel, rest(&columns.at, &columns.values)))
}
