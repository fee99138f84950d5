//! Strokes and hours, joint by joint.

use super::show;
use crate::forecast::Forecast;
use crate::forecast::cut::Quantiles;
use crate::report::page::Page;
use crate::units_shown::{Units, duration};

pub(super) fn joints(page: &mut Page, forecast: &Forecast, units: Units) {
    let depth = units.depth();
    page.heading("Joints");
    let rows: Vec<Vec<String>> = forecast
        .joints
        .iter()
        .enumerate()
        .map(|(i, j)| {
            let span = format!("{} to {}", depth.bare(j.top_m), depth.bare(j.bottom_m));
            row(
                format!("{}", i + 1),
                span,
                Some(&j.opens),
                &j.strokes,
                &j.hours,
            )
        })
        .chain([row(
            "all".into(),
            String::new(),
            None,
            &forecast.strokes,
            &forecast.hours,
        )])
        .collect();
    let head = [
        "Joint",
        &format!("Depth, {}", depth.unit),
        "Opens after strokes (5 to 95 %)",
        "Split after strokes (5 to 95 %)",
        "Strokes, 90 %",
        "Hours, median",
        "Hours, 90 %",
    ];
    let all = rows.len() - 1;
    page.table(&head, &rows, |i| i == all);
    page.paragraph(
        "note",
        &format!(
            "A joint opens where the wall first gives way, and is split when it has given way over the \
             whole length. In brackets: with 90 % probability between these. Strokes and hours, 90 %: with that \
             probability it takes no more. One stroke takes {} at {}.",
            duration(forecast.stroke_s),
            units.speed().show(forecast.speed_m_s)
        ),
    );
}

fn row(
    name: String,
    span: String,
    opens: Option<&Quantiles>,
    strokes: &Quantiles,
    hours: &Quantiles,
) -> Vec<String> {
    let range = |q: &Quantiles| {
        format!(
            "{} ({} to {})",
            show(q.p50, 0),
            show(q.p05, 0),
            show(q.p95, 0)
        )
    };
    vec![
        name,
        span,
        opens.map_or_else(String::new, range),
        range(strokes),
        show(strokes.p90, 0),
        show(hours.p50, 1),
        show(hours.p90, 1),
    ]
}
