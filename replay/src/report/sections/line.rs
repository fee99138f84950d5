//! Bending of the line, where to cut it back, and its tension cycles.

use super::Source;
use crate::report::figures;
use crate::report::page::Page;
use crate::report::tension_cycles::CLASSES;
use crate::units_shown::times;
use kerfwatch::result::LineWear;

/// Bending of the line, where to cut back, and its tension cycles.
pub(in crate::report) fn line_wear(page: &mut Page, s: &Source<'_>) {
    page.heading("Line");
    bending(page, s);
    tension_cycles(page, s);
}

fn bending(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    let depth = units.depth();
    if let Some(svg) = figures::line_wear(result, units) {
        page.figure(
            &svg,
            "How often each section of the line was bent and straightened over sheaves.",
        );
    }
    let Some(worst) = result.line_wear.iter().max_by_key(|w| w.bends) else {
        page.paragraph("", "The job names no sheaves, so bends were not counted.");
        return;
    };
    let where_ = format!("{} to {}", depth.bare(worst.from_m), depth.show(worst.to_m));
    let text = match worst.life_used {
        Some(used) if used >= s.job().alarm.line_life => format!(
            "The section {where_} above the rope socket was bent {} and has used {:.0} % of \
             the bending life given for this wire: cut the line back before more work.",
            times(worst.bends),
            100.0 * used,
        ),
        Some(used) => format!(
            "The section bent most, {where_} above the rope socket, was bent {}: {:.0} % of \
             the bending life given for this wire.",
            times(worst.bends),
            100.0 * used,
        ),
        None => format!(
            "The section bent most, {where_} above the rope socket, was bent {}. No bending \
             life was given for this wire: compare with the owner's own cut-off practice.",
            times(worst.bends),
        ),
    };
    page.paragraph("", &text);
    if let Some((from, to)) = worn_run(&result.line_wear, worst.bends) {
        page.paragraph(
            "",
            &format!(
                "Where to cut back: {} cut off at the rope socket bring fresh line over the sheaves when \
                 the work goes on at this interval (the line from {} to {} has been bent at least half as \
                 often as the worst). To be rid of the worn line altogether, {} must come off.",
                depth.show(to - from),
                depth.bare(from),
                depth.show(to),
                depth.show(to)
            ),
        );
    }
    page.paragraph(
        "note",
        "A sum of bends against a life is an indication, never a safe life: corrosion and tension \
         change it by far.",
    );
}

fn tension_cycles(page: &mut Page, s: &Source<'_>) {
    let (cycles, force) = (&s.traces.cycles, s.units.force());
    if cycles.largest_n <= 0.0 {
        return;
    }
    let breaking_n = s.job().line.breaking_load.si();
    page.small_heading("Tension cycles");
    let rows: Vec<Vec<String>> = CLASSES
        .iter()
        .zip(&cycles.counts)
        .enumerate()
        .map(|(i, (low, count))| {
            let from = force.bare(low * breaking_n);
            let range = match CLASSES.get(i + 1) {
                Some(high) => format!("{from} to {}", force.bare(high * breaking_n)),
                None => format!("{from} and more"),
            };
            vec![range, format!("{:.0}", count.ceil())]
        })
        .collect();
    let head = [&*format!("Range, {}", force.unit), "Cycles"];
    page.table(&head, &rows, |_| false);
    page.paragraph(
        "note",
        &format!(
            "Rainflow count of line tension (ASTM E1049-85) for the owner of the line; the largest range was {}. Swings \
             below {:.0} % of the breaking load are left out.",
            force.show(cycles.largest_n),
            100.0 * CLASSES[0]
        ),
    );
}

/// From the first to the last section that was bent at least half as often as the worst: what stroking
/// has worn. Several sheaves make several such runs; the widest without a long gap counts.
fn worn_run(sections: &[LineWear], most: u32) -> Option<(f64, f64)> {
    const GAP_M: f64 = 3.0;
    let mut widest: Option<(f64, f64)> = None;
    let mut run: Option<(f64, f64)> = None;
    for section in sections.iter().filter(|s| 2 * s.bends >= most.max(1)) {
        let now = match run {
            Some((from, to)) if section.from_m - to <= GAP_M => (from, section.to_m),
            _ => (section.from_m, section.to_m),
        };
        run = Some(now);
        if widest.is_none_or(|w| now.1 - now.0 > w.1 - w.0) {
            widest = Some(now);
        }
    }
    widest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worn_line_is_the_widest_run_of_often_bent_sections() {
        let section = |from: f64, bends| LineWear {
            from_m: from,
            to_m: from + 1.0,
            bends,
            life_used: None,
        };
        let list = [
            section(0.0, 2),
            section(100.0, 40),
            section(101.0, 44),
            section(102.0, 10),
            section(103.0, 40),
            section(120.0, 41),
        ];
        assert_eq!(worn_run(&list, 44), Some((100.0, 104.0)));
        assert_eq!(worn_run(&[], 0), None);
    }
}
