//! What the groove estimate at one depth rests on.

use crate::failure::{Failure, Finding};
use crate::table::direction_word;
use crate::units_shown::{Units, clock};
use kerfwatch::job::{Dimension, Job, parse_quantity};
use kerfwatch::result::{GrooveBin, RunResult, Stroke};
use std::fmt::Write as _;

/// A depth with its unit; a bare number is metres.
///
/// # Errors
/// Text that is no length.
pub fn read_depth(text: &str) -> Result<f64, Failure> {
    if let Ok(metres) = text.trim().parse::<f64>()
        && metres.is_finite()
    {
        return Ok(metres);
    }
    parse_quantity(text, Dimension::Length).map_err(|problem| {
        Finding::new(
            "--explain",
            problem,
            "write a depth, e.g. --explain \"2451.3 m\"",
        )
        .into()
    })
}

/// Strokes that went over the middle of the bin.
fn over<'r>(result: &'r RunResult, bin: &GrooveBin) -> Vec<&'r Stroke> {
    let middle = 0.5 * (bin.top_m + bin.bottom_m);
    let covers = |s: &&Stroke| s.top_m <= middle && middle <= s.bottom_m;
    result.strokes.iter().filter(covers).collect()
}

/// The account in words.
///
/// # Errors
/// A depth outside the groove bins.
pub fn explain(
    job: &Job,
    result: &RunResult,
    depth_m: f64,
    units: Units,
) -> Result<String, Failure> {
    let bin = result
        .groove
        .iter()
        .find(|b| b.top_m <= depth_m && depth_m < b.bottom_m);
    let Some(bin) = bin else {
        let span = match (result.groove.first(), result.groove.last()) {
            (Some(a), Some(b)) => {
                let depth = units.depth();
                format!(
                    "between {} and {}",
                    depth.show(a.top_m),
                    depth.show(b.bottom_m)
                )
            }
            _ => "inside the interval of the job".to_owned(),
        };
        return Err(Finding::new(
            "--explain",
            format!("{} is outside the groove bins", units.depth().show(depth_m)),
            format!("give a depth {span}"),
        )
        .into());
    };
    let (mm, depth, force) = (units.groove(), units.fine_depth(), units.force());
    let mut text = String::new();
    let _ = writeln!(
        text,
        "\nWhy, at {} (bin {} to {})",
        depth.show(depth_m),
        depth.bare(bin.top_m),
        depth.show(bin.bottom_m)
    );
    let _ = writeln!(
        text,
        "  estimate    {} of {} wall; with 90 % probability {} to {}; through with {:.1} %",
        mm.bare(bin.depth_mm),
        mm.show(bin.wall_mm),
        mm.bare(bin.low_mm),
        mm.show(bin.high_mm),
        100.0 * bin.through_probability
    );
    if bin.coupling {
        let _ = writeln!(
            text,
            "  coupling    the wall is thicker here than the tubing ({} reach of the wheels)",
            mm.show(job.cutter.reach.as_millimetres())
        );
    }
    let strokes = over(result, bin);
    let pressure = job.cutter.contact_pressure.map_or_else(
        || "not given: wide prior".to_owned(),
        |p| format!("{:.2} GPa given", p.si() * 1e-9),
    );
    let _ = writeln!(
        text,
        "  prior       {} wheels of {}, contact pressure {pressure}",
        job.cutter.wheels,
        force.show(job.cutter.radial_force.si())
    );
    let work: f64 = strokes.iter().map(|s| work_per_metre(s)).sum();
    let _ = writeln!(
        text,
        "  passes      {} counted with the cutter out; {} strokes went over it",
        bin.passes,
        strokes.len()
    );
    let _ = writeln!(
        text,
        "  work        {work:.0} J per metre of groove summed over these strokes"
    );
    history(&mut text, &strokes, units);
    Ok(text)
}

/// Work of a stroke per metre over which it cut, J/m.
fn work_per_metre(stroke: &Stroke) -> f64 {
    if stroke.engaged_m > 0.0 {
        stroke.cut_work_j / stroke.engaged_m
    } else {
        0.0
    }
}

fn history(text: &mut String, strokes: &[&Stroke], units: Units) {
    if strokes.is_empty() {
        return;
    }
    let _ = writeln!(
        text,
        "  {:>6} {:>9} {:<5} {:>12} {:>10}",
        "stroke",
        "at",
        "",
        format!("drag {}", units.force().unit),
        "J/m"
    );
    // The first and the last strokes tell the story; hundreds between them do not.
    const ENDS: usize = 8;
    for (i, stroke) in strokes.iter().enumerate() {
        if strokes.len() > 2 * ENDS && i == ENDS {
            let _ = writeln!(text, "  {:>6} ({} more)", "...", strokes.len() - 2 * ENDS);
        }
        if strokes.len() > 2 * ENDS && (ENDS..strokes.len() - ENDS).contains(&i) {
            continue;
        }
        let _ = writeln!(
            text,
            "  {:>6} {:>9} {:<5} {:>12} {:>10.0}",
            stroke.n,
            clock(stroke.start_s),
            direction_word(stroke.direction),
            units.force().bare(stroke.mean_drag_n),
            work_per_metre(stroke)
        );
    }
}
