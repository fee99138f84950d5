//! Frames of text instruments as templates and columns of numbers.
//!
//! A line such as `+01234.5\r\n` is a template (sign, five digits, point, one digit, line end) and the
//! number 12345. Lines of the same template share columns, which the integer coder then makes small.
//! An NMEA style check (`*5A`, exclusive or of what stands between `$` and `*`) that is right costs
//! nothing, a wrong one is a number. Lines that fit no template are kept as they are. Nothing is
//! interpreted: the bytes come back exactly, whatever they were.

use super::column::{Bytes, IntColumn};
use super::layout::ENTRIES_MAX;
use super::line_image::Image;
use super::records::Records;
use super::template::{Token, fits, tokens_of};
use bincode::{Decode, Encode};

/// Templates in one block; lines beyond that are kept as they are.
const TEMPLATES_MAX: usize = 96;
/// Length of a line that room is made for at first.
const LINE_BYTES: usize = 24;
/// Longer lines are kept as they are.
pub(super) const LINE_MAX: usize = 512;

/// Bytes of one port.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum Text {
    /// No lines to speak of.
    Other(Bytes),
    /// Lines.
    Lines(Box<Lines>),
    /// Binary frames of one length.
    Records(Records),
}

/// Lines by template; template 0 are the lines kept as they are.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) struct Lines {
    count: u32,
    templates: Vec<Vec<Token>>,
    /// Template of each line.
    order: Bytes,
    /// Columns of template 1, then of template 2, ...
    numbers: Vec<IntColumn>,
    other_lengths: IntColumn,
    others: Bytes,
}

impl Text {
    /// As lines, if that is what the bytes are.
    pub(super) fn lines(bytes: &[u8]) -> Option<Self> {
        Self::checked(
            Lines::encode(bytes).map(|lines| Self::Lines(Box::new(lines))),
            bytes,
        )
    }

    /// As anything else. `width` is the length of the pieces in which the bytes came, when that was always the same.
    pub(super) fn other(bytes: &[u8], width: Option<usize>) -> Self {
        let records = width.and_then(|width| Records::encode(bytes, width));
        Self::checked(records.map(Self::Records), bytes)
            .unwrap_or_else(|| Self::Other(Bytes::encode(bytes)))
    }

    fn checked(text: Option<Self>, bytes: &[u8]) -> Option<Self> {
        text.filter(|text| text.decode(bytes.len()).as_deref() == Ok(bytes))
    }

    /// At most `most` bytes.
    pub(super) fn decode(&self, most: usize) -> Result<Vec<u8>, String> {
        match self {
            Self::Other(bytes) => bytes.decode(most),
            Self::Lines(lines) => lines.decode(most),
            Self::Records(records) => records.decode(most),
        }
    }
}

/// A template while lines are being sorted into it: its tokens and one list of numbers per number token.
struct Shape {
    tokens: Vec<Token>,
    columns: Vec<Vec<i64>>,
}

impl Lines {
    fn encode(bytes: &[u8]) -> Option<Self> {
        let mut shapes: Vec<Shape> = Vec::new();
        let mut order = Vec::new();
        let mut others = Vec::new();
        let mut other_lengths = Vec::new();
        let mut numbers = Vec::new();
        let mut last = 0;
        for line in bytes.split_inclusive(|b| *b == b'\n') {
            if order.len() >= ENTRIES_MAX {
                return None;
            }
            let tries = std::iter::once(last).chain(0..shapes.len());
            let mut fitting = None;
            if line.len() <= LINE_MAX {
                for index in tries {
                    if let Some(shape) = shapes.get(index)
                        && fits(&shape.tokens, line, &mut numbers)
                    {
                        fitting = Some(index);
                        break;
                    }
                }
                if fitting.is_none() && shapes.len() < TEMPLATES_MAX {
                    let tokens = tokens_of(line);
                    if fits(&tokens, line, &mut numbers) {
                        let columns = vec![Vec::new(); numbers.len()];
                        shapes.push(Shape { tokens, columns });
                        fitting = Some(shapes.len() - 1);
                    }
                }
            }
            if let Some(index) = fitting {
                last = index;
                order.push(index as u8 + 1);
                for (column, number) in shapes[index].columns.iter_mut().zip(&numbers) {
                    column.push(*number);
                }
            } else {
                order.push(0);
                others.extend_from_slice(line);
                other_lengths.push(line.len() as i64);
            }
        }
        // Mostly unlike lines: the general coder does better on the whole.
        if others.len() * 2 > bytes.len() || shapes.len() * 4 > order.len() + 8 {
            return None;
        }
        Some(Self {
            count: order.len() as u32,
            order: Bytes::encode(&order),
            numbers: shapes
                .iter()
                .flat_map(|s| s.columns.iter())
                .map(|c| IntColumn::encode(c))
                .collect(),
            templates: shapes.into_iter().map(|s| s.tokens).collect(),
            other_lengths: IntColumn::encode(&other_lengths),
            others: Bytes::encode(&others),
        })
    }

    fn decode(&self, most: usize) -> Result<Vec<u8>, String> {
        let order = self.order.decode((self.count as usize).min(ENTRIES_MAX))?;
        if order.len() != self.count as usize {
            return Err("line column of wrong length".to_owned());
        }
        let mut counts = [0_usize; 256];
        for index in &order {
            counts[usize::from(*index)] += 1;
        }
        let mut stored = self.numbers.iter();
        let mut images = Vec::with_capacity(self.templates.len());
        for (template, count) in self.templates.iter().zip(counts.iter().skip(1)) {
            let mut image = Image::of(template)?;
            for field in &mut image.fields {
                if field.kind.is_number() {
                    let column = stored.next().ok_or("a number column is missing")?;
                    field.numbers = column.decode(*count)?;
                }
            }
            images.push(image);
        }
        let others = self.others.decode(most)?;
        let mut others = others.as_slice();
        let mut lengths = self.other_lengths.decode(counts[0])?.into_iter();
        let mut bytes = Vec::with_capacity(most.min(LINE_BYTES * order.len()));
        for index in order {
            if index == 0 {
                let length = lengths.next().and_then(|l| usize::try_from(l).ok());
                let (line, rest) = length
                    .and_then(|l| others.split_at_checked(l))
                    .ok_or("a kept line is cut short")?;
                bytes.extend_from_slice(line);
                others = rest;
            } else {
                let image = images
                    .get_mut(usize::from(index) - 1)
                    .ok_or("a line of an unknown template")?;
                image.write(&mut bytes)?;
            }
            if bytes.len() > most {
                return Err(format!("more than {most} bytes"));
            }
        }
        Ok(bytes)
    }
}
