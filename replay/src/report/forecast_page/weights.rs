//! Weights and margins by depth, as a picture and a table.

use crate::forecast::Forecast;
use crate::forecast::weights::Weights;
use crate::report::page::Page;
use crate::report::svg::{Axis, Chart};
use crate::units_shown::Units;

/// One curve's value in a row.
type Pick = fn(&Weights) -> f64;

pub(super) fn weights(page: &mut Page, forecast: &Forecast, units: Units) {
    let (depth, force, fine) = (units.depth(), units.force(), units.fine_depth());
    page.heading("Weights and margins by depth");
    let most = forecast
        .weights
        .iter()
        .map(|w| w.limit_n)
        .fold(1.0, f64::max);
    let deepest = forecast.weights.last().map_or(1.0, |w| w.depth_m);
    let mut chart = Chart::new(
        800.0,
        330.0,
        Axis::new(
            format!("line tension, {}", force.unit),
            0.0,
            1.06 * most * force.factor,
        ),
        Axis::new(
            format!("depth of the wheels, {}", depth.unit),
            deepest * depth.factor,
            0.0,
        ),
    );
    let series: [(&str, Pick); 4] = [
        ("main", |w| w.up_n),
        ("third", |w| w.static_n),
        ("second", |w| w.down_n),
        ("limit", |w| w.limit_n),
    ];
    let band = |low: Pick, high: Pick| -> Vec<(f64, f64, f64)> {
        let rows = forecast.weights.iter();
        rows.map(|w| {
            (
                w.depth_m * depth.factor,
                low(w) * force.factor,
                high(w) * force.factor,
            )
        })
        .collect()
    };
    chart.band(true, &band(|w| w.up_low_n, |w| w.up_high_n));
    chart.band(true, &band(|w| w.down_low_n, |w| w.down_high_n));
    for (class, value) in series {
        let points = forecast
            .weights
            .iter()
            .map(|w| (value(w) * force.factor, Some(w.depth_m * depth.factor)));
        chart.line(class, points);
    }
    let svg = chart.finish("Weights against depth");
    page.figure(
        &svg,
        "Line tension with the cutter in. Solid dark: pulling up. Solid grey: without friction. \
         Dashed: running in. Bands: 5 to 95 %. Dash-dot: tension limit.",
    );
    let rows: Vec<Vec<String>> = forecast
        .weights
        .iter()
        .map(|w| {
            vec![
                depth.bare(w.depth_m),
                format!(
                    "{} ({} to {})",
                    force.bare(w.up_n),
                    force.bare(w.up_low_n),
                    force.bare(w.up_high_n)
                ),
                force.bare(w.static_n),
                format!(
                    "{} ({} to {})",
                    force.bare(w.down_n),
                    force.bare(w.down_low_n),
                    force.bare(w.down_high_n)
                ),
                fine.bare(w.stretch_m),
                fine.bare(w.dead_band_m),
                force.bare(w.limit_n),
                w.limited_by.to_owned(),
                force.bare(w.overpull_margin_n),
                force.bare(w.pull_at_tool_n),
            ]
        })
        .collect();
    page.table(
        &[
            &format!("Depth, {}", depth.unit),
            &format!("Up (5 to 95 %), {}", force.unit),
            &format!("Static, {}", force.unit),
            &format!("Down (5 to 95 %), {}", force.unit),
            &format!("Stretch, {}", fine.unit),
            &format!("Dead band, {}", fine.unit),
            &format!("Limit, {}", force.unit),
            "Limited by",
            &format!("Margin over up, {}", force.unit),
            &format!("Pull left at the tool, {}", force.unit),
        ],
        &rows,
        |_| false,
    );
    page.paragraph(
        "note",
        "Up, static, down: line tension while pulling out, at rest without friction, running in; cutter \
         in. Dead band: line that moves at a reversal before the tool does, half-way through the cut. \
         Limit: highest line tension allowed there, and what sets it. Margin over up: limit less tension \
         while pulling out. Pull left at the tool: what of that margin reaches the tool.",
    );
}
