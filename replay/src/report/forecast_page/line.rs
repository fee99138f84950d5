//! Bending of the line, and where to cut it back.

use crate::forecast::{Forecast, bends};
use crate::report::page::Page;
use crate::units_shown::{Units, times};
use kerfwatch::job::Job;

pub(super) fn line(page: &mut Page, job: &Job, forecast: &Forecast, units: Units) {
    let depth = units.depth();
    page.heading("Line bending");
    let Some(worst) = bends::worst(&forecast.line.sections) else {
        page.paragraph("", "The job names no sheaves: bending cannot be foreseen.");
        return;
    };
    let bends = forecast.line.bends_p50.map_or_else(String::new, |b| {
        format!(", {b:.0} times over the median job")
    });
    let cut = match forecast.line.strokes_to_cut_back {
        Some(n) => format!(
            "After {n:.0} strokes {:.0} % of the bending life given is used.",
            100.0 * job.alarm.line_life
        ),
        None => "No bending life is given for this wire, so bends are only counted.".to_owned(),
    };
    page.paragraph(
        "",
        &format!(
            "The section {} to {} above the rope socket is bent {} in each stroke{bends}. {cut}",
            depth.bare(worst.from_m),
            depth.show(worst.to_m),
            times(worst.bends_per_stroke)
        ),
    );
    if let (Some(fresh), Some(off)) = (forecast.line.cut_back_m, forecast.line.take_off_m) {
        page.paragraph(
            "",
            &format!(
                "Where to cut back: {} is the shortest cut at the rope socket after which strokes at this interval \
                 bend only line that these strokes have not bent; the bent line is then below the sheaves, in the hole. \
                 To be rid of it altogether, {} must come off. A proposal from counts of bends: the rules of the line's \
                 owner apply.",
                depth.show(fresh),
                depth.show(off)
            ),
        );
    }
    let rows: Vec<Vec<String>> = forecast
        .line
        .sheaves
        .iter()
        .map(|s| {
            vec![
                s.name.clone(),
                format!("{:.0}", s.ratio),
                units.stress().bare(s.stress_pa),
                format!(
                    "{} up, {} down",
                    units.stress().bare(s.stress_up_pa),
                    units.stress().bare(s.stress_down_pa)
                ),
                s.cycles.map_or_else(|| "-".into(), |n| format!("{n:.0}")),
            ]
        })
        .collect();
    let head = [
        "Sheave",
        "Sheave over wire diameter",
        &format!("Elastic bending stress, {}", units.stress().unit),
        &format!("With line tension, {}", units.stress().unit),
        "Cycles to failure",
    ];
    page.table(&head, &rows, |_| false);
}
