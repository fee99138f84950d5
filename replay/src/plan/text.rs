//! The plan in words and tables that fit a terminal.

use super::Plan;
use super::choices::Choice;
use super::line::LineLeft;
use super::stretches::Stretch;
use crate::other_wheels;
use crate::units_shown::{Units, duration, times};
use crate::wrapped::{labelled, sentence};
use kerfwatch::job::Job;
use std::fmt::Write as _;

/// Less than a bin is nothing, m.
const NOTHING_M: f64 = 0.05;

/// What is said before the tables, each with its label; without one it goes on with the same.
pub(super) fn facts(plan: &Plan, coming: &Job, units: Units) -> Vec<(&'static str, String)> {
    let (depth, whole) = (units.depth(), &plan.whole);
    let after = plan.folders.join(", ");
    let mut facts = vec![("Plan", format!("well {}, after {after}", plan.well))];
    let told_m = whole.length_m - whole.split_m;
    let unsure_m = whole.split_m - whole.surely_split_m;
    let mut left = format!(
        "{} of {} not taken as split",
        depth.show(told_m),
        depth.show(whole.length_m)
    );
    if unsure_m >= NOTHING_M {
        let _ = write!(
            left,
            ", another {} not surely (below 90 %)",
            depth.show(unsure_m)
        );
    }
    facts.push(("Left", left));
    let force = units.force().show(coming.cutter.radial_force.si());
    let wheels = wheels(plan.stroke_counts);
    facts.push((
        "Wheels",
        format!("{} at {force}: {wheels}", coming.cutter.wheels),
    ));
    facts.extend(other_wheels::told(&plan.other_wheels).map(|told| ("", told)));
    facts.extend(plan.with_fresh_wheels.as_ref().map(|fresh| {
        let (half, most) = (cell(fresh.strokes_p50, 0), cell(fresh.strokes_p90, 0));
        let told = format!("with wheels as before that: {half} strokes, {most} with 90 %");
        ("", told)
    }));
    facts.push((
        "Pace",
        format!(
            "{}, {} at each turn, as in the strokes so far; trips and rigging up come on top",
            units.speed().show(plan.speed_m_s),
            duration(plan.turn_s)
        ),
    ));
    facts.extend(plan.warnings.iter().map(|told| ("Mind", told.clone())));
    facts
}

/// What the figures rest on.
pub(super) const RESTS_ON: &str = "Strokes until the last place is split: even chance, then with 90 % probability. Metal, \
     friction and line as the runs showed them; wheels as in their last strokes but for what the job has otherwise, and no \
     wear to come.";
pub(super) const OPEN: &str = "open: not surely split; strokes that turn there go over all of it";
pub(super) const CHOICES: &str = "pull: highest line tension of strokes up in this groove as it is; margin: of it below the \
     limit in force at the bottom; down: what is left of the tool's weight to go down against the drag of a stroke";

pub(super) fn text(plan: &Plan, coming: &Job, units: Units) -> String {
    let facts = facts(plan, coming, units);
    let lines = facts.iter().map(|(label, told)| labelled(label, told));
    let mut text = lines.collect::<Vec<String>>().join("\n");
    text.push('\n');
    stretches(&mut text, plan, units);
    choices(&mut text, plan, units);
    if let Some(line) = &plan.line {
        let _ = writeln!(text, "\n{}", labelled("Line", &line_told(line, units)));
    } else {
        text.push_str("\nLine        no sheaves in the job: bending is not counted\n");
    }
    let _ = writeln!(
        text,
        "\n{}",
        sentence(&format!(
            "{RESTS_ON} An aid: limits of line and tool, procedures and rules of the site go first."
        ))
    );
    text
}

fn wheels(counts: f64) -> String {
    if (counts - 1.0).abs() < 0.005 {
        "as in the last strokes".to_owned()
    } else {
        format!("a stroke counts {counts:.2} of one of the last run")
    }
}

/// "12", "unknown"
fn cell(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "unknown".to_owned(), |v| format!("{v:.decimals$}"))
}

/// Heads of the table of stretches.
pub(super) fn stretch_head(units: Units) -> [String; 8] {
    let (depth, groove) = (units.depth().unit, units.groove().unit);
    [
        format!("turn at {depth}"),
        "open".into(),
        format!("mean {groove}"),
        format!("least {groove}"),
        "strokes".into(),
        "90 %".into(),
        "hours".into(),
        "90 %".into(),
    ]
}

/// Its rows: the stretches, unless one is all, and all in one at the end.
pub(super) fn stretch_rows(plan: &Plan, units: Units) -> Vec<[String; 8]> {
    let (depth, groove) = (units.depth(), units.groove());
    let is_whole = |s: &&Stretch| (s.top_m, s.bottom_m) == (plan.whole.top_m, plan.whole.bottom_m);
    let parts = plan.stretches.iter().filter(|s| !is_whole(s));
    let row = |s: &Stretch| {
        [
            format!("{}-{}", depth.bare(s.top_m), depth.bare(s.bottom_m)),
            depth.bare(s.length_m - s.surely_split_m),
            groove.bare(s.mean_mm),
            groove.bare(s.least_mm),
            cell(s.strokes_p50, 0),
            cell(s.strokes_p90, 0),
            cell(s.hours_p50, 1),
            cell(s.hours_p90, 1),
        ]
    };
    parts.chain([&plan.whole]).map(row).collect()
}

