//! The record itself: what was wrong with the data, marks, what the numbers rest on.

use super::{Source, faults};
use crate::report::page::Page;
use crate::summary::{
    CORRECT_MARKS, MARKS_TURNED, leaps_of_counter, mark_in_doubt, slip_of_counter,
};
use crate::units_shown::{clock, count};
use kerfwatch::recording::{DigestState, Verification};

/// What was wrong with the data.
pub(in crate::report) fn quality(page: &mut Page, s: &Source<'_>) {
    page.heading("Data quality");
    let q = &s.result().quality;
    let v = s.verified;
    let frozen = match q.channels.as_slice() {
        [] => "not told: readings came calibrated".to_owned(),
        all => count(all.iter().map(|c| c.frozen_spells).sum()),
    };
    page.facts(&[
        ("Readings used", count(s.result().run.samples)),
        ("Frames that did not decode", count(q.bad_frames)),
        ("Silences of an instrument", count(q.gaps)),
        ("Frozen spells of an instrument", frozen),
        ("Readings too late to be used", count(q.late)),
        ("Readings out of range", count(q.out_of_range)),
        ("Single spikes set aside", count(q.spikes)),
        (
            "Leaps of the depth counter",
            leaps_of_counter(s.result(), s.units).map_or_else(
                || count(q.counter_leaps),
                |leaps| format!("{} ({leaps})", count(q.counter_leaps)),
            ),
        ),
        ("Damaged places of the recording", count(q.lost_blocks)),
        (
            "Slip of the depth counter",
            slip_of_counter(s.result(), s.units),
        ),
        ("Recording", sealed(v)),
    ]);
    if !s.done.damage.is_empty() {
        page.small_heading("Damage");
        page.list(s.done.damage.iter().take(30));
    }
    faults::by_instrument(page, s);
    faults::spells(page, s);
}

/// Files of the run against the digests written when it ended.
fn sealed(v: &Verification) -> String {
    let Some(files) = &v.digests else {
        return "the run was not finished: no digests".to_owned();
    };
    let named = |state: DigestState| -> Vec<&str> {
        let of_state = files.iter().filter(|(_, s)| *s == state);
        of_state.map(|(name, _)| name.as_str()).collect()
    };
    let right = named(DigestState::Right).len();
    let mut text = format!("{right} files as sealed at the end of the run (SHA-256)");
    for (state, word) in [
        (DigestState::Changed, "changed since"),
        (DigestState::Missing, "missing"),
        (DigestState::Added, "put beside them later, not used"),
    ] {
        let names = named(state);
        if !names.is_empty() {
            text += &format!("; {word}: {}", names.join(", "));
        }
    }
    text
}

/// What was changed against the recorded job, operator's marks.
pub(in crate::report) fn marks(page: &mut Page, s: &Source<'_>) {
    let notes = s.folder.notes();
    if !s.folder.what_if.is_empty() {
        page.heading("What-if");
        page.paragraph(
            "",
            "This report was computed with changes to the job of the record:",
        );
        page.list(&s.folder.what_if);
    }
    if notes.is_empty() {
        return;
    }
    page.heading("Marks of the operator");
    let rows: Vec<Vec<String>> = notes
        .iter()
        .map(|n| {
            vec![
                clock(n.at_s),
                crate::report::mark_text(&n.kind),
                n.author.clone(),
            ]
        })
        .collect();
    page.table_of_words(&["Time", "Mark", "By"], &rows);
    if s.marks.turned {
        page.paragraph("note", &format!("Mind: {MARKS_TURNED}."));
    }
    for doubt in &s.marks.doubts {
        page.paragraph("note", &format!("Mind: {}", mark_in_doubt(doubt)));
    }
    if !s.marks.doubts.is_empty() {
        page.paragraph("note", CORRECT_MARKS);
    }
}

/// What the numbers rest on and their limits.
pub(in crate::report) fn foundations(page: &mut Page, s: &Source<'_>) {
    page.heading("What these numbers rest on, and their limits");
    page.list([
        "Measured: line tension and line paid out, at surface. Everything else is inferred.",
        "Depth of the tool: line paid out plus the stretch of the line under its tension, with \
         temperature and pressure. A slipping measuring wheel shows only at couplings.",
        "Cutting drag: tension above what the hanging line, its friction and the free tool explain at \
         the same depth and direction. Drag that does not fall with the cut is rolling, not cutting.",
        "Groove depth: two readings of the same physics together, the number of passes and the work \
         done per metre of groove. Before the wall first gives way the common scale of both is \
         uncertain; a break-through pins it.",
        "Split is a probability. Drag that falls away and stays away is the evidence; it was not seen \
         or measured down hole.",
        "Couplings are thicker than the wheels reach and are never counted as cut.",
        "Wear of the wheels, ovality of the pipe and debris are not modelled.",
    ]);
    let id = &s.result().run.id;
    let repeat = match s.folder.what_if.is_empty() {
        true => "Anyone with the run folder can repeat it: kerfwatch-replay recompute RUN.",
        false => {
            "It is a what-if: kerfwatch-replay recompute RUN gives the result of the job on record, and repeats this \
             one only with the same --job and --set."
        }
    };
    page.paragraph(
        "note",
        &format!(
            "Recomputed from the raw recording of run {id} ({}) by kerfwatch-replay {}. {repeat}",
            if s.folder.software.is_empty() {
                "unknown program"
            } else {
                &s.folder.software
            },
            env!("CARGO_PKG_VERSION")
        ),
    );
}
