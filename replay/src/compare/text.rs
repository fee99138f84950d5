//! The comparison for a terminal.

use super::{Comparison, Side};
use crate::units_shown::{Units, duration};
use std::fmt::Write as _;

pub(super) fn text(comparison: &Comparison, units: Units) -> String {
    let mut text = String::new();
    for (i, side) in comparison.sides.iter().enumerate() {
        let _ = writeln!(text, "{}  {}  (run {})", letter(i), side.label, side.run);
    }
    text.push('\n');
    for (name, cells) in rows(comparison, units) {
        let _ = write!(text, "{name:<22}");
        for cell in cells {
            let _ = write!(text, " {cell:>16}");
        }
        text.push('\n');
    }
    differences(&mut text, comparison, units);
    let verdict = if comparison.same {
        "The results are the same."
    } else {
        "The results differ."
    };
    let _ = writeln!(text, "\n{verdict}");
    text
}

/// A, B, C, ...
pub(super) fn letter(i: usize) -> String {
    u8::try_from(i)
        .ok()
        .filter(|i| *i < 26)
        .map_or_else(|| (i + 1).to_string(), |i| char::from(b'A' + i).to_string())
}

/// Name and one cell per side.
pub(super) fn rows(comparison: &Comparison, units: Units) -> Vec<(&'static str, Vec<String>)> {
    let each = |show: &dyn Fn(&Side) -> String| comparison.sides.iter().map(show).collect();
    vec![
        ("", (0..comparison.sides.len()).map(letter).collect()),
        (
            "Strokes up, down",
            each(&|s| format!("{}, {}", s.strokes_up, s.strokes_down)),
        ),
        ("Time cutting", each(&|s| duration(s.cutting_s))),
        ("Stalls", each(&|s| s.stalls.to_string())),
        ("Alarms", each(&|s| s.alarms.to_string())),
        ("Work on the groove", each(&|s| units.work().show(s.work_j))),
        (
            "Highest tension",
            each(&|s| units.force().show(s.peak_tension_n)),
        ),
        ("Taken as split", each(&|s| units.depth().show(s.split_m))),
        (
            "Mean groove",
            each(&|s| {
                s.mean_depth_mm
                    .map_or_else(|| "-".into(), |d| units.groove().show(d))
            }),
        ),
    ]
}

/// Groove difference to the first, by metre (3 ft) steps at most 30 rows.
fn differences(text: &mut String, comparison: &Comparison, units: Units) {
    if comparison.groove.is_empty() || comparison.same {
        return;
    }
    let (depth, mm) = (units.depth(), units.groove());
    let step = comparison.groove.len().div_ceil(30);
    let _ = writeln!(
        text,
        "\nGroove less that of A, {}, mean over each stretch",
        mm.unit
    );
    for part in comparison.groove.chunks(step) {
        let (Some(first), Some(last)) = (part.first(), part.last()) else {
            continue;
        };
        let span = format!("{}-{}", depth.bare(first.top_m), depth.bare(last.bottom_m));
        let _ = write!(text, "{span:>22}");
        for side in 0..comparison.sides.len() {
            let values: Vec<f64> = part
                .iter()
                .filter(|row| !row.coupling)
                .filter_map(|row| row.difference_mm[side])
                .collect();
            let cell = if values.is_empty() {
                "-".to_owned()
            } else {
                mm.bare(values.iter().sum::<f64>() / values.len() as f64)
            };
            let _ = write!(text, " {cell:>16}");
        }
        text.push('\n');
    }
}