fn stretches(text: &mut String, plan: &Plan, units: Units) {
    let line = |row: &[String; 8]| {
        let [place, open, mean, least, strokes, most, hours, longest] = row;
        format!(
            "{place:>21} {open:>6} {mean:>10} {least:>10} {strokes:>8} {most:>8} {hours:>7} {longest:>7}"
        )
    };
    let _ = writeln!(text, "\n{}", line(&stretch_head(units)));
    let rows: Vec<String> = stretch_rows(plan, units).iter().map(line).collect();
    let _ = writeln!(text, "{}  all in one", rows.join("\n"));
    let wall = units.groove().show(plan.whole.wall_mm);
    let _ = writeln!(text, "{OPEN}; wall {wall} nominal");
    if let Some(words) = in_parts(plan) {
        let _ = writeln!(text, "{words}");
    }
}

/// What is gained by working on the open stretches only; `None` where that is little.
pub(super) fn in_parts(plan: &Plan) -> Option<String> {
    let hours = plan.stretches.iter().map(|s| s.hours_p50);
    let (parts, whole) = (hours.sum::<Option<f64>>()?, plan.whole.hours_p50?);
    (!plan.stretches.is_empty() && parts < 0.9 * whole).then(|| {
        format!(
            "Stretch by stretch the strokes take about {parts:.1} hours, over the whole interval {whole:.1}."
        )
    })
}

/// Heads of the table of wheels.
pub(super) const CHOICE_HEAD: [&str; 9] = [
    "wheels", "force", "strokes", "90 %", "hours", "90 %", "pull", "margin", "down",
];

/// A row of it.
pub(super) fn choice_row(c: &Choice, units: Units) -> [String; 9] {
    let force = units.force();
    let newtons = |n: Option<f64>| n.map_or_else(|| "unknown".to_owned(), |n| force.bare(n));
    [
        c.wheels.to_string(),
        force.bare(c.radial_force_n),
        cell(c.strokes_p50, 0),
        cell(c.strokes_p90, 0),
        cell(c.hours_p50, 1),
        cell(c.hours_p90, 1),
        newtons(c.pull_n),
        newtons(c.margin_n),
        force.bare(c.down_reserve_n),
    ]
}

/// Another choice changes something.
pub(super) fn has_choices(plan: &Plan) -> bool {
    !plan.choices.is_empty() && plan.whole.strokes_p90 != Some(0.0)
}

/// What fresh metal takes; `None` where no first strokes are known.
pub(super) fn fresh_metal(plan: &Plan, units: Units) -> Option<String> {
    let first = units.force().show(plan.first_pull_n?);
    Some(format!(
        "Over metal that is not cut yet the pull is more: the first strokes of these runs took up to {first}."
    ))
}

fn choices(text: &mut String, plan: &Plan, units: Units) {
    if !has_choices(plan) {
        return;
    }
    let line = |row: [&str; 9]| {
        let [
            wheels,
            force,
            strokes,
            most,
            hours,
            longest,
            pull,
            margin,
            down,
        ] = row;
        format!(
            "{wheels:>6} {force:>7} {strokes:>8} {most:>8} {hours:>7} {longest:>7} {pull:>7} {margin:>7} {down:>7}"
        )
    };
    let unit = units.force().unit;
    let _ = writeln!(
        text,
        "\nWheels over the whole interval, forces in {unit}\n{}",
        line(CHOICE_HEAD)
    );
    for c in &plan.choices {
        let row = choice_row(c, units);
        let own = if c.of_the_job { " *" } else { "" };
        let limits = limits(c);
        let gap = if limits.is_empty() { "" } else { "  " };
        let _ = writeln!(
            text,
            "{}{own}{gap}{limits}",
            line(row.each_ref().map(String::as_str))
        );
    }
    let _ = writeln!(text, "{}", sentence(&format!("{CHOICES}; * this job")));
    if let Some(told) = fresh_metal(plan, units) {
        let _ = writeln!(text, "{told}");
    }
}

/// What stands in the way of a choice.
pub(super) fn limits(choice: &Choice) -> &'static str {
    match (
        choice.margin_n.is_some_and(|n| n < 0.0),
        choice.down_reserve_n < 0.0,
    ) {
        (true, true) => "ABOVE THE LIMIT, too light to go down",
        (true, false) => "ABOVE THE LIMIT",
        (false, true) => "too light to go down",
        (false, false) => "",
    }
}

/// Bending so far and to come.
pub(super) fn line_told(line: &LineLeft, units: Units) -> String {
    let depth = units.depth();
    let mut told = format!(
        "strokes to come bend most {} to {} above the rope socket, {} a stroke: {} bends so far, if it is not cut back; most \
         so far {}, at {}; ",
        depth.bare(line.from_m),
        depth.show(line.to_m),
        times(line.bends_per_stroke),
        line.bends,
        line.most_bends,
        depth.show(line.most_from_m)
    );
    match (line.life_used, line.strokes_to_alarm) {
        (Some(used), Some(strokes)) => {
            let _ = write!(
                told,
                "{:.0} % of its bending life is used, alarm after {strokes:.0} more strokes",
                100.0 * used
            );
        }
        _ => told.push_str("no bending life given: bends are only counted"),
    }
    told
}
