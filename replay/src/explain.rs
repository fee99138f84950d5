//! What the groove estimate at one depth rests on.

use crate::failure::{Failure, Finding};
use crate::other_wheels;
use crate::units_shown::{Units, clock, counted};
use kerfwatch::groove::evidence::{Evidence, StrokeEvidence};
use kerfwatch::job::{Dimension, Job, parse_quantity};
use kerfwatch::result::{Direction, GrooveBin, RunResult};
use std::fmt::Write as _;

/// Probability of splits that do not show from which it is said.
const SILENT_TOLD: f64 = 0.05;

/// Drag of flanks that is worth a line, N.
const FLANK_SHOWN_N: f64 = 10.0;

/// Drag below that of the free tool by so many times its scatter and the doubt in it is far below.
const FAR_BELOW: f64 = 3.0;
/// Part of the strokes that may be astray without a word.
const ASTRAY: f64 = 0.05;

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

/// The account in words.
///
/// # Errors
/// A depth outside the groove bins.
pub fn explain(
    job: &Job,
    result: &RunResult,
    evidence: Option<&Evidence>,
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
    if bin.coupling {
        let _ = writeln!(
            text,
            "  coupling    the wall is thicker here than the tubing ({} reach of the wheels): taken as not cut, nothing is estimated",
            mm.show(job.cutter.reach.as_millimetres())
        );
        return Ok(text);
    }
    let _ = writeln!(
        text,
        "  estimate    {} of {} wall; with 90 % probability {} to {}; through with {:.1} %",
        mm.bare(bin.depth_mm),
        mm.show(bin.wall_mm),
        mm.bare(bin.low_mm),
        mm.show(bin.high_mm),
        100.0 * bin.through_probability
    );
    let pressure = job.cutter.contact_pressure.map_or_else(
        || "not given: wide prior".to_owned(),
        |p| format!("{} given", units.contact_pressure().show(p.si())),
    );
    let _ = writeln!(
        text,
        "  prior       {} of {}, contact pressure {pressure}",
        counted(job.cutter.wheels as usize, "wheel", "wheels"),
        force.show(job.cutter.radial_force.si())
    );
    match evidence {
        Some(evidence) => rests_on(&mut text, evidence, bin, job.cutter.wheels, units),
        None => {
            text.push_str("  seen        nothing was cut yet: the estimate is the prior alone\n")
        }
    }
    Ok(text)
}

/// Ends of a 90 % interval around `middle` for a standard deviation of its logarithm.
fn around(middle: f64, ln_sd: f64) -> String {
    let spread = (1.645 * ln_sd).exp();
    format!(
        "{middle:.0} (90 %: {:.0} to {:.0})",
        middle / spread,
        middle * spread
    )
}

