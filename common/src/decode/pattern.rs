//! ASCII lines read by a regular expression.
//!
//! *Input*: lines that end in LF, CR LF or CR. *Output*: what the named captures `load` and
//! `depth` hold, as numbers in instrument units, with the optional captures `seq` (whole number)
//! `t` (instrument time, s) and `temperature` (of the load cell, in a line of its own or with the reading).
//! *Limits*: a line has at most [`LINE_MAX`] bytes; a longer one is dropped to its end and counted.
//! *Errors*: counted by kind, never fatal. Empty lines are no error.
//!
//! The expression is searched for anywhere in the line; write `^...$` to demand the whole line.
//! It works on bytes: `\d` and `\w` are ASCII, and noise that is no text does not stop it.
//!
//! Lines carry no checksum. A line that lost bytes on the way may still match: patterns that name
//! the text around the number (`^LOAD (?<load>...) lbf$`) are safer than a bare number.

use super::{FrameCounts, FrameFault, RawReading};
use crate::input::ChannelId;
use crate::time::Nanos;
use regex::bytes::{CaptureLocations, Regex, RegexBuilder};

/// Longest line, bytes without its end.
pub const LINE_MAX: usize = 512;

/// Limit of a compiled expression, bytes; far above any sensible pattern.
const COMPILED_MAX: usize = 1 << 20;

/// A pattern that cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PatternError {
    /// Not a regular expression.
    #[error("`pattern` is not a regular expression: {0}")]
    Syntax(String),
    /// The capture for the channel is missing.
    #[error("`pattern` has no capture `{0}`; write (?<{0}>...) around the number")]
    NoCapture(&'static str),
}

/// One expression and where its captures are.
#[derive(Debug, Clone)]
struct Expression {
    source: String,
    regex: Regex,
    found: CaptureLocations,
    load: Option<usize>,
    depth: Option<usize>,
    seq: Option<usize>,
    device_time: Option<usize>,
    temperature: Option<usize>,
    /// Sent last.
    newest_temperature: Option<f64>,
}

/// Compiles `pattern` as the decoder does, and checks that it captures `channel`.
pub fn check(pattern: &str, channel: ChannelId) -> Result<(), PatternError> {
    Expression::new(pattern, channel).map(|_| ())
}

fn capture_name(channel: ChannelId) -> &'static str {
    match channel {
        ChannelId::Load => "load",
        ChannelId::Depth => "depth",
    }
}

impl Expression {
    fn new(source: &str, channel: ChannelId) -> Result<Self, PatternError> {
        let regex = RegexBuilder::new(source)
            .unicode(false)
            .size_limit(COMPILED_MAX)
            .build()
            .map_err(|error| PatternError::Syntax(error.to_string()))?;
        let place = |name| {
            regex
                .capture_names()
                .position(|capture| capture == Some(name))
        };
        let wanted = capture_name(channel);
        let Some(index) = place(wanted) else {
            return Err(PatternError::NoCapture(wanted));
        };
        let only = |this| (channel == this).then_some(index);
        Ok(Self {
            source: source.to_owned(),
            load: only(ChannelId::Load),
            depth: only(ChannelId::Depth),
            seq: place("seq"),
            device_time: place("t"),
            temperature: place("temperature"),
            newest_temperature: None,
            found: regex.capture_locations(),
            regex,
        })
    }
}

/// Lines of one port -> readings.
///
/// ```
/// use kerfwatch::decode::pattern::PatternDecoder;
/// use kerfwatch::input::ChannelId;
///
/// let pattern = r"ST,(?<load>[-+.\d]+),lbf";
/// let mut decoder = PatternDecoder::new(&[(ChannelId::Load, pattern)])?;
/// let mut read = Vec::new();
/// for bytes in [&b"ST,+12"[..], b"50.5,lbf\r\nST,garbled\r\n"] {
///     decoder.push(0, bytes, &mut |reading| read.push(reading.raw));
/// }
/// assert_eq!(read, [1250.5]);
/// assert_eq!(decoder.counts().bad, 1);
/// # Ok::<(), kerfwatch::decode::pattern::PatternError>(())
/// ```
#[derive(Debug, Clone)]
pub struct PatternDecoder {
    expressions: Vec<Expression>,
    /// The line so far, when it is spread over chunks; at most [`LINE_MAX`] bytes.
    held: Vec<u8>,
    /// The line is too long: drop it up to its end.
    dropping: bool,
    /// The port has just been opened: what comes before the first line end may be half a line.
    joining: bool,
    /// How the newest line that was read begins; zeros before the first.
    begins: [u8; 2],
    counts: FrameCounts,
}

impl PatternDecoder {
    /// `channels`: one or two, with the pattern that finds each; two with the same text are
    /// searched once.
    pub fn new(channels: &[(ChannelId, &str)]) -> Result<Self, PatternError> {
        let mut expressions: Vec<Expression> = Vec::new();
        for &(channel, source) in channels {
            let new = Expression::new(source, channel)?;
            match expressions.iter_mut().find(|old| old.source == source) {
                Some(old) => {
                    old.load = old.load.or(new.load);
                    old.depth = old.depth.or(new.depth);
                }
                None => expressions.push(new),
            }
        }
        Ok(Self {
            expressions,
            held: Vec::with_capacity(LINE_MAX),
            dropping: false,
            joining: false,
            begins: [0; 2],
            counts: FrameCounts::default(),
        })
    }

