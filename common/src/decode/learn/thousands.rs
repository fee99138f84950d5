//! Numbers written with commas between thousands: `1,220 lbs`, `1,234,567`, `1,220.5`.
//!
//! *Input*: lines. *Output*: the first number so written. *Limits*: `1,220` may be two columns as well. It is taken for
//! them only where the digits in front go their own way: in a number they change when those behind run over, so that
//! the whole goes on smoothly.

use super::FRAMES_MIN;

/// Largest step of a number from one line to the next when its thousands change.
const STEP_MAX: f64 = 500.0;

/// A number with commas between thousands.
struct Number<'l> {
    text: &'l str,
    thousands: &'l str,
    value: f64,
}

/// The first number with commas between thousands, if `lines` write a number so.
pub(super) fn example(lines: &[&[u8]]) -> Option<String> {
    let mut columns: Vec<Vec<Option<Number>>> = Vec::new();
    for line in lines {
        let Ok(line) = std::str::from_utf8(line) else {
            continue;
        };
        let within = |c: char| c.is_ascii_digit() || c == ',' || c == '.';
        let numbers = (line.split(|c| !within(c)))
            .map(|text| text.trim_matches([',', '.']))
            .filter(|text| !text.is_empty());
        for (index, text) in numbers.enumerate() {
            if index == columns.len() {
                columns.push(Vec::new());
            }
            // A number below a thousand has no comma; one that cannot be so written rules the column out.
            if text.contains(',') {
                columns[index].push(number(text));
            }
        }
    }
    columns.into_iter().find_map(|column| {
        let numbers: Vec<Number> = column.into_iter().collect::<Option<_>>()?;
        (numbers.len() >= FRAMES_MIN && go_on_smoothly(&numbers))
            .then(|| numbers[0].text.to_owned())
    })
}

/// `text` as such a number.
fn number(text: &str) -> Option<Number<'_>> {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    let (thousands, _) = whole.rsplit_once(',')?;
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let mut groups = whole.split(',');
    let first = groups.next()?;
    let is_one = (1..=3).contains(&first.len())
        && !first.starts_with('0')
        && digits(first)
        && groups.all(|group| group.len() == 3 && digits(group))
        && digits(decimals);
    is_one.then_some(Number {
        text,
        thousands,
        value: text.replace(',', "").parse().ok()?,
    })
}

fn go_on_smoothly(numbers: &[Number]) -> bool {
    let changes = numbers
        .windows(2)
        .filter(|pair| pair[0].thousands != pair[1].thousands);
    let (mut all, mut leaps) = (0, 0);
    for pair in changes {
        all += 1;
        leaps += usize::from((pair[1].value - pair[0].value).abs() > STEP_MAX);
    }
    2 * leaps <= all
}