fn rests_on(text: &mut String, e: &Evidence, bin: &GrooveBin, wheels: u32, units: Units) {
    let force = units.force();
    let passes = e.strokes.last().map_or(0.0, |last| last.passes_after);
    let _ = writeln!(
        text,
        "              by this alone the wall splits after {} wheel passes",
        around(e.passes_expected, e.ln_passes_sd.0)
    );
    let _ = writeln!(
        text,
        "  this run    with the drag and the splits of all places: after {} wheel passes",
        around(e.passes_found, e.ln_passes_sd.1)
    );
    let _ = writeln!(
        text,
        "  passes      {} with the cutter out, {}; one down counts {:.2} of one up",
        counted(bin.passes as usize, "stroke", "strokes"),
        counted(passes.round() as usize, "wheel pass", "wheel passes"),
        e.bite_down
    );
    if let Some(from) = e.rolls_down_from {
        let _ = writeln!(
            text,
            "  going down  from stroke {from} on the wheels only roll: drag no longer falls that way as it does going up"
        );
    }
    for wheels in other_wheels::told(&e.other_wheels) {
        let _ = writeln!(text, "  wheels      {wheels}");
    }
    let work: f64 = e.strokes.iter().filter_map(cutting).sum();
    let _ = writeln!(
        text,
        "  work        {} of groove, summed over the strokes with drag",
        units.work_along().show(work)
    );
    let _ = writeln!(
        text,
        "  free drag   {} up, {} down, give or take {}; one stroke here scatters by {}",
        force.show(e.base_n.0),
        force.show(e.base_n.1),
        force.show(e.base_sd_n),
        force.show(e.noise_n)
    );
    let _ = writeln!(
        text,
        "  cutting     {} for each unit of x^2 that a stroke adds (job: {}), x being groove depth without unit; the wheels \
         lose {:.0} % of their bite by full wall",
        force.show(e.amplitude_n.1),
        force.show(e.amplitude_n.0),
        100.0 * e.fade
    );
    let _ = writeln!(
        text,
        "  expected    {} (x^2 after the stroke less x^2 before): from x = 0 on each of its passes ({wheels} up, {:.2} down) \
         adds p to x, where sqrt(p) (x + 2p/3) = 1 - {:.2} x/x_wall, x_wall being x after {:.0} passes",
        force.show(e.amplitude_n.1),
        e.bite_down * f64::from(wheels),
        e.fade,
        e.passes_found
    );
    if e.flank_n.abs() >= FLANK_SHOWN_N {
        let _ = writeln!(
            text,
            "  flanks      {} more with the groove as deep as the wall: drag stops falling although nothing is split",
            force.show(e.flank_n)
        );
    }
    if e.near_coupling {
        text.push_str(
            "  coupling    too near for drag to be used: neighbours and passes alone speak\n",
        );
    }
    if let Some(remark) = not_understood(e, units) {
        let _ = writeln!(text, "  mind        {remark}");
    }
    history(text, &e.strokes, units);
    split_evidence(text, e, units);
}

/// Cutting drag of a stroke, N; work in J per metre at the same time.
fn cutting(stroke: &StrokeEvidence) -> Option<f64> {
    stroke.drag_n.map(|drag| drag - stroke.free_n)
}

/// Where strokes drag far less than the tool with its wheels in: no groove explains that.
fn not_understood(e: &Evidence, units: Units) -> Option<String> {
    let doubt = FAR_BELOW * (e.noise_n + e.base_sd_n);
    let seen: Vec<f64> = e.strokes.iter().filter_map(cutting).collect();
    let below: Vec<f64> = seen.iter().copied().filter(|c| *c < -doubt).collect();
    if below.len() as f64 <= ASTRAY * seen.len() as f64 {
        return None;
    }
    let least = below.iter().copied().fold(0.0, f64::min);
    Some(format!(
        "in {} of {} with data drag is far below that of the free tool, by up to {}: this place's drag is not understood, \
         and an estimate that rests on it may be wrong",
        below.len(),
        counted(seen.len(), "stroke", "strokes"),
        units.force().show(-least)
    ))
}

/// A line of a long table, or how many of them are left out at this place.
enum Shown<'a, T> {
    Line(&'a T),
    LeftOut(usize),
}

/// The first and the last tell the story; hundreds between them do not.
fn ends<T>(all: &[T]) -> impl Iterator<Item = Shown<'_, T>> {
    const ENDS: usize = 8;
    // A line that says that one is left out saves nothing.
    let left_out = match all.len().saturating_sub(2 * ENDS) {
        1 => 0,
        more => more,
    };
    let (first, rest) = all.split_at(if left_out > 0 { ENDS } else { all.len() });
    let gap = (left_out > 0).then_some(Shown::LeftOut(left_out));
    let last = rest.get(left_out..).unwrap_or_default();
    (first.iter().map(Shown::Line))
        .chain(gap)
        .chain(last.iter().map(Shown::Line))
}

fn history(text: &mut String, strokes: &[StrokeEvidence], units: Units) {
    let force = units.force();
    let _ = writeln!(
        text,
        "  {:>6} {:>9} {:<5} {:>8} {:>9} {:>9} {:>9} {:>9}  in {}",
        "stroke", "at", "", "passes", "drag", "free", "cutting", "expected", force.unit
    );
    for shown in ends(strokes) {
        let s = match shown {
            Shown::Line(s) => s,
            Shown::LeftOut(n) => {
                let _ = writeln!(text, "  {:>6} {n} strokes between are left out", "...");
                continue;
            }
        };
        let bare = |value: Option<f64>| value.map_or("no data".to_owned(), |v| force.bare(v));
        let direction = if s.up { Direction::Up } else { Direction::Down };
        let _ = writeln!(
            text,
            "  {:>6} {:>9} {:<5} {:>8.1} {:>9} {:>9} {:>9} {:>9}",
            s.n,
            clock(s.start_s),
            direction.word(),
            s.passes_before,
            bare(s.drag_n),
            force.bare(s.free_n),
            bare(cutting(s)),
            force.bare(s.cutting_expected_n)
        );
    }
}

