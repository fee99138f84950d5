//! Stalls, slack and alarms, with close-ups.

use super::Source;
use crate::report::figures;
use crate::report::page::Page;
use crate::table::state_word;
use crate::units_shown::{clock, duration};
use kerfwatch::result::State;

/// Stalls and slacks shorter than this are only counted, s.
const SHORT_S: f64 = 2.0;

/// Stalls and alarms: list and close-ups.
pub(in crate::report) fn events(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    page.heading("Stalls, slack and alarms");
    let mut rows: Vec<(f64, Vec<String>)> = Vec::new();
    let at = |name: &str, start: f64, end: Option<f64>, peak: Option<f64>| {
        let lasted = end.map_or_else(|| "to the end".into(), |e| duration(e - start));
        let peak = peak.map_or_else(|| "-".into(), |p| units.force().show(p));
        (start, vec![clock(start), name.to_owned(), lasted, peak])
    };
    let mut short = 0;
    for i in &result.intervals {
        if !matches!(i.state, State::Stalled | State::Slack) {
            continue;
        }
        if i.end_s - i.start_s < SHORT_S {
            short += 1;
            continue;
        }
        rows.push(at(state_word(i.state), i.start_s, Some(i.end_s), None));
    }
    for a in &result.alarms {
        let name = format!("alarm: {} ({})", a.kind, a.level);
        rows.push(at(&name, a.raised_s, a.cleared_s, a.peak_n));
    }
    if rows.is_empty() && short == 0 {
        page.paragraph("", "None.");
        return;
    }
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    const SHOWN: usize = 60;
    let more = rows.len().saturating_sub(SHOWN);
    let rows: Vec<Vec<String>> = rows.into_iter().take(SHOWN).map(|r| r.1).collect();
    if !rows.is_empty() {
        page.columns_of_words(&["Time", "What", "Lasted", "Highest tension"], &rows);
    }
    let mut left_out = Vec::new();
    if short > 0 {
        left_out.push(format!(
            "{short} stalls or slacks shorter than {SHORT_S:.0} s are not listed."
        ));
    }
    if more > 0 {
        left_out.push(format!(
            "{more} later events are not listed; the JSON of recompute holds all."
        ));
    }
    if !left_out.is_empty() {
        page.paragraph("note", &left_out.join(" "));
    }
    let limit = s.job().alarm.tension_limit.map(|n| n.si());
    let close: Vec<(String, String)> = s
        .traces
        .close_ups
        .iter()
        .map(|c| {
            let caption = format!(
                "{} at {}. Solid: tension. Dashed: line paid out, {} from highest to lowest; deeper is \
                 lower. Shaded: the event.",
                crate::summary::capital(&c.title),
                clock(c.event.0),
                units.fine_depth().show(c.line_moved_m())
            );
            (figures::close_up(c, limit, units), caption)
        })
        .collect();
    if !close.is_empty() {
        page.small_heading("Close-ups");
        page.pair(&close);
    }
    if s.traces.not_shown > 0 {
        page.paragraph(
            "note",
            &format!("{} shorter events are not drawn.", s.traces.not_shown),
        );
    }
}
