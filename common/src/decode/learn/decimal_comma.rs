//! Numbers written with a decimal comma: `1600,4;1490,123`.
//!
//! *Input*: lines. *Output*: the first number so written. *Limits*: a comma separates columns too, so it is taken for a
//! decimal one only where something else separates them, or where what follows it are no whole numbers: always as
//! many digits, with zeros in front, or one digit that goes through many.

/// Different single digits behind a comma that are no status any more.
const DIGITS_MIN: usize = 5;

/// Digits, with a comma between two of them where there is one.
struct Number<'l> {
    text: &'l str,
    fraction: Option<&'l str>,
}

/// The first number with a decimal comma, if `lines` write their numbers so.
pub(super) fn example(lines: &[&[u8]]) -> Option<String> {
    let lines: Vec<&str> = (lines.iter())
        .filter_map(|line| std::str::from_utf8(line).ok())
        .collect();
    // Points, and more than two numbers with commas between, rule it out, in any line.
    let numbers: Vec<Vec<Number>> = (lines.iter())
        .map(|line| numbers(line))
        .collect::<Option<_>>()?;
    let with_comma = |column: usize| -> Vec<&Number> {
        (numbers.iter())
            .filter_map(|line| line.get(column))
            .filter(|number| number.fraction.is_some())
            .collect()
    };
    let columns = numbers.iter().map(Vec::len).max()?;
    let most = 2 * with_comma_in_any(&numbers) > lines.len();
    let separated = most
        && 2 * lines
            .iter()
            .filter(|line| line.contains([';', '\t', '|']))
            .count()
            > lines.len();
    (0..columns).map(with_comma).find_map(|column| {
        let first = column.first()?;
        let is_decimal = separated || (most && are_fractions(&column));
        is_decimal.then(|| first.text.to_owned())
    })
}

fn with_comma_in_any(numbers: &[Vec<Number>]) -> usize {
    (numbers.iter())
        .filter(|line| line.iter().any(|number| number.fraction.is_some()))
        .count()
}

/// The numbers of `line`; `None` where it has a decimal point or a comma that is none within a number.
fn numbers(line: &str) -> Option<Vec<Number<'_>>> {
    let within = |c: char| c.is_ascii_digit() || c == ',' || c == '.';
    (line.split(|c| !within(c)))
        .filter(|text| text.contains(|c: char| c.is_ascii_digit()))
        .map(|text| {
            let text = text.trim_matches(',');
            let (whole, fraction) = match text.split_once(',') {
                Some((whole, fraction)) => (whole, Some(fraction)),
                None => (text, None),
            };
            let digits =
                |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
            (digits(whole) && fraction.is_none_or(digits)).then_some(Number { text, fraction })
        })
        .collect()
}

/// Whether what follows the comma are no whole numbers of their own.
fn are_fractions(column: &[&Number]) -> bool {
    let mut fractions: Vec<&str> = column.iter().filter_map(|number| number.fraction).collect();
    fractions.sort_unstable();
    fractions.dedup();
    let width = fractions.first().map_or(0, |first| first.len());
    let even = fractions.iter().all(|fraction| fraction.len() == width);
    even && if width == 1 {
        fractions.len() >= DIGITS_MIN
    } else {
        fractions.len() > 1 && fractions[0].starts_with('0')
    }
}
