//! The plan in words and tables that fit a terminal.

use super::Plan;
use super::choices::Choice;
use super::line::LineLeft;
use super::stretches::Stretch;
use crate::other_wheels;
use crate::units_shown::{Units, duration, times};
use crate::wrapped::labelled;
use kerfwatch::job::Job;
use std::fmt::Write as _;

/// Less than a bin is nothing, m.
const NOTHING_M: f64 = 0.05;

pub(super) fn text(plan: &Plan, coming: &Job, units: Units) -> String {
    let mut lines = Vec::new();
    let mut say = |label: &str, text: &str| lines.push(labelled(label, text));
    let (depth, whole) = (units.depth(), &plan.whole);
    let after = plan.folders.join(", ");
    say("Plan", &format!("well {}, after {after}", plan.well));
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
    say("Left", &left);
    say(
        "Wheels",
        &format!(
            "{} at {}: {}",
            coming.cutter.wheels,
            units.force().show(coming.cutter.radial_force.si()),
            wheels(plan.stroke_counts)
        ),
    );
    for told in other_wheels::told(&plan.other_wheels) {
        say("", &told);
    }
    if let Some(fresh) = &plan.with_fresh_wheels {
        say(
            "",
            &format!(
                "with wheels as before that: {} strokes, {} with 90 %",
                cell(fresh.strokes_p50, 0),
                cell(fresh.strokes_p90, 0)
            ),
        );
    }
    say(
        "Pace",
        &format!(
            "{}, {} at each turn, as in the strokes so far; trips and rigging up come on top",
            units.speed().show(plan.speed_m_s),
            duration(plan.turn_s)
        ),
    );
    for warning in &plan.warnings {
        say("Mind", warning);
    }
    let mut text = lines.join("\n");
    text.push('\n');
    stretches(&mut text, plan, units);
    choices(&mut text, plan, units);
    line(&mut text, plan, units);
    text.push_str(
        "\nStrokes until the last place is split: even chance, then with 90 % probability. Metal, friction and\n\
         line as the runs showed them; wheels as in their last strokes but for what the job has otherwise,\n\
         and no wear to come. An aid: limits of line and tool, procedures and rules of the site go first.\n",
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

fn stretches(text: &mut String, plan: &Plan, units: Units) {
    let (depth, groove) = (units.depth(), units.groove());
    let _ = writeln!(
        text,
        "\n{:>21} {:>6} {:>10} {:>10} {:>8} {:>8} {:>7} {:>7}",
        format!("turn at {}", depth.unit),
        "open",
        format!("mean {}", groove.unit),
        format!("least {}", groove.unit),
        "strokes",
        "90 %",
        "hours",
        "90 %"
    );
    let mut row = |s: &Stretch, note: &str| {
        let _ = writeln!(
            text,
            "{:>21} {:>6} {:>10} {:>10} {:>8} {:>8} {:>7} {:>7}{note}",
            format!("{}-{}", depth.bare(s.top_m), depth.bare(s.bottom_m)),
            depth.bare(s.length_m - s.surely_split_m),
            groove.bare(s.mean_mm),
            groove.bare(s.least_mm),
            cell(s.strokes_p50, 0),
            cell(s.strokes_p90, 0),
            cell(s.hours_p50, 1),
            cell(s.hours_p90, 1),
        );
    };
    let is_whole = |s: &Stretch| (s.top_m, s.bottom_m) == (plan.whole.top_m, plan.whole.bottom_m);
    for stretch in plan.stretches.iter().filter(|s| !is_whole(s)) {
        row(stretch, "");
    }
    row(&plan.whole, "  all in one");
    let _ = writeln!(
        text,
        "open: not surely split; strokes that turn there go over all of it; wall {} nominal",
        groove.show(plan.whole.wall_mm)
    );
    if let Some(words) = in_parts(plan) {
        text.push_str(&words);
    }
}

/// What is gained by working on the open stretches only; `None` where that is little.
fn in_parts(plan: &Plan) -> Option<String> {
    let hours = plan.stretches.iter().map(|s| s.hours_p50);
    let (parts, whole) = (hours.sum::<Option<f64>>()?, plan.whole.hours_p50?);
    (!plan.stretches.is_empty() && parts < 0.9 * whole).then(|| {
        format!(
            "Stretch by stretch the strokes take about {parts:.1} hours, over the whole interval {whole:.1}.\n"
        )
    })
}

fn choices(text: &mut String, plan: &Plan, units: Units) {
    if plan.choices.is_empty() || plan.whole.strokes_p90 == Some(0.0) {
        return;
    }
    let force = units.force();
    let _ = writeln!(
        text,
        "\nWheels over the whole interval, forces in {}\n{:>6} {:>7} {:>8} {:>8} {:>7} {:>7} {:>7} {:>7} {:>7}",
        force.unit, "wheels", "force", "strokes", "90 %", "hours", "90 %", "pull", "margin", "down"
    );
    for c in &plan.choices {
        let newtons = |n: Option<f64>| n.map_or_else(|| "unknown".to_owned(), |n| force.bare(n));
        let _ = writeln!(
            text,
            "{:>6} {:>7} {:>8} {:>8} {:>7} {:>7} {:>7} {:>7} {:>7}{}{}",
            c.wheels,
            force.bare(c.radial_force_n),
            cell(c.strokes_p50, 0),
            cell(c.strokes_p90, 0),
            cell(c.hours_p50, 1),
            cell(c.hours_p90, 1),
            newtons(c.pull_n),
            newtons(c.margin_n),
            force.bare(c.down_reserve_n),
            if c.of_the_job { " *" } else { "" },
            limits(c)
        );
    }
    text.push_str(
        "pull: highest line tension of strokes up in this groove as it is; margin: of it below the limit in\n\
         force at the bottom; down: what is left of the tool's weight to go down against the drag of a\n\
         stroke; * this job\n",
    );
    if let Some(first) = plan.first_pull_n {
        let _ = writeln!(
            text,
            "Over metal that is not cut yet the pull is more: the first strokes of these runs took up to {}.",
            force.show(first)
        );
    }
}

/// What stands in the way of a choice.
fn limits(choice: &Choice) -> &'static str {
    match (
        choice.margin_n.is_some_and(|n| n < 0.0),
        choice.down_reserve_n < 0.0,
    ) {
        (true, true) => "  ABOVE THE LIMIT, too light to go down",
        (true, false) => "  ABOVE THE LIMIT",
        (false, true) => "  too light to go down",
        (false, false) => "",
    }
}

fn line(text: &mut String, plan: &Plan, units: Units) {
    let Some(line) = &plan.line else {
        text.push_str("\nLine        no sheaves in the job: bending is not counted\n");
        return;
    };
    let LineLeft {
        from_m,
        to_m,
        bends,
        bends_per_stroke,
        most_bends,
        most_from_m,
        ..
    } = line;
    let depth = units.depth();
    let mut said = format!(
        "strokes to come bend most {} to {} above the rope socket, {} a stroke: {bends} bends so far, if it is not cut \
         back; most so far {most_bends}, at {}; ",
        depth.bare(*from_m),
        depth.show(*to_m),
        times(bends_per_stroke),
        depth.show(*most_from_m)
    );
    match (line.life_used, line.strokes_to_alarm) {
        (Some(used), Some(strokes)) => {
            let _ = write!(
                said,
                "{:.0} % of its bending life is used, alarm after {strokes:.0} more strokes",
                100.0 * used
            );
        }
        _ => said.push_str("no bending life given: bends are only counted"),
    }
    let _ = writeln!(text, "\n{}", labelled("Line", &said));
}
