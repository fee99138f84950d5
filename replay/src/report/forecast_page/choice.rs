//! Other wheels, forces and lines beside those of the job.

use super::show;
use crate::forecast::sweep::{Choice, words};
use crate::forecast::{Forecast, GIVEN_LIMIT_SHARED};
use crate::report::page::Page;
use crate::units_shown::Units;
use kerfwatch::job::Job;

pub(super) fn sweep(page: &mut Page, job: &Job, forecast: &Forecast, units: Units) {
    let (force, wire) = (units.force(), units.diameter());
    page.heading("Choice of tool string");
    page.paragraph(
        "before",
        &format!(
            "Median and, in brackets, what it takes at most with 90 % probability. First drag: at the tool, \
             first stroke. Margin: tension limit less surface tension on the first stroke up, {}, for each \
             line size. Too light: probability that the tool does not go down after it. The row of this job \
             stands out; the limit named is that of its line.{}",
            force.unit,
            match job.alarm.tension_limit {
                Some(_) => format!(" {GIVEN_LIMIT_SHARED}"),
                None => String::new(),
            }
        ),
    );
    let lines = forecast.line_sizes_m();
    let own_line = forecast
        .sweep
        .iter()
        .find(|c| c.of_the_job)
        .map(|c| c.line_m);
    let groups: Vec<&[Choice]> = forecast.sweep.chunks(lines.len().max(1)).collect();
    let rows: Vec<Vec<String>> = groups
        .iter()
        .filter_map(|group| {
            let c = group.first()?;
            let mut row = vec![
                c.wheels.to_string(),
                force.bare(c.radial_force_n),
                format!("{} ({})", show(c.strokes.p50, 0), show(c.strokes.p90, 0)),
                format!("{} ({})", show(c.hours.p50, 1), show(c.hours.p90, 1)),
                force.bare(c.first_drag_n),
                format!("{:.0} %", 100.0 * c.too_light_probability),
            ];
            row.extend(group.iter().map(|c| force.bare(c.margin_n)));
            let own = group
                .iter()
                .find(|c| Some(c.line_m) == own_line)
                .unwrap_or(c);
            row.push(words(&own.limits));
            Some(row)
        })
        .collect();
    let mut head: Vec<String> = vec![
        "Wheels".into(),
        format!("Radial force, {}", force.unit),
        "Strokes (90 %)".into(),
        "Hours (90 %)".into(),
        format!("First drag, {}", force.unit),
        "Too light".into(),
    ];
    head.extend(
        lines
            .iter()
            .map(|d| format!("Margin, {}, {} line", force.unit, wire.show(*d))),
    );
    head.push("Limited by".into());
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    page.table(&head, &rows, |i| groups[i].iter().any(|c| c.of_the_job));
}
