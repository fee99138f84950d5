//! The comparison as a page.

use super::text::{joint_head, joint_rows, letter, rows};
use super::{BinRow, Comparison, NOTHING_IN_COMMON};
use crate::report::page::Page;
use crate::report::svg::{Axis, Chart};
use crate::units_shown::{Scale, Units};
use kerfwatch::result::RunResult;

/// Line styles of the sides; more than four cannot be told apart.
const CLASSES: [&str; 4] = ["main", "second", "third", "fourth"];
const STYLES: [&str; 4] = ["solid dark", "dashed", "solid grey", "dotted"];

pub(super) fn page(
    comparison: &Comparison,
    results: &[(String, RunResult)],
    units: Units,
) -> String {
    let mut page = Page::new("Comparison of results", "Everything is compared with A.");
    let verdict = if comparison.same {
        "The results are the same."
    } else {
        "The results differ."
    };
    page.paragraph("lead", verdict);
    page.list(comparison.sides.iter().enumerate().map(|(i, side)| {
        let style = STYLES.get(i).map_or("not drawn", |s| s);
        format!("{}: {} (run {}), {style}", letter(i), side.label, side.run)
    }));
    let mut table = rows(comparison, units).into_iter();
    let head: Vec<String> = table.next().map(|r| r.1).unwrap_or_default();
    let head: Vec<&str> = std::iter::once("")
        .chain(head.iter().map(String::as_str))
        .collect();
    let body: Vec<Vec<String>> = table
        .map(|(name, cells)| std::iter::once(name).chain(cells).collect())
        .collect();
    page.table(&head, &body, |_| false);
    let joints: Vec<Vec<String>> = (joint_rows(comparison, units).into_iter())
        .map(|(number, cells)| std::iter::once(number).chain(cells).collect())
        .collect();
    if !joints.is_empty() {
        page.paragraph("before", &format!("{}.", joint_head(units)));
        page.table_of_words(&head, &joints);
    }
    page.paragraph(
        "note",
        "Split, by probability: each place counts by its probability of being through, couplings left out. \
         Mean groove: mean of the estimates over the interval, couplings left out.",
    );
    page.heading("Groove by depth");
    let key = key(comparison.sides.len());
    let mm = units.groove();
    let wall = results
        .first()
        .and_then(|(_, r)| r.groove.first())
        .map_or(1.0, |b| b.wall_mm);
    if let Some(svg) = by_depth(comparison, units, "groove", 0.0, 1.1 * wall, |row, i| {
        row.depth_mm[i]
    }) {
        page.figure(
            &svg,
            &format!(
                "Estimated groove depth from the inner surface, {}; nominal wall of A {}. {key}",
                mm.unit,
                mm.show(wall)
            ),
        );
    }
    if !comparison.has_common_depth() {
        page.paragraph("", NOTHING_IN_COMMON);
        return page.finish();
    }
    let most = comparison
        .groove
        .iter()
        .flat_map(|row| row.difference_mm.iter().flatten())
        .fold(0.05, |most: f64, d| most.max(d.abs()));
    if let Some(svg) = by_depth(
        comparison,
        units,
        "groove less that of A",
        -1.1 * most,
        1.1 * most,
        |row, i| row.difference_mm[i].filter(|_| i > 0),
    ) {
        page.figure(
            &svg,
            &format!(
                "Groove less that of A, {}: to the right of zero it is deeper than in A. {key}",
                mm.unit
            ),
        );
    }
    page.finish()
}

/// What the lines of the figures stand for.
fn key(sides: usize) -> String {
    let styles = STYLES.iter().take(sides).enumerate();
    let parts: Vec<String> = styles
        .map(|(i, style)| format!("{}: {style}", letter(i)))
        .collect();
    format!("{}.", parts.join("; "))
}

fn by_depth(
    comparison: &Comparison,
    units: Units,
    name: &str,
    from: f64,
    to: f64,
    value: impl Fn(&BinRow, usize) -> Option<f64>,
) -> Option<String> {
    let first = comparison.groove.first()?;
    let last = comparison.groove.last()?;
    let (mm, depth): (Scale, Scale) = (units.groove(), units.depth());
    let mut chart = Chart::new(
        800.0,
        380.0,
        Axis::new(
            format!("{name}, {}", mm.unit),
            from * mm.factor,
            to * mm.factor,
        ),
        Axis::new(
            format!("depth along hole, {}", depth.unit),
            last.bottom_m * depth.factor,
            first.top_m * depth.factor,
        ),
    );
    for (i, class) in CLASSES.iter().enumerate().take(comparison.sides.len()) {
        // One line per stretch without coupling or gap: the value is the horizontal one here.
        let open = |row: &BinRow| !row.coupling && value(row, i).is_some();
        for part in comparison.groove.chunk_by(|a, b| open(a) == open(b)) {
            if !part.first().is_some_and(open) {
                continue;
            }
            let points = part.iter().flat_map(|row| {
                let x = value(row, i).unwrap_or_default() * mm.factor;
                [row.top_m, row.bottom_m].map(|d| (x, Some(d * depth.factor)))
            });
            chart.line(class, points);
        }
    }
    Some(chart.finish(&format!("{name} against depth")))
}
