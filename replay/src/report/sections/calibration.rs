//! Calibration as used, friction and weights as found.

use super::Source;
use crate::forecast::weights::{Hang, Weights};
use crate::friction::not_learned;
use crate::report::page::Page;
use crate::report::traces::{Kind, Traces};
use kerfwatch::job::Mount;
use kerfwatch::result::Direction;

/// Calibration and friction.
pub(in crate::report) fn calibration(page: &mut Page, s: &Source<'_>) {
    let (job, units) = (s.job(), s.units);
    page.heading("Calibration and friction");
    let load = match &job.load {
        None => "readings came as line tension, already calibrated".to_owned(),
        Some(load) => {
            let mount = match load.mount {
                Mount::Deadline => "cell in the deadline".to_owned(),
                Mount::Sheave { angle } => {
                    format!(
                        "cell on a sheave, {:.1} deg between the lines",
                        angle.si().to_degrees()
                    )
                }
            };
            format!(
                "{}, tare {}, {mount}",
                units.cell_span().show(load.span.si()),
                load.tare
            )
        }
    };
    let depth = match &job.depth {
        None => "readings came as line paid out, already calibrated".to_owned(),
        Some(depth) => format!(
            "{}, zero at {}",
            units.counter_step().show(depth.metres_per_unit.si()),
            units.depth().show(depth.zero.si())
        ),
    };
    page.facts(&[
        ("Load cell", load),
        ("Depth counter", depth),
        (
            "Contact pressure",
            job.cutter.contact_pressure.map_or_else(
                || "not given; a wide range was assumed and narrowed by the data".to_owned(),
                |p| format!("{} given", units.contact_pressure().show(p.si())),
            ),
        ),
    ]);
    found(page, s);
    weights(page, s);
}

/// Friction, weight and drag as found, beside what the job said.
fn found(page: &mut Page, s: &Source<'_>) {
    let (result, job, force) = (s.result(), s.job(), s.units.force());
    page.small_heading("Found in this run");
    let two = |found: f64, believed: f64| vec![format!("{found:.3}"), format!("{believed:.3}")];
    let unlearned = not_learned(job, s.learned.as_ref());
    let friction = |found: f64, believed: f64| match unlearned {
        Some(_) => vec!["could not be learned".to_owned(), format!("{believed:.3}")],
        None => two(found, believed),
    };
    let mut rows: Vec<(&str, Vec<String>)> = vec![
        (
            "Friction of the line, pulling out",
            friction(result.friction.up, job.line.friction_up),
        ),
        (
            "Friction of the line, running in",
            friction(result.friction.down, job.line.friction_down),
        ),
    ];
    if let Some(why) = unlearned {
        let text = format!("Friction could not be learned: {why}. That of the job was used.");
        page.paragraph("note", &text);
    }
    match &s.learned {
        Some(learned) => rows.extend([
            (
                "Friction of the tool",
                match unlearned {
                    Some(_) => vec!["could not be learned".to_owned(), "-".into()],
                    None => vec![format!("{:.3}", learned.tool), "-".into()],
                },
            ),
            (
                "Weight of the tool over that of the job",
                two(learned.weight, 1.0),
            ),
            (
                "Reading of the load cell at no load",
                vec![force.show(learned.offset), force.show(0.0)],
            ),
        ]),
        None => page.paragraph(
            "note",
            "Weight of the tool could not be learned either: that of the job was used.",
        ),
    }
    if let Some((up, down)) = s.rolling_n {
        let drag = format!("{} up, {} down", force.bare(up), force.show(down));
        rows.push((
            "Drag with the wheels out that does not fall with the cut",
            vec![drag, "-".into()],
        ));
    }
    let rows: Vec<Vec<String>> = rows
        .into_iter()
        .map(|(name, cells)| std::iter::once(name.to_owned()).chain(cells).collect())
        .collect();
    page.table(&["", "Found", "In the job"], &rows, |_| false);
}

/// Mean weight in the middle of the interval while the tool ran free, beside what the job lets expect.
fn weights(page: &mut Page, s: &Source<'_>) {
    let (job, force) = (s.job(), s.units.force());
    let info = &job.info;
    let middle = 0.5 * (info.interval_top.si() + info.interval_bottom.si());
    let Ok(hang) = Hang::new(job) else { return };
    let at = hang.at(middle, 0.0, 0.0);
    type Band = fn(&Weights) -> (f64, f64, f64);
    let sides: [(&str, Direction, Band); 2] = [
        ("Pulling up", Direction::Up, |w| {
            (w.up_n, w.up_low_n, w.up_high_n)
        }),
        ("Running in", Direction::Down, |w| {
            (w.down_n, w.down_low_n, w.down_high_n)
        }),
    ];
    let rows: Vec<Vec<String>> = sides
        .into_iter()
        .filter_map(|(name, direction, band)| {
            let found = free_weight(s.traces, direction)?;
            let (expected, low, high) = band(&at);
            let within = if (low..=high).contains(&found) {
                "yes"
            } else {
                "no"
            };
            Some(vec![
                name.to_owned(),
                force.show(found),
                force.show(expected),
                format!("{} to {}", force.bare(low), force.show(high)),
                within.to_owned(),
            ])
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    let all_within = rows
        .iter()
        .all(|row| row.last().is_some_and(|w| w == "yes"));
    page.small_heading("Weights with the cutter in, middle of the interval");
    page.table(
        &[
            "",
            "Found",
            "Expected from the job",
            "Expected, 5 to 95 %",
            "Within",
        ],
        &rows,
        |_| false,
    );
    if !all_within {
        page.paragraph(
            "note",
            "Where \"Within\" says no, weight or friction lies beyond what the job leaves open, which happens by chance to one \
             weight in ten: check mass of the tool, density of the fluid, wellhead pressure, zero and span of the load \
             cell, and survey; put right what is wrong and recompute. Drag and groove rest on what was found in this run, \
             which makes up for small differences.",
        );
    }
}

/// Mean tension of free strokes over the middle third of the interval, N.
fn free_weight(traces: &Traces, direction: Direction) -> Option<f64> {
    let series = traces
        .by_depth
        .iter()
        .find(|b| b.direction == direction && b.kind == Kind::Free)?;
    let middle = series
        .means()
        .filter(|(part, _)| (0.33..0.67).contains(part));
    let values: Vec<f64> = middle.filter_map(|(_, value)| value).collect();
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
