//! `time_s,load_n,depth_m` text to rows, one pass, nothing lost silently.
//!
//! *Input*: UTF-8 text with a header; `#` lines and blank lines are skipped. *Output*: rows in
//! file order (late and doubled rows too: what becomes of them is for others).
//! *Set aside*, counted and reported with their first lines: rows without a usable time, rows
//! with more or fewer cells than the header, cells that are no finite number (the other cell of
//! such a row is kept). A last line without line end is used and reported: it may be cut off in a number.

use super::header::{self, Columns};
use super::number::{Cell, read_cell, trim};
use super::set_aside::{Reason, SetAside};
use crate::failure::{Failure, Finding};
use kerfwatch::time::{Nanos, nanos};
use std::io::{BufRead, Read};

/// Wanted columns, in this order.
pub(crate) const COLUMNS: [&str; 3] = ["time_s", "load_n", "depth_m"];

/// No instrument writes longer lines; a longer one is no CSV.
const LINE_BYTES_MAX: u64 = 64 * 1024;

/// Times beyond this (about a year) are no seconds from the start of a run.
const RUN_SECONDS_MAX: f64 = 3.2e7;

/// One usable row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Row {
    /// Time from run start.
    pub(crate) at: Nanos,
    /// Line tension, N.
    pub(crate) load_n: Option<f64>,
    /// Line paid out, m.
    pub(crate) depth_m: Option<f64>,
}

/// Reads all rows of `reader` into `take`. `file` is used in messages; `zero_s` is subtracted from
/// every time.
pub(crate) fn read_samples(
    file: &str,
    mut reader: impl BufRead,
    zero_s: f64,
    mut take: impl FnMut(Row, u64) -> Result<(), Failure>,
) -> Result<SetAside, Failure> {
    let first = reader.fill_buf().map_err(|e| Failure::read(file, e))?;
    header::check_kind(file, &first[..first.len().min(4096)])?;
    let mut aside = SetAside::default();
    let mut lines = Lines::new(reader);
    let columns = read_header(file, &mut lines)?;
    let mut start = Start::default();
    let mut rows = 0_u64;
    while let Some(line) = lines.next(file)? {
        let number = line.number;
        if skipped(line.text) {
            continue;
        }
        aside.rows += 1;
        if line.too_long {
            aside.add(Reason::TooLong, number, b"");
            continue;
        }
        if rows == 0 {
            start.look(line.text, &columns);
        }
        let Some([time, load, depth]) = cells(line.text, &columns) else {
            aside.add(Reason::CellCount, number, line.text);
            continue;
        };
        let at = match read_cell(time) {
            Cell::Number(s) if (s - zero_s).abs() <= RUN_SECONDS_MAX => nanos(s - zero_s),
            Cell::Number(s) => {
                start.far(s);
                None
            }
            _ => None,
        };
        let Some(at) = at else {
            aside.add(Reason::Time, number, time);
            continue;
        };
        let row = Row {
            at,
            load_n: value(
                load,
                Reason::Load,
                Reason::LoadNotFinite,
                number,
                &mut aside,
            ),
            depth_m: value(
                depth,
                Reason::Depth,
                Reason::DepthNotFinite,
                number,
                &mut aside,
            ),
        };
        if row.load_n.is_some() || row.depth_m.is_some() {
            rows += 1;
            aside.used += 1;
            aside.torn_end = (!line.ended).then_some(number);
            take(row, number)?;
        } else {
            aside.without_value += 1;
        }
    }
    if rows == 0 {
        return Err(start.why_nothing(file, &aside).into());
    }
    Ok(aside)
}

fn value(
    cell: &[u8],
    garbage: Reason,
    not_finite: Reason,
    line: u64,
    aside: &mut SetAside,
) -> Option<f64> {
    match read_cell(cell) {
        Cell::Number(value) => Some(value),
        Cell::Empty => None,
        Cell::NotFinite => {
            aside.add(not_finite, line, cell);
            None
        }
        Cell::Garbage => {
            aside.add(garbage, line, cell);
            None
        }
    }
}

/// What the first lines looked like, to explain a file of which nothing could be used.
#[derive(Default)]
struct Start {
    looked: u32,
    wide: u32,
    semicolons: u32,
    far_s: Option<f64>,
}

impl Start {
    fn look(&mut self, line: &[u8], columns: &Columns) {
        if self.looked < 1000 {
            self.looked += 1;
            self.wide += u32::from(line.split(|&b| b == b',').count() > columns.count);
            self.semicolons += u32::from(line.contains(&b';'));
        }
    }

    fn far(&mut self, s: f64) {
        self.far_s.get_or_insert(s);
    }

