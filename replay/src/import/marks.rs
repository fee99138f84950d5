//! `time_s,mark` text to operator's marks in time order.
//!
//! Known marks: `cutter_out`, `cutter_in`, `weight_check`, `reference_depth:LENGTH` (the wheels are known to be there),
//! `note:TEXT` (the text may hold commas when `mark` is the last column). A row that cannot be read is set aside and
//! reported.

use super::header;
use super::number::{Cell, read_cell, trim};
use super::samples::Lines;
use super::set_aside::{Reason, SetAside};
use crate::failure::{Failure, Finding};
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::job::{Dimension, parse_quantity};
use kerfwatch::time::{Nanos, nanos};
use std::io::BufRead;

/// Reads all marks, sorted by time (equal times keep their order). `zero_s` is subtracted.
pub(crate) fn read_marks(
    file: &str,
    mut reader: impl BufRead,
    zero_s: f64,
) -> Result<(Vec<(Nanos, Mark)>, SetAside), Failure> {
    let first = reader.fill_buf().map_err(|e| Failure::read(file, e))?;
    header::check_kind(file, &first[..first.len().min(4096)])?;
    let mut lines = Lines::new(reader);
    let mut columns = None;
    let mut marks = Vec::new();
    let mut aside = SetAside::default();
    while let Some(line) = lines.next(file)? {
        let text = line.text.trim_ascii();
        if text.is_empty() || text[0] == b'#' {
            continue;
        }
        let Some(columns) = &columns else {
            let found = header::find_columns(file, line.number, text, &["time_s", "mark"], None)
                .map_err(Failure::Input)?;
            columns = Some(found);
            continue;
        };
        aside.rows += 1;
        let cell = |at: usize| {
            let last = at + 1 == columns.count;
            let mut parts = text.splitn(if last { at + 1 } else { at + 2 }, |&b| b == b',');
            trim(parts.nth(at).unwrap_or_default())
        };
        let at = match read_cell(cell(columns.at[0])) {
            Cell::Number(s) => nanos(s - zero_s),
            _ => None,
        };
        let Some(at) = at else {
            aside.add(Reason::Time, line.number, text);
            continue;
        };
        let Some(kind) = read_kind(cell(columns.at[1])) else {
            aside.add(Reason::Mark, line.number, text);
            continue;
        };
        aside.used += 1;
        let author = String::new();
        marks.push((at, Mark { kind, author }));
    }
    if columns.is_none() {
        return Err(Finding::new(
            file,
            "there is no header line",
            "the first line must be time_s,mark",
        )
        .into());
    }
    marks.sort_by_key(|(at, _)| *at);
    Ok((marks, aside))
}

fn read_kind(cell: &[u8]) -> Option<MarkKind> {
    let text = std::str::from_utf8(cell).ok()?;
    Some(match text {
        "cutter_out" => MarkKind::CutterOut,
        "cutter_in" => MarkKind::CutterIn,
        "weight_check" => MarkKind::WeightCheck,
        _ => match text.strip_prefix("reference_depth:") {
            Some(depth) => MarkKind::ReferenceDepth(parse_quantity(depth, Dimension::Length).ok()?),
            None => MarkKind::Note(text.strip_prefix("note:")?.trim().to_owned()),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_sorted_by_time_and_notes_keep_their_commas() {
        let (marks, aside) = read_marks(
            "m.csv",
            &b"\xef\xbb\xbftime_s,mark\r\n90,cutter_in\r\n10.5,cutter_out\r\n\
               20,\"note:jarred, twice\"\r\n30,note: a, b\r\n5,weight_check\r\n\
               40,reference_depth: 1502.4 m\r\n"[..],
            0.0,
        )
        .unwrap();
        let seen: Vec<(Nanos, MarkKind)> = marks.into_iter().map(|(t, m)| (t, m.kind)).collect();
        assert_eq!(
            seen,
            [
                (5_000_000_000, MarkKind::WeightCheck),
                (10_500_000_000, MarkKind::CutterOut),
                (20_000_000_000, MarkKind::Note("jarred, twice".into())),
                (30_000_000_000, MarkKind::Note("a, b".into())),
                (40_000_000_000, MarkKind::ReferenceDepth(1502.4)),
                (90_000_000_000, MarkKind::CutterIn),
            ]
        );
        assert_eq!(aside.count(), 0);
    }

    #[test]
    fn unknown_marks_are_set_aside_by_line_and_the_rest_is_used() {
        let (marks, aside) = read_marks(
            "m.csv",
            &b"mark,time_s\ncutter_outt,1\ncutter_out,2\nx,y\nreference_depth:1502,3\n"[..],
            0.0,
        )
        .unwrap();
        assert_eq!(marks.len(), 1);
        assert_eq!(aside.count(), 3);
        let told: Vec<String> = aside
            .findings("m.csv")
            .iter()
            .map(ToString::to_string)
            .collect();
        let text = told.join("\n");
        assert!(text.contains("m.csv:2: mark: `cutter_outt,1`"), "{text}");
        assert!(
            text.contains("m.csv:5: mark: `reference_depth:1502,3`"),
            "{text}"
        );
        assert!(text.contains("write cutter_out, cutter_in"), "{text}");
    }

    #[test]
    fn missing_columns_are_named() {
        let failure = read_marks("m.csv", &b"time_s,event\n1,x\n"[..], 0.0).unwrap_err();
        assert!(
            failure
                .to_string()
                .contains("m.csv:1: mark: this column is missing")
        );
    }
}
