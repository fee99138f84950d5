//! Decimal text to `f64`, correctly rounded, fast for what instruments write.
//!
//! Up to 19 digits whose mantissa fits in 53 bits with a power of ten up to 22 are one exact
//! division or multiplication of two exact doubles, hence correctly rounded (Clinger, "How to
//! read floating point numbers accurately", PLDI 1990). Everything else goes to the standard
//! library.

/// What stands in a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell {
    /// Nothing but blanks.
    Empty,
    /// A finite number.
    Number(f64),
    /// `nan`, `inf` or a number too large for `f64`.
    NotFinite,
    /// Anything else.
    Garbage,
}

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Reads a cell; blanks around it and one pair of double quotes are ignored.
pub(crate) fn read_cell(cell: &[u8]) -> Cell {
    let cell = trim(cell);
    if cell.is_empty() {
        return Cell::Empty;
    }
    if let Some(value) = read_fast(cell) {
        return Cell::Number(value);
    }
    read_slow(cell)
}

/// Without blanks and quotes around.
pub(crate) fn trim(cell: &[u8]) -> &[u8] {
    let cell = cell.trim_ascii();
    match cell {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        _ => cell,
    }
}

fn read_fast(cell: &[u8]) -> Option<f64> {
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    // At most 19 digits and a dot: the mantissa cannot overflow u64.
    if digits.is_empty() || digits.len() > 20 {
        return None;
    }
    let mut mantissa: u64 = 0;
    let mut count = 0_usize;
    let mut after_dot: Option<usize> = None;
    for &byte in digits {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa
                    .checked_mul(10)?
                    .checked_add(u64::from(byte - b'0'))?;
                count += 1;
            }
            b'.' if after_dot.is_none() => after_dot = Some(count),
            _ => return None,
        }
    }
    let places = count - after_dot.unwrap_or(count);
    if count == 0 || mantissa > 1 << 53 {
        return None;
    }
    let value = mantissa as f64 / POWERS.get(places)?;
    Some(if negative { -value } else { value })
}

fn read_slow(cell: &[u8]) -> Cell {
    match std::str::from_utf8(cell).map(str::parse::<f64>) {
        Ok(Ok(value)) if value.is_finite() => Cell::Number(value),
        Ok(Ok(_)) => Cell::NotFinite,
        _ => match cell.to_ascii_lowercase().as_slice() {
            // What spreadsheets and other tools write for the same thing.
            b"nan()" | b"#nan" | b"1.#qnan" | b"-1.#ind" | b"1.#inf" | b"-1.#inf" | b"null"
            | b"na" | b"n/a" | b"#n/a" => Cell::NotFinite,
            _ => Cell::Garbage,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fast_reading_equals_the_standard_library_bit_for_bit() {
        let mut seed = 7_u64;
        for _ in 0..200_000 {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let whole = (seed >> 40) as f64 - 8e6;
            for text in [
                format!("{:.3}", whole / 977.0),
                format!("{:.9}", whole / 1e5),
                format!("{whole}"),
                format!("{:e}", whole / 3.0),
                format!("{}", f64::from_bits(seed)),
            ] {
                let Ok(want) = text.parse::<f64>() else {
                    continue;
                };
                match read_cell(text.as_bytes()) {
                    Cell::Number(got) => assert_eq!(got.to_bits(), want.to_bits(), "{text}"),
                    other => assert!(!want.is_finite(), "{text}: {other:?}"),
                }
            }
        }
    }

    #[test]
    fn blanks_quotes_signs_and_non_numbers_are_told_apart() {
        for (text, want) in [
            ("", Cell::Empty),
            ("  ", Cell::Empty),
            ("\"\"", Cell::Empty),
            (" 12.50 ", Cell::Number(12.5)),
            ("\"12.5\"", Cell::Number(12.5)),
            ("+3", Cell::Number(3.0)),
            ("-.5", Cell::Number(-0.5)),
            ("5.", Cell::Number(5.0)),
            ("1e3", Cell::Number(1000.0)),
            ("NaN", Cell::NotFinite),
            ("-inf", Cell::NotFinite),
            ("1e999", Cell::NotFinite),
            ("#N/A", Cell::NotFinite),
            ("-", Cell::Garbage),
            (".", Cell::Garbage),
            ("1.2.3", Cell::Garbage),
            ("12,5", Cell::Garbage),
            ("ERR", Cell::Garbage),
            ("1\u{b0}", Cell::Garbage),
        ] {
            assert_eq!(read_cell(text.as_bytes()), want, "{text:?}");
        }
    }
}