fn split_evidence(text: &mut String, e: &Evidence, units: Units) {
    text.push_str(
        "  Is it split? Part of the expected cutting drag that was there, and the belief after it:\n",
    );
    for shown in ends(&e.windows) {
        let w = match shown {
            Shown::Line(w) => w,
            Shown::LeftOut(n) => {
                let _ = writeln!(text, "  ...     {n} windows between are left out");
                continue;
            }
        };
        let share = if w.share_sd.is_finite() {
            format!("{:.2} +- {:.2}", w.share, w.share_sd)
        } else {
            "no data".to_owned()
        };
        let _ = writeln!(
            text,
            "  strokes {:>5} to {:<5} {share:>15}   split with {:>5.1} %",
            w.rows.0 + 1,
            w.rows.1,
            100.0 * w.probability
        );
    }
    let _ = writeln!(
        text,
        "  (neighbours within the {} over which the wheels are spread are weighed with it)",
        units.depth().show(e.wheel_span_m)
    );
    if e.silent_splits > SILENT_TOLD {
        let _ = writeln!(
            text,
            "  (that splits do not show in the drag of this well: {:.0} %; to that extent passes alone speak)",
            100.0 * e.silent_splits
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_job_is_explained_without_metric_units() {
        let stroke = StrokeEvidence {
            n: 1,
            start_s: 10.0,
            up: true,
            passes_before: 2.0,
            passes_after: 5.0,
            drag_n: Some(744.822_161_5),
            free_n: 300.0,
            cutting_expected_n: 400.0,
        };
        let evidence = Evidence {
            bin: 0,
            passes_expected: 100.0,
            passes_found: 100.0,
            ln_passes_sd: (0.1, 0.1),
            amplitude_n: (400.0, 400.0),
            base_n: (300.0, 300.0),
            base_sd_n: 10.0,
            bite_down: 0.5,
            rolls_down_from: None,
            other_wheels: Vec::new(),
            fade: 0.1,
            flank_n: 0.0,
            noise_n: 20.0,
            wheel_span_m: 0.3048,
            silent_splits: 0.0,
            near_coupling: false,
            strokes: vec![stroke],
            windows: Vec::new(),
        };
        let bin = GrooveBin {
            top_m: 600.0,
            bottom_m: 600.1,
            depth_mm: 2.0,
            low_mm: 1.0,
            high_mm: 3.0,
            wall_mm: 5.5,
            passes: 1,
            through: false,
            through_probability: 0.0,
            coupling: false,
        };
        let mut text = String::new();
        rests_on(&mut text, &evidence, &bin, 3, Units::Field);
        assert!(
            text.contains("each of its passes (3 up, 1.50 down) adds p to x, where sqrt(p) (x + 2p/3) = 1 - 0.10 x/x_wall"),
            "{text}"
        );
        assert!(!text.contains("not understood"), "{text}");
        let mut astray = evidence.clone();
        astray.strokes[0].drag_n = Some(-87.0);
        let remark = not_understood(&astray, Units::Metric).unwrap();
        assert!(
            remark.starts_with(
                "in 1 of 1 stroke with data drag is far below that of the free tool, by up to 387 N"
            ),
            "{remark}"
        );
        // Two before the only stroke, and three of its own.
        assert!(
            text.contains("1 stroke with the cutter out, 5 wheel passes;"),
            "{text}"
        );
        assert!(text.contains("100 ft lbf per foot of groove"), "{text}");
        assert!(text.contains("within the 1.0 ft over"), "{text}");
        for metric in [" N", " m ", " J ", "metre"] {
            assert!(!text.contains(metric), "`{metric}` in\n{text}");
        }
    }
}
