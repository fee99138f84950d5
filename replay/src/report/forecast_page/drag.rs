//! Drag while cutting, and what the first strokes ask of the line.

use crate::forecast::Forecast;
use crate::forecast::cut::Spread;
use crate::report::page::Page;
use crate::units_shown::Units;

pub(super) fn drag(page: &mut Page, forecast: &Forecast, units: Units) {
    let force = units.force();
    page.heading("Drag while cutting");
    let spread = |s: &Spread| {
        format!(
            "{} ({} to {})",
            force.bare(s.mid),
            force.bare(s.low),
            force.bare(s.high)
        )
    };
    let rows: Vec<Vec<String>> = forecast
        .drag
        .iter()
        .map(|d| {
            vec![
                format!("{:.0} % of the wall", 100.0 * d.wall_fraction),
                spread(&d.cutting_n),
                spread(&d.rolling_n),
                spread(&d.surface_up_n),
                spread(&d.down_n),
            ]
        })
        .collect();
    let head = [
        "Groove",
        &format!("Cutting at the tool, up, {}", force.unit),
        &format!("Rolling, up, {}", force.unit),
        &format!("Rise at surface, up, {}", force.unit),
        &format!("Drag at the tool, down, {}", force.unit),
    ];
    page.table(&head, &rows, |_| false);
    let first = &forecast.first;
    page.paragraph(
        "note",
        &format!(
            "Median, and 5 to 95 % in brackets. First stroke up: {} at surface, {} below the tension \
             limit; with {:.0} % probability beyond it. Next stroke down: {} left to drive the tool; \
             with {:.0} % probability it is too light.",
            spread(&first.up_n),
            spread(&first.margin_n),
            100.0 * first.over_limit_probability,
            spread(&first.down_reserve_n),
            100.0 * first.too_light_probability
        ),
    );
}
