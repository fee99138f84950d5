//! Frames of text instruments as templates and columns of numbers.
//!
//! A line such as `+01234.5\r\n` is a template (sign, five digits, point, one digit, line end) and the
//! number 12345. Lines of the same template share columns, which the integer coder then makes small.
//! An NMEA style check (`*5A`, exclusive or of what stands between `$` and `*`) that is right costs
//! nothing, a wrong one is a number. Lines that fit no template are kept as they are. Nothing is
//! interpreted: the bytes come back exactly, whatever they were.

use super::column::{Bytes, IntColumn};
use super::layout::ENTRIES_MAX;
use super::records::Records;
use bincode::{Decode, Encode};

/// Templates in one block; lines beyond that are kept as they are.
const TEMPLATES_MAX: usize = 96;
/// Longer lines are kept as they are.
const LINE_MAX: usize = 512;
/// Digits of one number, so that it fits an i64.
const DIGITS_MAX: usize = 18;

/// One part of a template.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
enum Token {
    /// These bytes.
    Literal(Vec<u8>),
    /// Digits padded with zeros: a sign if `signed`, `whole` digits, a point and `places` digits if any.
    Zeros { signed: bool, whole: u8, places: u8 },
    /// Right-aligned: spaces, a minus sign if negative, digits, `width` bytes in all; then point and places.
    Spaces { width: u8, places: u8 },
    /// `*` and the exclusive or of the line so far, as two hexadecimal digits.
    RightCheck,
    /// Two hexadecimal digits.
    Hex,
}

