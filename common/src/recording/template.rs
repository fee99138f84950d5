//! Templates of text lines: found in a line, and read along one.

use bincode::{Decode, Encode};

/// Digits of one number, so that it fits an i64.
const DIGITS_MAX: usize = 18;

/// One part of a template.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum Token {
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
    pub(super) const fn is_number(&self) -> bool {
        !matches!(self, Self::Literal(_) | Self::RightCheck)
    }
}

/// Reads the line along the template; the numbers are left in `numbers` when it fits.
pub(super) fn fits(tokens: &[Token], line: &[u8], numbers: &mut Vec<i64>) -> bool {
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
pub(super) fn tokens_of(line: &[u8]) -> Vec<Token> {
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
pub(super) fn check_of(line: &[u8]) -> u8 {
    let start = line
        .iter()
        .position(|b| matches!(b, b'$' | b'!'))
        .map_or(0, |p| p + 1);
    line[start..].iter().fold(0, |sum, b| sum ^ b)
}

pub(super) fn hex(value: u8) -> [u8; 2] {
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
