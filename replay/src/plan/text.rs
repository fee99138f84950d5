//! The plan in words and tables of 80 columns.

use super::Plan;
use super::line::LineLeft;
use super::stretches::Stretch;
use crate::units_shown::{Units, duration, times};
use kerfwatch::job::Job;
use std::fmt::Write as _;

/// Less than a bin is nothing, m.
const NOTHING_M: f64 = 0.05;

pub(super) fn text(plan: &Plan, coming: &Job, units: Units) -> String {
    let mut text = String::new();
    let (depth, whole) = (units.depth(), &plan.whole);
    let _ = writeln!(
        text,
        "Plan        well {}, after {}",
        plan.well,
        plan.runs.join(", ")
    );
    let told_m = whole.length_m - whole.split_m;
    let unsure_m = whole.split_m - whole.surely_split_m;
    let _ = writeln!(
        text,
        "Left        {} of {} not taken as split{}",
        depth.show(told_m),
        depth.show(whole.length_m),
        if unsure_m < NOTHING_M {
            String::new()
        } else {
            format!(", another {} not surely (below 90 %)", depth.show(unsure_m))
        }
    );
    let _ = writeln!(
        text,
        "Wheels      {} at {}: {}",
        coming.cutter.wheels,
        units.force().show(coming.cutter.radial_force.si()),
        wheels(plan.stroke_counts)
    );
    let _ = writeln!(
        text,
        "Pace        {}, {} at each turn, as in the strokes so far",
        units.speed().show(plan.speed_m_s),
        duration(plan.turn_s)
    );
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
    let depth = units.depth();
    let _ = writeln!(
        text,
        "\n{:>21} {:>6} {:>10} {:>9} {:>8} {:>8} {:>6} {:>6}",
        format!("turn at {}", depth.unit),
        "open",
        format!("mean {}", units.groove().unit),
        "least",
        "strokes",
        "90 %",
        "hours",
        "90 %"
    );
    let mut row = |s: &Stretch, note: &str| {
        let groove = units.groove();
        let _ = writeln!(
            text,
            "{:>21} {:>6} {:>10} {:>9} {:>8} {:>8} {:>6} {:>6}{note}",
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
    for stretch in &plan.stretches {
        row(stretch, "");
    }
    let parts = plan.stretches.len();
    row(&plan.whole, "  all in one");
    let _ = writeln!(
        text,
        "wall {} nominal",
        units.groove().show(plan.whole.wall_mm)
    );
    if let Some(words) = (parts > 0).then(|| in_parts(plan)).flatten() {
        text.push_str(&words);
    }
}

/// What is gained by working on the open stretches only; `None` where they are nearly all.
fn in_parts(plan: &Plan) -> Option<String> {
    let sum = |of: fn(&Stretch) -> Option<f64>| plan.stretches.iter().map(of).sum::<Option<f64>>();
    let (parts, whole) = (sum(|s| s.hours_p50)?, plan.whole.hours_p50?);
    (parts < 0.9 * whole).then(|| {
        format!("Stretch by stretch it takes about {parts:.1} hours, over the whole interval {whole:.1}.\n")
    })
}

fn choices(text: &mut String, plan: &Plan, units: Units) {
    if plan.choices.is_empty() || plan.whole.strokes_p90 == Some(0.0) {
        return;
    }
    let force = units.force();
    let _ = writeln!(
        text,
        "\nWheels over the whole interval, forces in {}\n{:>6} {:>7} {:>8} {:>8} {:>6} {:>9} {:>9} {:>9}",
        force.unit, "wheels", "force", "strokes", "90 %", "hours", "pull", "margin", "down"
    );
    for c in &plan.choices {
        let newtons = |n: Option<f64>| n.map_or_else(|| "unknown".to_owned(), |n| force.bare(n));
        let _ = writeln!(
            text,
            "{:>6} {:>7} {:>8} {:>8} {:>6} {:>9} {:>9} {:>9}{}",
            c.wheels,
            force.bare(c.radial_force_n),
            cell(c.strokes_p50, 0),
            cell(c.strokes_p90, 0),
            cell(c.hours_p50, 1),
            newtons(c.pull_n),
            newtons(c.margin_n),
            force.bare(c.down_reserve_n),
            if c.of_the_job { " *" } else { "" }
        );
    }
    text.push_str(
        "pull: highest line tension of the first strokes up; margin: of it below the limit in force at the\n\
         bottom; down: what is left of the tool's weight to go down against the first stroke's drag\n\
         * this job\n",
    );
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
        ..
    } = line;
    let depth = units.depth();
    let _ = writeln!(
        text,
        "\nLine        {} to {} above the rope socket: {bends} bends so far, {} a stroke, if not cut back",
        depth.bare(*from_m),
        depth.show(*to_m),
        times(bends_per_stroke)
    );
    match (line.life_used, line.strokes_to_alarm) {
        (Some(used), Some(strokes)) => {
            let _ = writeln!(
                text,
                "            {:.0} % of its bending life is used; alarm after {strokes:.0} more strokes",
                100.0 * used
            );
        }
        _ => text.push_str("            no bending life given: bends are only counted\n"),
    }
}
