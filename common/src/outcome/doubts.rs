//! Marks of the cutter that are not taken as they were set, in words for the crew.
//!
//! Nothing here names a time of day: page and replay show `mark_s` in their own way before the sentences.

use crate::groove::ledger::Row;
use crate::groove::mark_doubts::{Fault, RowDoubt, read_marks};
use crate::pipeline::Pipeline;
use crate::snapshot::MarkDoubt;

/// What is in doubt about the marks set so far, in order of time.
pub fn mark_doubts(p: &Pipeline) -> Vec<MarkDoubt> {
    let words = p.words();
    let rows = &p.ledger.rows;
    let (_, by_rows) = read_marks(&p.ledger);
    let mut doubts: Vec<MarkDoubt> = by_rows
        .iter()
        .filter_map(|doubt| of_rows(doubt, rows, &words))
        .collect();
    // Said once of marks that follow each other at once.
    let contradicted =
        (0..words.len()).filter(|i| words[*i].1.is_none() && (*i == 0 || words[i - 1].1.is_some()));
    doubts.extend(contradicted.map(|i| {
        let next = words[i..].iter().find(|m| m.1.is_some());
        MarkDoubt {
            kind: "contradiction".to_owned(),
            mark_s: words[i].0,
            from_s: words[i].0,
            until_s: next.map_or(p.last.max(words[i].0), |m| m.0),
            message:
                "\"cutter out\" and \"cutter in\" were marked at the same time: they are taken to \
                      say nothing, and until the next mark the drag decides what cut."
                    .to_owned(),
        }
    }));
    doubts.sort_by(|a, b| a.mark_s.total_cmp(&b.mark_s));
    doubts
}

/// `words`: when marks name the cutter, and whether they say out.
fn of_rows(doubt: &RowDoubt, rows: &[Row], words: &[(f64, Option<bool>)]) -> Option<MarkDoubt> {
    let said = rows.get(doubt.mark)?.marked_out?;
    // The first of those that said the same, one after the other.
    let newest = words
        .iter()
        .rposition(|m| m.0 <= rows[doubt.mark].end && m.1 == Some(said))?;
    let same = words[..=newest].iter().rev();
    let mark_s = same.take_while(|m| m.1 == Some(said)).last()?.0;
    let missing = doubt.fault == Fault::OutMissing;
    if missing && words.iter().any(|m| m.0 < mark_s && m.1 == Some(true)) {
        // Said and taken back before a stroke was made.
        return None;
    }
    let start = |row: usize| rows.get(row).map_or(mark_s, |row| row.start);
    let from_s = start(doubt.rows.start);
    let until_s = (doubt.rows.end.checked_sub(1)).map_or(from_s, |last| rows[last].end);
    let to_the_last = doubt.rows.end == rows.len();
    let (kind, message) = match doubt.fault {
        Fault::OutLate => (
            "out_late",
            format!(
                "the mark \"cutter out\" came late: drag had risen {} before it, as it does when wheels go into the wall, and \
                 did not rise at it. The strokes from then on count as cutting.",
                lasting(mark_s - from_s)
            ),
        ),
        Fault::OutEarly if to_the_last => (
            "out_early",
            "the mark \"cutter out\" came early: drag did not rise at it to where it was when the wheels went in. The strokes \
             from then on count as running free, up to the last; a second mark \"cutter out\" would be believed."
                .to_owned(),
        ),
        Fault::OutEarly => (
            "out_early",
            format!(
                "the mark \"cutter out\" came early: only {} after it drag rose as it does when wheels go into the \
                 wall. The strokes before that count as running free.",
                lasting(start(doubt.rows.end) - mark_s)
            ),
        ),
        Fault::InEarly => (
            "in_early",
            format!(
                "the mark \"cutter in\" came early: drag did not fall at it, up or down, as it does when wheels go in. The \
                 strokes of the {} after it count as cutting{}.",
                lasting(until_s - mark_s),
                if to_the_last { ", up to the last; a second mark \"cutter in\" would be believed" } else { "" }
            ),
        ),
        Fault::InMissing => (
            "in_missing",
            format!(
                "no \"cutter in\" follows this mark \"cutter out\", but {} after it drag fell at once, up and down, as it does \
                 when wheels go in. The strokes from then on count as running free{}.",
                lasting(from_s - mark_s),
                if to_the_last { "; a second mark \"cutter out\" would be believed" } else { ", up to where it was marked again" }
            ),
        ),
        Fault::OtherWord => (
            "other_word",
            format!(
                "the mark \"cutter {word}\" was the wrong one: drag changed at it as it does when wheels go the other way. What \
                 was marked in the {} after it is taken the other way round, and from where \"cutter {word}\" was marked again \
                 marks are taken as set.",
                lasting(until_s - mark_s),
                word = if said { "out" } else { "in" },
            ),
        ),
        Fault::OutMissing if doubt.rows.is_empty() => (
            "out_missing",
            "no \"cutter out\" comes before this mark \"cutter in\", and drag does not show when wheels went out. All strokes \
             over the interval before it count as cutting."
                .to_owned(),
        ),
        Fault::OutMissing => (
            "out_missing",
            format!(
                "no \"cutter out\" comes before this mark \"cutter in\": {} before it drag rose as it does when wheels go into \
                 the wall. The strokes from then on count as cutting, those before as running free.",
                lasting(mark_s - from_s)
            ),
        ),
    };
    Some(MarkDoubt {
        kind: kind.to_owned(),
        mark_s,
        from_s,
        until_s,
        message,
    })
}

fn lasting(seconds: f64) -> String {
    if seconds < 100.0 {
        format!("{:.0} s", seconds.max(0.0))
    } else {
        format!("{:.0} min", seconds / 60.0)
    }
}
