//! What was wrong with the data: counts of the run, then of each instrument, then the marks.

use super::{CORRECT_MARKS, MarksRead, NO_MARKS, mark_in_doubt};
use crate::instrument_faults;
use crate::units_shown::{count, counted};
use crate::wrapped::labelled;
use kerfwatch::result::RunResult;
use std::fmt::Write as _;

pub(super) fn data(text: &mut String, result: &RunResult, missing: &[String], marks: &MarksRead) {
    let nothing = (result.run.samples == 0).then(|| "no reading could be read".to_owned());
    let gone = match missing {
        [] => None,
        [one] => Some(format!("{one} missing")),
        [first, .., last] => Some(format!(
            "{} files missing ({first} to {last})",
            missing.len()
        )),
    };
    let q = &result.quality;
    let counts = [
        (q.bad_frames, "bad frame", "bad frames"),
        (
            q.gaps,
            "silence of an instrument",
            "silences of an instrument",
        ),
        (
            q.channels.iter().map(|c| c.frozen_spells).sum(),
            "frozen spell",
            "frozen spells",
        ),
        (q.late, "late reading", "late readings"),
        (q.out_of_range, "out of range", "out of range"),
        (q.spikes, "spike", "spikes"),
        (
            q.counter_leaps,
            "leap of the depth counter",
            "leaps of the depth counter",
        ),
        (q.lost_blocks, "damaged block", "damaged blocks"),
    ]
    .into_iter()
    .filter(|(n, ..)| *n > 0)
    .map(|(n, one, many)| format!("{} {}", count(n), if n == 1 { one } else { many }));
    let doubts = &marks.doubts;
    let doubtful = (!doubts.is_empty())
        .then(|| counted(doubts.len(), "doubtful mark", "doubtful marks") + " of the cutter");
    let turned = (marks.turned).then(|| "marks of the cutter taken the other way round".to_owned());
    let of_marks = doubtful.into_iter().chain(turned);
    let parts = nothing
        .into_iter()
        .chain(gone)
        .chain(counts)
        .chain(of_marks);
    let parts: Vec<String> = parts.collect();
    let _ = if parts.is_empty() {
        writeln!(text, "Data        nothing wrong found")
    } else {
        writeln!(text, "{}", labelled("Data", &parts.join(", ")))
    };
    for line in instrument_faults::lines(q) {
        let _ = writeln!(text, "{}", labelled("", &line));
    }
    if let Some(more) = instrument_faults::beyond_instruments(q) {
        let _ = writeln!(text, "{}", labelled("", &more));
    }
    if marks.none {
        let _ = writeln!(text, "Marks       {NO_MARKS}");
    }
    for doubt in doubts {
        let _ = writeln!(text, "{}", mark_in_doubt(doubt));
    }
    if !doubts.is_empty() {
        let _ = writeln!(text, "{CORRECT_MARKS}");
    }
}