    /// The port was opened or lost: a line under way is given up, and the first one after opening
    /// is not trusted, because its beginning may be missing ("12345" must not become "45").
    pub fn port_changed(&mut self, open: bool) {
        if !self.held.is_empty() || self.dropping {
            self.counts.partial += 1;
        }
        self.held.clear();
        self.dropping = false;
        self.joining = open;
    }

    /// Takes bytes; `out` gets each reading.
    pub fn push(&mut self, at: Nanos, bytes: &[u8], out: &mut impl FnMut(RawReading)) {
        let mut rest = bytes;
        while let Some(end) = rest.iter().position(|&byte| byte == b'\n' || byte == b'\r') {
            self.end_line(at, &rest[..end], out);
            rest = &rest[end + 1..];
        }
        if !self.dropping {
            self.keep(at, rest);
        }
    }

    /// Counts so far.
    pub fn counts(&self) -> &FrameCounts {
        &self.counts
    }

    fn keep(&mut self, at: Nanos, part: &[u8]) {
        if self.held.len() + part.len() <= LINE_MAX {
            self.held.extend_from_slice(part);
        } else {
            self.held.clear();
            self.dropping = true;
            if !self.joining {
                self.counts.fault(at, FrameFault::TooLong);
            }
        }
    }

    fn end_line(&mut self, at: Nanos, last_part: &[u8], out: &mut impl FnMut(RawReading)) {
        let whole_in_chunk = self.held.is_empty() && last_part.len() <= LINE_MAX;
        if !self.dropping && !whole_in_chunk {
            self.keep(at, last_part);
        }
        if self.joining {
            self.joining = false;
            if self.dropping || !self.held.is_empty() || !last_part.is_empty() {
                self.counts.partial += 1;
            }
        } else if self.dropping {
            // Counted when it became too long.
        } else if whole_in_chunk {
            self.read_line(at, last_part, out);
        } else {
            let line = std::mem::take(&mut self.held);
            self.read_line(at, &line, out);
            self.held = line;
        }
        self.dropping = false;
        self.held.clear();
    }

    fn read_line(&mut self, at: Nanos, line: &[u8], out: &mut impl FnMut(RawReading)) {
        if line.is_empty() {
            return;
        }
        let (mut matched, mut wrong, mut given) = (false, false, false);
        for expression in &mut self.expressions {
            let Expression { regex, found, .. } = expression;
            if regex.captures_read(found, line).is_none() {
                continue;
            }
            matched = true;
            let text = |index: Option<usize>| {
                let (start, end) = found.get(index?)?;
                Some(&line[start..end])
            };
            let seq = text(expression.seq).and_then(whole_number);
            let device_s = text(expression.device_time).and_then(number);
            if let Some(captured) = text(expression.temperature) {
                match number(captured) {
                    Some(value) => {
                        given = true;
                        expression.newest_temperature = Some(value);
                    }
                    None => wrong = true,
                }
            }
            for (channel, index) in [
                (ChannelId::Load, expression.load),
                (ChannelId::Depth, expression.depth),
            ] {
                let Some(captured) = text(index) else {
                    continue;
                };
                match number(captured) {
                    Some(raw) => {
                        given = true;
                        out(RawReading {
                            channel,
                            at,
                            raw,
                            seq,
                            device_s,
                            temperature: expression.newest_temperature,
                        });
                    }
                    None => wrong = true,
                }
            }
        }
        if given {
            self.counts.good += 1;
            self.begins = beginning(line);
        }
        if wrong {
            self.counts.fault(at, FrameFault::NotANumber);
        } else if !matched {
            self.counts.fault(at, FrameFault::NoMatch);
            let is_text = line.iter().all(|&b| b == b' ' || b.is_ascii_graphic());
            self.counts.other_text += u64::from(is_text && beginning(line) != self.begins);
        }
    }
}

/// First characters of a line, all digits alike: a damaged line mostly still begins as it should.
fn beginning(line: &[u8]) -> [u8; 2] {
    let alike = |b: &u8| if b.is_ascii_digit() { b'0' } else { *b };
    [0, 1].map(|place| line.get(place).map_or(0, alike))
}

/// A finite decimal number; blanks around it and between sign and digits are permitted, as many
/// weighing indicators pad there. No decimal comma: a wrong guess would be wrong by a thousand.
fn number(text: &[u8]) -> Option<f64> {
    let text = text.trim_ascii();
    let (negative, digits) = match text.split_first()? {
        (b'-', rest) => (true, rest.trim_ascii_start()),
        (b'+', rest) => (false, rest.trim_ascii_start()),
        _ => (false, text),
    };
    // Keeps out `inf`, `nan` and a second sign, which the standard parser would take.
    if !digits.first()?.is_ascii_digit() && digits.first() != Some(&b'.') {
        return None;
    }
    let value: f64 = std::str::from_utf8(digits).ok()?.parse().ok()?;
    value
        .is_finite()
        .then_some(if negative { -value } else { value })
}

fn whole_number(text: &[u8]) -> Option<u64> {
    std::str::from_utf8(text.trim_ascii()).ok()?.parse().ok()
}

#[cfg(test)]
mod tests;
