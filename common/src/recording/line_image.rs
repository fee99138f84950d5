//! Lines written from their templates: every part has a fixed width, so a line is a copy with its fields filled in.

use super::template::{Token, check_of, hex};
use super::text::LINE_MAX;

/// A field of a line image.
pub(super) struct Field {
    pub(super) kind: Token,
    start: usize,
    end: usize,
    pub(super) numbers: Vec<i64>,
}

/// A template for writing: every token has a fixed width, so a line is a copy with its fields filled in.
pub(super) struct Image {
    bytes: Vec<u8>,
    pub(super) fields: Vec<Field>,
    /// Lines written.
    written: usize,
}

impl Image {
    pub(super) fn of(tokens: &[Token]) -> Result<Self, String> {
        let mut bytes = Vec::new();
        let mut fields = Vec::new();
        for token in tokens {
            let start = bytes.len();
            let with_places = |whole: u8, places: u8| {
                usize::from(whole) + usize::from(places > 0) + usize::from(places)
            };
            let width = match token {
                Token::Literal(literal) => {
                    bytes.extend_from_slice(literal);
                    continue;
                }
                Token::Zeros {
                    signed,
                    whole,
                    places,
                } => usize::from(*signed) + with_places(*whole, *places),
                Token::Spaces { width, places } => with_places(*width, *places),
                Token::RightCheck => 3,
                Token::Hex => 2,
            };
            bytes.resize(start + width, b'0');
            fields.push(Field {
                kind: token.clone(),
                start,
                end: bytes.len(),
                numbers: Vec::new(),
            });
        }
        if bytes.len() > LINE_MAX {
            return Err(format!("a template of {} bytes", bytes.len()));
        }
        Ok(Self {
            bytes,
            fields,
            written: 0,
        })
    }

    pub(super) fn write(&mut self, out: &mut Vec<u8>) -> Result<(), String> {
        let line = &mut self.bytes;
        for field in &self.fields {
            let (before, rest) = line.split_at_mut(field.start);
            let text = &mut rest[..field.end - field.start];
            let number = || {
                let number = field.numbers.get(self.written).copied();
                number.ok_or("a number is missing")
            };
            match &field.kind {
                Token::Literal(_) => {}
                Token::Zeros { signed, places, .. } => {
                    let value = number()?;
                    let (sign, digits) = text.split_at_mut(usize::from(*signed));
                    sign.fill(if value < 0 { b'-' } else { b'+' });
                    write_digits(value.unsigned_abs(), *places, digits);
                }
                Token::Spaces { width, places } => {
                    let value = number()?;
                    write_digits(value.unsigned_abs(), *places, text);
                    space_out(&mut text[..usize::from(*width)], value < 0);
                }
                Token::RightCheck => {
                    let [high, low] = hex(check_of(before));
                    text.copy_from_slice(&[b'*', high, low]);
                }
                Token::Hex => text.copy_from_slice(&hex(number()? as u8)),
            }
        }
        self.written += 1;
        out.extend_from_slice(line);
        Ok(())
    }
}

/// Fills the field from the right: `places` digits and a point if any, then the whole part with leading
/// zeros. What does not fit is cut (the encoder never makes such a number).
fn write_digits(mut value: u64, places: u8, field: &mut [u8]) {
    let mut digit = |byte: &mut u8| {
        *byte = b'0' + (value % 10) as u8;
        value /= 10;
    };
    let places = usize::from(places);
    let point = field.len().checked_sub(places + 1).filter(|_| places > 0);
    let whole = match point {
        Some(point) => {
            field[point + 1..].iter_mut().rev().for_each(&mut digit);
            field[point] = b'.';
            point
        }
        None => field.len(),
    };
    field[..whole].iter_mut().rev().for_each(digit);
}

/// Leading zeros but the last become spaces, with the sign before the digits.
fn space_out(field: &mut [u8], negative: bool) {
    let last = field.len().saturating_sub(1);
    let zeros = field.iter().take_while(|b| **b == b'0').count().min(last);
    field[..zeros].fill(b' ');
    if negative && let Some(sign) = zeros.checked_sub(1) {
        field[sign] = b'-';
    }
}
