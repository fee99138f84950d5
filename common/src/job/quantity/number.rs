//! The number at the start of a quantity: decimal, with an exponent, or with a fraction as in `3-1/2`.

/// Splits `3-1/2 in` into 3.5 and ` in`. The number is finite.
pub(in crate::job) fn split_number(text: &str) -> Result<(f64, &str), String> {
    let shown: String = text.chars().take(40).collect();
    let no_number = || format!("\"{shown}\", which does not start with a number");
    let (negative, body) = match text.chars().next() {
        Some('+') => (false, &text[1..]),
        Some(c @ ('-' | '−')) => (true, &text[c.len_utf8()..]),
        Some(_) => (false, text),
        None => return Err("an empty text".to_owned()),
    };
    let length = number_length(body);
    if length == 0 {
        return Err(no_number());
    }
    let (digits, mut rest) = body.split_at(length);
    if rest.starts_with(',') {
        return Err(format!(
            "\"{shown}\" with a comma (write a point for decimals and nothing for thousands)"
        ));
    }
    let mut value: f64 = digits.replace('_', "").parse().map_err(|_| no_number())?;
    if digits.bytes().all(|b| b.is_ascii_digit()) {
        if let Some((fraction, after)) = leading_fraction(rest, &['-', ' ']) {
            value += fraction;
            rest = after;
        } else if let Some(after) = rest.strip_prefix('/') {
            // "1/2 in", with no whole part.
            let below = after.bytes().take_while(u8::is_ascii_digit).count();
            if let Ok(divisor) = after[..below].parse::<f64>()
                && divisor > 0.0
            {
                value /= divisor;
                rest = &after[below..];
            }
        }
    }
    if !value.is_finite() {
        return Err(format!("\"{shown}\", which is not a finite number"));
    }
    Ok((if negative { -value } else { value }, rest))
}

/// `-1/2...` or ` 1/2...` after a whole number.
fn leading_fraction<'t>(text: &'t str, separators: &[char]) -> Option<(f64, &'t str)> {
    let text = text.strip_prefix(separators)?.trim_start_matches(' ');
    let above = text.bytes().take_while(u8::is_ascii_digit).count();
    let after = text.get(above..)?.strip_prefix('/')?;
    let below = after.bytes().take_while(u8::is_ascii_digit).count();
    let numerator: f64 = text.get(..above)?.parse().ok()?;
    let divisor: f64 = after.get(..below)?.parse().ok()?;
    (divisor > 0.0 && numerator < divisor).then(|| (numerator / divisor, &after[below..]))
}

/// Bytes of a leading decimal number (no sign): digits, one point, an exponent.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let run = |from: usize| {
        bytes[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit() || **b == b'_')
            .count()
    };
    let whole = run(0);
    let mut length = whole;
    let mut fraction = 0;
    if bytes.get(length) == Some(&b'.') {
        fraction = run(length + 1);
        length += 1 + fraction;
    }
    if whole + fraction == 0 {
        return 0;
    }
    if matches!(bytes.get(length), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(length + 1), Some(b'+' | b'-')));
        if bytes.len() > length + 1 + sign {
            let exponent = run(length + 1 + sign);
            if exponent > 0 {
                length += 1 + sign + exponent;
            }
        }
    }
    length
}