    fn why_nothing(&self, file: &str, aside: &SetAside) -> Finding {
        if aside.rows == 0 {
            return Finding::new(
                file,
                "there is a header but no data row",
                "check that the logger wrote data and that the copy is complete",
            );
        }
        if let Some(s) = self.far_s {
            return Finding::new(
                file,
                format!("no row is usable: times start at {s}, which is no time from run start"),
                format!("give --time-zero {s} to count from there"),
            )
            .field("time_s");
        }
        if self.semicolons * 2 > self.looked {
            return Finding::new(
                file,
                "no row is usable: data rows are separated by semicolons, unlike the header",
                "write commas between columns and points in numbers",
            );
        }
        if self.wide * 2 > self.looked {
            return Finding::new(
                file,
                "no row is usable: rows have more cells than the header; \
                 decimals seem to be written with a comma",
                "write numbers with a decimal point (in a spreadsheet: set the locale to English \
                 before saving as CSV)",
            );
        }
        aside.as_nothing_usable(file)
    }
}

/// Blank lines and remarks.
fn skipped(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    line.is_empty() || line[0] == b'#'
}

fn read_header<R: BufRead>(file: &str, lines: &mut Lines<R>) -> Result<Columns, Failure> {
    while let Some(line) = lines.next(file)? {
        if skipped(line.text) {
            continue;
        }
        let (number, text) = (line.number, line.text.to_vec());
        let refused = match header::find_columns(file, number, &text, &COLUMNS, None) {
            Ok(columns) => return Ok(columns),
            Err(refused) => refused,
        };
        // Once more with the first row, which tells the cause better.
        let Some(row) = lines.next(file)? else {
            return Err(Failure::Input(refused));
        };
        return header::find_columns(file, number, &text, &COLUMNS, Some(row.text))
            .map_err(Failure::Input);
    }
    Err(Finding::new(
        file,
        "there is no header line",
        format!("the first line must be {}", COLUMNS.join(",")),
    )
    .into())
}

/// The wanted cells of a line, or `None` when the number of cells is not that of the header
/// (empty cells beyond the header are forgiven).
fn cells<'l>(line: &'l [u8], columns: &Columns) -> Option<[&'l [u8]; 3]> {
    let mut found: [&[u8]; 3] = [b""; 3];
    let mut index = 0;
    let mut start = 0;
    let mut quoted = false;
    let mut place = |index: usize, cell: &'l [u8]| {
        if index >= columns.count {
            return trim(cell).is_empty();
        }
        for (slot, &at) in found.iter_mut().zip(&columns.at) {
            if at == index {
                *slot = cell;
            }
        }
        true
    };
    for (i, &byte) in line.iter().enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            b',' if !quoted => {
                if !place(index, &line[start..i]) {
                    return None;
                }
                index += 1;
                start = i + 1;
            }
            _ => {}
        }
    }
    let whole = place(index, &line[start..]) && index + 1 >= columns.count && !quoted;
    whole.then_some(found)
}

/// Lines of a reader with their numbers, bounded in length.
pub(crate) struct Lines<R> {
    reader: R,
    buffer: Vec<u8>,
    number: u64,
}

/// One line without its end.
pub(crate) struct Line<'b> {
    pub(crate) number: u64,
    pub(crate) text: &'b [u8],
    pub(crate) too_long: bool,
    /// Its line end was there.
    pub(crate) ended: bool,
}

impl<R: BufRead> Lines<R> {
    pub(crate) fn new(reader: R) -> Self {
        Self {
            reader,
            buffer: Vec::new(),
            number: 0,
        }
    }

    /// Next line; a byte order mark before the first is dropped.
    pub(crate) fn next(&mut self, file: &str) -> Result<Option<Line<'_>>, Failure> {
        self.buffer.clear();
        let read = (&mut self.reader)
            .take(LINE_BYTES_MAX)
            .read_until(b'\n', &mut self.buffer)
            .map_err(|e| Failure::read(file, e))?;
        if read == 0 {
            return Ok(None);
        }
        self.number += 1;
        let too_long = read as u64 == LINE_BYTES_MAX && self.buffer.last() != Some(&b'\n');
        if too_long {
            self.skip_rest(file)?;
        }
        let ended = too_long || self.buffer.last() == Some(&b'\n');
        let mut text = self.buffer.as_slice();
        if self.number == 1 {
            text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        }
        text = text.strip_suffix(b"\n").unwrap_or(text);
        text = text.strip_suffix(b"\r").unwrap_or(text);
        Ok(Some(Line {
            number: self.number,
            text,
            too_long,
            ended,
        }))
    }

    fn skip_rest(&mut self, file: &str) -> Result<(), Failure> {
        loop {
            let part = self.reader.fill_buf().map_err(|e| Failure::read(file, e))?;
            let Some(end) = part.iter().position(|&b| b == b'\n') else {
                let length = part.len();
                self.reader.consume(length);
                if length == 0 {
                    return Ok(());
                }
                continue;
            };
            self.reader.consume(end + 1);
            return Ok(());
        }
    }
}

#[cfg(test)]
#[path = "samples_tests.rs"]
mod tests;
