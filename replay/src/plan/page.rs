//! The plan as a self-contained page.

use super::Plan;
use super::text::{
    CHOICE_HEAD, CHOICES, OPEN, RESTS_ON, choice_row, facts, fresh_metal, has_choices, in_parts,
    limits, line_told, stretch_head, stretch_rows,
};
use crate::report::groove_figure;
use crate::report::page::Page;
use crate::units_shown::Units;
use kerfwatch::job::Job;
use kerfwatch::result::RunResult;

pub(super) fn page(plan: &Plan, coming: &Job, result: &RunResult, units: Units) -> String {
    let subtitle = format!("Well {}. After {}.", plan.well, plan.folders.join(", "));
    let mut page = Page::new(&format!("Next run: {}", coming.info.name), &subtitle);
    page.paragraph(
        "caution",
        "Caution. This plan is an aid, not a safety function. The line maker's limits, the operator's procedures, local \
         rules and licensed practice come first.",
    );
    let facts = facts(plan, coming, units);
    let facts: Vec<(&str, String)> = facts.into_iter().skip(1).collect();
    page.facts(&facts);
    page.heading("What is left");
    if let Some(svg) = groove_figure(result, units) {
        page.figure(
            &svg,
            "Groove after these runs with its 90 % interval (band), against depth along hole. Dash-dot: nominal wall. Grey \
             bar at the right: taken as split. Hatched: coupling. Grey ground: beyond the interval.",
        );
    }
    let rows: Vec<Vec<String>> = stretch_rows(plan, units)
        .into_iter()
        .map(Vec::from)
        .collect();
    let head = stretch_head(units);
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let all = rows.len() - 1;
    page.table(&head, &rows, |i| i == all);
    let gained = in_parts(plan).map_or_else(String::new, |told| format!(" {told}"));
    page.paragraph(
        "note",
        &format!("{OPEN}. The last row is the whole interval.{gained} {RESTS_ON}"),
    );
    if has_choices(plan) {
        page.heading("Wheels over the whole interval");
        let rows: Vec<Vec<String>> = (plan.choices.iter())
            .map(|c| {
                let mut row = Vec::from(choice_row(c, units));
                row.push(limits(c).to_owned());
                row
            })
            .collect();
        let head: Vec<&str> = CHOICE_HEAD.into_iter().chain([""]).collect();
        page.table(&head, &rows, |i| plan.choices[i].of_the_job);
        let fresh = fresh_metal(plan, units).map_or_else(String::new, |told| format!(" {told}"));
        let unit = units.force().unit;
        page.paragraph(
            "note",
            &format!("Forces in {unit}; {CHOICES}.{fresh} This job stands out."),
        );
    }
    if let Some(line) = &plan.line {
        page.heading("Line");
        page.paragraph("note", &format!("The {}.", line_told(line, units)));
    }
    page.finish()
}
