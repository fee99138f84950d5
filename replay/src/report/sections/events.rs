//! Stalls, slack and alarms, with close-ups.

use super::Source;
use crate::report::figures;
use crate::report::happenings::{Happening, SHORT_S};
use crate::report::page::Page;
use crate::report::scale::caption;
use crate::summary::held_lines;
use crate::units_shown::{Units, clock, counted, duration};

/// Stalls and alarms: list and close-ups.
pub(in crate::report) fn events(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    page.heading("Stalls, slack and alarms");
    let happenings = &s.traces.happenings;
    if happenings.list.is_empty() && happenings.short == 0 {
        page.paragraph("", "None.");
        return;
    }
    let rows: Vec<Vec<String>> = happenings.list.iter().map(|h| row(h, units)).collect();
    if !rows.is_empty() {
        page.columns_of_words(&["Time", "What", "Lasted", "Tension"], &rows);
    }
    let mut notes = Vec::new();
    if !result.alarms.is_empty() {
        notes.push(
            "In brackets: priority of the alarm. It lasts from its raising until its cause is gone."
                .to_owned(),
        );
    }
    // Without a table the places are all there is, and leave out none.
    if happenings.short > 0 && !rows.is_empty() {
        notes.push(left_out_of_table(happenings.short));
    }
    if happenings.more > 0 {
        notes.push(format!(
            "Not in this table: {}; the JSON of recompute holds all.",
            counted(happenings.more, "later event", "later events")
        ));
    }
    if !notes.is_empty() {
        page.paragraph("note", &notes.join(" "));
    }
    let held = held_lines(result, units);
    if !held.is_empty() {
        page.small_heading("Where the tool hung");
        page.list(&held);
    }
    let limit = s.job().alarm.tension_limit.map(|n| n.si());
    let close: Vec<(String, String)> = s
        .traces
        .close_ups
        .iter()
        .map(|c| {
            let words = format!(
                "{}. Solid: tension. Dashed: line paid out, {} from highest to lowest; deeper is \
                 lower. Shaded: the event.",
                crate::summary::capital(&c.title),
                units.fine_depth().show(c.line_moved_m())
            );
            let svg = figures::close_up(c, limit, units);
            let words = caption(&svg, &words);
            (svg, words)
        })
        .collect();
    if !close.is_empty() {
        page.small_heading("Close-ups");
        page.pair(&close);
    }
    if s.traces.not_shown > 0 {
        page.paragraph(
            "note",
            &format!(
                "Not drawn: {}.",
                counted(s.traces.not_shown, "lesser event", "lesser events")
            ),
        );
    }
}

/// Short stalls and slacks are in no row of the table, but among the places where the tool hung, which tell all.
fn left_out_of_table(short: usize) -> String {
    format!(
        "Not in this table but below, where the tool hung: {} shorter than {SHORT_S:.0} s.",
        counted(short, "stall or slack", "stalls or slacks")
    )
}

/// When, what, how long, and the tension that matters.
fn row(happening: &Happening, units: Units) -> Vec<String> {
    let lasted = happening.end_s.map_or_else(
        || "to the end".into(),
        |end| match end - happening.start_s {
            short if short < 0.05 => "under 0.1 s".into(),
            lasted => duration(lasted),
        },
    );
    let force = units.force();
    let tension = match (happening.told, happening.tension.some()) {
        (Some(told), _) => format!("{} {}", told.word, force.show(told.tension_n)),
        (None, Some(t)) if happening.lowest => format!("lowest reading {}", force.show(t.low)),
        (None, Some(t)) => format!("highest reading {}", force.show(t.high)),
        (None, None) => "-".into(),
    };
    vec![
        clock(happening.start_s),
        happening.title.clone(),
        lasted,
        tension,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::{Interval, State};

    #[test]
    fn a_short_stall_is_told_below_the_table_and_said_to_be() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.intervals = vec![Interval {
            state: State::Stalled,
            start_s: 377.0,
            end_s: 377.8,
            depth_m: Some(593.1),
        }];
        let found = crate::report::happenings::Happenings::new(&result);
        assert_eq!((found.list.len(), found.short), (0, 1));
        let held = held_lines(&result, Units::Metric);
        assert_eq!(held, ["stall at 593.1 m, 0.8 s, from 0:06:17, going up"]);
        assert_eq!(
            left_out_of_table(1),
            "Not in this table but below, where the tool hung: 1 stall or slack shorter than 2 s."
        );
    }
}
