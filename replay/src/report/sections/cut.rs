//! The cut: groove by depth, joints, tension, strokes.

use super::Source;
use crate::hardly_reached::hardly_reached_sentences;
use crate::report::figures;
use crate::report::page::Page;
use crate::report::scale::caption;
use crate::summary::{joint_groove, split_length, strokes_left};
use kerfwatch::result::Direction;

/// Groove figure and joint table.
pub(in crate::report) fn groove(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    let (mm, depth) = (units.groove(), units.depth());
    page.heading("Groove and joints");
    if let Some(svg) = figures::groove(result, units) {
        page.figure(
            &svg,
            "Estimated groove depth from the inner surface of the pipe (line) with its 90 % interval \
             (band), against depth along hole. Dash-dot: nominal wall. Grey bar at the right: taken as \
             split. Hatched: coupling, which the wheels do not cut. Grey ground: \
             beyond the interval.",
        );
    }
    let rows: Vec<Vec<String>> = result
        .joints
        .iter()
        .enumerate()
        .map(|(i, joint)| {
            let mut row = vec![
                format!("{}", i + 1),
                format!(
                    "{} to {}",
                    depth.bare(joint.top_m),
                    depth.bare(joint.bottom_m)
                ),
                format!("{:.0} %", 100.0 * joint.split_fraction),
            ];
            match joint_groove(result, joint) {
                Some(g) => row.extend([
                    mm.bare(g.mean_mm),
                    format!(
                        "{} ({} to {})",
                        mm.bare(g.least_mm),
                        mm.bare(g.least_low_mm),
                        mm.bare(g.least_high_mm)
                    ),
                    g.wall_left_mm.map_or_else(
                        || "none".to_owned(),
                        |(least, most)| format!("{} to {}", mm.bare(least), mm.bare(most)),
                    ),
                    format!("{} to {}", g.passes_min, g.passes_max),
                ]),
                None => row.extend(std::iter::repeat_n("-".to_owned(), 4)),
            }
            row.push(strokes_left(result, joint));
            row
        })
        .collect();
    page.table(
        &[
            "Joint",
            &format!("Depth, {}", depth.unit),
            "Split",
            &format!("Mean groove, {}", mm.unit),
            &format!("Least groove (90 %), {}", mm.unit),
            &format!("Wall left, least to most, {}", mm.unit),
            "Strokes over it",
            "Strokes left (median to 90 %)",
        ],
        &rows,
        |_| false,
    );
    page.paragraph(
        "note",
        "Split: part of the joint's length that is to be expected split, every place counted by its probability, as in \
             the length at the top of this report and as split_fraction in JSON, CSV and Parquet. \
             Least groove: the shallowest place of the joint, with the \
             interval that holds the truth with 90 % probability. Wall left: a split place has none. Strokes left: until \
             the last place of the joint is split, with even chance and with 90 % probability; also where every \
             place is taken as split one of them may still hold (then \"to be sure\").",
    );
    for sentence in hardly_reached_sentences(result, units) {
        page.paragraph("", &sentence);
    }
    let doubtful = split_length(result).doubtful;
    if doubtful > 0.0 {
        page.paragraph(
            "",
            &format!(
                "Over {} it cannot be told whether the wall is split or not (probability between \
                 10 and 90 %).",
                depth.show(doubtful)
            ),
        );
    }
}

/// Tension over time and against depth, stroke history.
pub(in crate::report) fn tension_and_strokes(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    page.heading("Tension");
    let limit = s.job().alarm.tension_limit.map(|n| n.si());
    let whole = figures::whole_run(result, s.traces, limit, units);
    let words = "Line tension over the whole run, lowest to highest reading in each column.";
    page.figure(&whole, &caption(&whole, words));
    let pair: Vec<(String, String)> =
        [(Direction::Up, "Going up"), (Direction::Down, "Going down")]
            .into_iter()
            .filter_map(|(direction, name)| {
                let svg = figures::tension_by_depth(s.traces, direction, units)?;
                let caption = format!(
                    "{name}: mean tension against depth. Solid dark: first third of the cutting \
                 strokes. Solid grey: last third. Dashed: strokes with the cutter in."
                );
                Some((svg, caption))
            })
            .collect();
    page.pair(&pair);
    page.heading("Strokes");
    if let Some(svg) = figures::strokes(result, units) {
        let words = "Work on the groove in each stroke. Dark: going up. Grey: going down.";
        page.figure(&svg, &caption(&svg, words));
    }
    if let Some(svg) = figures::drag(result, units) {
        let words = "Mean drag above the expected weight in each stroke. Dot: going up. Ring: going down. \
             Cutting drag falls as the groove deepens, and falls away where the wall gives way.";
        page.figure(&svg, &caption(&svg, words));
    }
}