impl Token {
    const fn is_number(&self) -> bool {
        !matches!(self, Self::Literal(_) | Self::RightCheck)
    }
}

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
    /// `width` is the length of the pieces in which the bytes came, when that was always the same.
    pub(super) fn encode(bytes: &[u8], width: Option<usize>) -> Self {
        let lines = || Lines::encode(bytes).map(|lines| Self::Lines(Box::new(lines)));
        let records = || Records::encode(bytes, width?).map(Self::Records);
        lines()
            .or_else(records)
            .filter(|text| text.decode(bytes.len()).as_deref() == Ok(bytes))
            .unwrap_or_else(|| Self::Other(Bytes::encode(bytes)))
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
        let mut bytes = Vec::with_capacity(most.min(1 << 20));
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

/// Reads the line along the template; the numbers are left in `numbers` when it fits.
fn fits(tokens: &[Token], line: &[u8], numbers: &mut Vec<i64>) -> bool {
    numbers.clear();
    let mut at = 0;
    for token in tokens {
        let rest = &line[at..];
        let used = match token {
            Token::Literal(bytes) => rest.starts_with(bytes).then_some(bytes.len()),
            Token::Zeros {
                signed,
                whole,
                places,
            } => read_zeros(rest, *signed, *whole, *places, numbers),
            Token::Spaces { width, places } => read_spaces(rest, *width, *places, numbers),
            Token::RightCheck => (rest.first() == Some(&b'*')
                && rest.get(1..3) == Some(&hex(check_of(&line[..at]))[..]))
            .then_some(3),
            Token::Hex => match rest.get(..2).and_then(unhex) {
                Some(value) => {
                    numbers.push(i64::from(value));
                    Some(2)
                }
                None => None,
            },
        };
        match used {
            Some(used) => at += used,
            None => return false,
        }
    }
    at == line.len()
}

/// Digits, all of them, as a number.
fn digits(bytes: &[u8]) -> Option<i64> {
    bytes.iter().try_fold(0_i64, |sum, b| {
        b.is_ascii_digit().then(|| sum * 10 + i64::from(*b - b'0'))
    })
}

/// `whole` digits, and a point and `places` digits if any.
fn read_digits(bytes: &[u8], whole: usize, places: usize) -> Option<(i64, usize)> {
    if whole + places > DIGITS_MAX {
        return None;
    }
    let mut value = digits(bytes.get(..whole)?)?;
    if places == 0 {
        return Some((value, whole));
    }
    if bytes.get(whole) != Some(&b'.') {
        return None;
    }
    for b in bytes.get(whole + 1..whole + 1 + places)? {
        if !b.is_ascii_digit() {
            return None;
        }
        value = value * 10 + i64::from(*b - b'0');
    }
    Some((value, whole + 1 + places))
}

fn read_zeros(
    rest: &[u8],
    signed: bool,
    whole: u8,
    places: u8,
    numbers: &mut Vec<i64>,
) -> Option<usize> {
    let negative = match (signed, rest.first()?) {
        (true, b'-') => true,
        (true, b'+') | (false, _) => false,
        (true, _) => return None,
    };
    let lead = usize::from(signed);
    let (value, used) = read_digits(&rest[lead..], whole.into(), places.into())?;
    if negative && value == 0 {
        return None; // minus zero would come back as plus zero
    }
    numbers.push(if negative { -value } else { value });
    Some(lead + used)
}

fn read_spaces(rest: &[u8], width: u8, places: u8, numbers: &mut Vec<i64>) -> Option<usize> {
    let width = usize::from(width);
    let field = rest.get(..width)?;
    let spaces = field.iter().take_while(|b| **b == b' ').count();
    let negative = field.get(spaces) == Some(&b'-');
    let start = spaces + usize::from(negative);
    let whole = width.checked_sub(start).filter(|w| *w > 0)?;
    if whole > 1 && field.get(start) == Some(&b'0') {
        return None; // leading zeros would come back as spaces
    }
    let (value, used) = read_digits(&rest[start..], whole, places.into())?;
    if negative && value == 0 {
        return None;
    }
    numbers.push(if negative { -value } else { value });
    Some(start + used)
}

/// The template of a line that none fits yet.
fn tokens_of(line: &[u8]) -> Vec<Token> {
    let mut tokens = Vec::new();
    let mut literal = Vec::new();
    let mut at = 0;
    let mut scratch = Vec::new();
    while at < line.len() {
        let token = number_at(&line[at..])
            .or_else(|| (line[at] == b'*').then(|| fits_check(line, at)).flatten());
        let Some((lead, token)) = token else {
            literal.push(line[at]);
            at += 1;
            continue;
        };
        literal.extend_from_slice(&line[at..at + lead]);
        if !literal.is_empty() {
            tokens.push(Token::Literal(std::mem::take(&mut literal)));
        }
        at += lead;
        let used = match &token {
            Token::Zeros {
                signed,
                whole,
                places,
            } => read_zeros(&line[at..], *signed, *whole, *places, &mut scratch),
            Token::Spaces { width, places } => {
                read_spaces(&line[at..], *width, *places, &mut scratch)
            }
            Token::RightCheck => Some(3),
            _ => Some(2),
        };
        match used {
            Some(used) => {
                tokens.push(token);
                at += used;
            }
            None => {
                literal.push(line[at]);
                at += 1;
            }
        }
    }
    if !literal.is_empty() {
        tokens.push(Token::Literal(literal));
    }
    tokens
}

/// A check at the `*` of a line: right, or wrong (then `*` is literal and the digits a number).
fn fits_check(line: &[u8], star: usize) -> Option<(usize, Token)> {
    let given = line.get(star + 1..star + 3)?;
    unhex(given)?;
    if given == hex(check_of(&line[..star])) {
        Some((0, Token::RightCheck))
    } else {
        Some((1, Token::Hex))
    }
}

/// The number token that begins here, if one does.
fn number_at(rest: &[u8]) -> Option<(usize, Token)> {
    let spaces = rest.iter().take_while(|b| **b == b' ').count();
    let after = &rest[spaces..];
    let sign = matches!(after.first(), Some(b'+' | b'-'));
    let negative = after.first() == Some(&b'-');
    let after = &after[usize::from(sign)..];
    let whole = count_digits(after);
    if whole == 0 || whole > DIGITS_MAX {
        return None;
    }
    let places = match after.get(whole) {
        Some(b'.') => count_digits(&after[whole + 1..]),
        _ => 0,
    };
    let places = if whole + places > DIGITS_MAX {
        0
    } else {
        places
    } as u8;
    let zero_led = whole > 1 && after.first() == Some(&b'0');
    if spaces > 0 && !zero_led && (!sign || negative) && spaces + whole < 64 {
        let width = (spaces + usize::from(sign) + whole) as u8;
        return Some((0, Token::Spaces { width, places }));
    }
    let zeros = Token::Zeros {
        signed: sign,
        whole: whole as u8,
        places,
    };
    Some((spaces, zeros))
}

fn count_digits(bytes: &[u8]) -> usize {
    bytes.iter().take_while(|b| b.is_ascii_digit()).count()
}

/// Exclusive or of what stands after the first `$` or `!`, or of everything.
fn check_of(line: &[u8]) -> u8 {
    let start = line
        .iter()
        .position(|b| matches!(b, b'$' | b'!'))
        .map_or(0, |p| p + 1);
    line[start..].iter().fold(0, |sum, b| sum ^ b)
}

fn hex(value: u8) -> [u8; 2] {
    let digit = |n: u8| if n < 10 { b'0' + n } else { b'A' + n - 10 };
    [digit(value >> 4), digit(value & 15)]
}

fn unhex(digits: &[u8]) -> Option<u8> {
    let digit = |b: u8| match b {
        b'0'..=b'9' => Some(b - b'0'),
        b'A'..=b'F' => Some(b - b'A' + 10),
        _ => None,
    };
    match digits {
        [high, low] => Some(digit(*high)? << 4 | digit(*low)?),
        _ => None,
    }
}

/// A field of a line image.
struct Field {
    kind: Token,
    start: usize,
    end: usize,
    numbers: Vec<i64>,
}

/// A template for writing: every token has a fixed width, so a line is a copy with its fields filled in.
struct Image {
    bytes: Vec<u8>,
    fields: Vec<Field>,
    /// Lines written.
    written: usize,
}

impl Image {
    fn of(tokens: &[Token]) -> Result<Self, String> {
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

    fn write(&mut self, out: &mut Vec<u8>) -> Result<(), String> {
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
