//! The forecast as a page.

mod choice;
mod drag;
mod joints;
mod line;
mod weights;

use super::page::Page;
use crate::forecast::{Forecast, limit_sentence};
use crate::units_shown::Units;
use choice::sweep;
use drag::drag;
use joints::joints;
use kerfwatch::job::Job;
use line::line;
use weights::weights;

/// The page.
pub fn forecast_page(job: &Job, forecast: &Forecast, units: Units) -> String {
    let depth = units.depth();
    let subtitle = format!(
        "Well {}. Interval {} to {} along hole.",
        forecast.well,
        depth.bare(forecast.interval_m.0),
        depth.show(forecast.interval_m.1)
    );
    let mut page = Page::new(&format!("Forecast: {}", forecast.job), &subtitle);
    page.paragraph(
        "lead",
        &format!(
            "{} {}",
            strokes_sentence(forecast),
            limit_sentence(forecast, units)
        ),
    );
    page.paragraph(
        "caution",
        "Caution. This forecast is an aid, not a safety function. The line maker's limits, the \
         operator's procedures, local rules and licensed practice come first.",
    );
    joints(&mut page, forecast, units);
    weights(&mut page, forecast, units);
    drag(&mut page, forecast, units);
    line(&mut page, job, forecast, units);
    sweep(&mut page, job, forecast, units);
    page.heading("Assumed");
    page.list(&forecast.assumptions);
    page.finish()
}

fn strokes_sentence(forecast: &Forecast) -> String {
    match (
        forecast.strokes.p50,
        forecast.strokes.p90,
        forecast.hours.p50,
        forecast.hours.p90,
    ) {
        (Some(a), Some(b), Some(c), Some(d)) => format!(
            "About {a:.0} strokes ({c:.1} hours) split {}; with 90 % probability it takes \
             no more than {b:.0} strokes ({d:.1} hours).",
            match forecast.joints.len() {
                1 => "the joint".to_owned(),
                2 => "both joints".to_owned(),
                n => format!("all {n} joints"),
            }
        ),
        (Some(a), ..) => format!("About {a:.0} strokes, or it never comes through."),
        _ => "This cutter does not split this tubular.".into(),
    }
}

/// "3" or "never"
fn show(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "never".to_owned(), |v| format!("{v:.decimals$}"))
}
