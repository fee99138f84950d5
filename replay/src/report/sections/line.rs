//! Bending of the line, where to cut it back, and its tension cycles.

use super::Source;
use crate::cut_back::{Bent, CutBack, cut_back};
use crate::report::figures;
use crate::report::page::Page;
use crate::report::tension_cycles::CLASSES;
use crate::units_shown::{Units, times};

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
    let bent: Vec<Bent> = (result.line_wear.iter())
        .map(|w| Bent {
            from_m: w.from_m,
            to_m: w.to_m,
            bends: f64::from(w.bends),
        })
        .collect();
    if let Some(cut) = cut_back(&bent) {
        page.paragraph("", &proposal(&cut, worst.bends, units));
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

/// Where to cut back, and what then comes into use.
fn proposal(cut: &CutBack, most: u32, units: Units) -> String {
    let depth = units.depth();
    let so_far = match cut.bends {
        none if none < 0.5 => "has not been bent in this run".to_owned(),
        bends => format!("has been bent at most {} so far", times(bends)),
    };
    format!(
        "Where to cut back: {} is the shortest cut at the rope socket after which a next job like this one, at the same \
         interval, bends line that is as good as fresh where it bends the line often. That line {so_far} (the worst of \
         all {}). To be rid of all line that was bent often, {} must come off. A proposal from the bends of this run \
         alone: the rules of the line's owner apply.",
        depth.show(cut.length_m),
        times(most),
        depth.show(cut.all_m)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_is_told_with_the_bends_of_the_line_that_comes_into_use() {
        let cut = |bends| CutBack {
            length_m: 36.0,
            bends,
            all_m: 1923.0,
        };
        let text = proposal(&cut(6.0), 112, Units::Metric);
        assert!(text.starts_with("Where to cut back: 36.0 m is"), "{text}");
        assert!(
            text.contains("has been bent at most 6 times so far (the worst of all 112 times)"),
            "{text}"
        );
        assert!(text.contains("1923.0 m must come off"), "{text}");
        let text = proposal(&cut(0.0), 112, Units::Metric);
        assert!(text.contains("has not been bent in this run"), "{text}");
    }
}
