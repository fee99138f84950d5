//! The comparison for a terminal.

use super::{Comparison, InState, NOTHING_IN_COMMON, Side};
use crate::summary::STATES;
use crate::units_shown::{Units, duration};
use kerfwatch::result::State;
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
    joints(&mut text, comparison, units);
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
pub(super) fn rows(comparison: &Comparison, units: Units) -> Vec<(String, Vec<String>)> {
    let each = |name: &str, show: &dyn Fn(&Side) -> String| {
        let cells = comparison.sides.iter().map(show).collect();
        (name.to_owned(), cells)
    };
    let mut rows = vec![
        (
            String::new(),
            (0..comparison.sides.len()).map(letter).collect(),
        ),
        each("Strokes up, down", &|s| {
            format!("{}, {}", s.strokes_up, s.strokes_down)
        }),
    ];
    for (i, state) in STATES.into_iter().enumerate() {
        let name = format!("Time {}", state.word());
        // Strokes tell how often the tool moved; of what interrupts them, each time counts.
        let counted = matches!(state, State::Stalled | State::Slack);
        rows.push(each(&name, &|s| {
            let InState { times, time_s, .. } = s.states[i];
            match times {
                0 => "none".to_owned(),
                _ if counted => format!("{times} x, {}", duration(time_s)),
                _ => duration(time_s),
            }
        }));
    }
    rows.extend([
        each("Alarms", &|s| s.alarms.to_string()),
        each("Work on the groove", &|s| units.work().show(s.work_j)),
        each("Highest tension", &|s| units.force().show(s.peak_tension_n)),
        each("Split, by probability", &|s| units.depth().show(s.split_m)),
        each("Mean groove", &|s| {
            s.mean_depth_mm
                .map_or_else(|| "-".into(), |d| units.groove().show(d))
        }),
    ]);
    rows
}

/// What the columns of [`joint_rows`] say.
pub(super) fn joint_head(units: Units) -> String {
    format!(
        "Joints: depth in {}, part split by probability, least groove in {}, strokes left (even chance to 90 %)",
        units.depth().unit,
        units.groove().unit
    )
}

/// Number and one cell per side, joint by joint from the top: another tally has other ends.
pub(super) fn joint_rows(comparison: &Comparison, units: Units) -> Vec<(String, Vec<String>)> {
    let (depth, mm) = (units.depth(), units.groove());
    let sides = &comparison.sides;
    let most = sides.iter().map(|side| side.joints.len()).max();
    let cell = |side: &Side, i: usize| {
        side.joints.get(i).map_or_else(
            || "-".to_owned(),
            |j| {
                format!(
                    "{}-{}: {:.0} %, {}, {}",
                    depth.bare(j.joint.top_m),
                    depth.bare(j.joint.bottom_m),
                    100.0 * j.joint.split_fraction,
                    mm.bare(j.joint.min_depth_mm),
                    j.strokes_left
                )
            },
        )
    };
    (0..most.unwrap_or(0))
        .map(|i| {
            let cells = sides.iter().map(|side| cell(side, i)).collect();
            ((i + 1).to_string(), cells)
        })
        .collect()
}

fn joints(text: &mut String, comparison: &Comparison, units: Units) {
    let rows = joint_rows(comparison, units);
    if rows.is_empty() {
        return;
    }
    let _ = writeln!(text, "\n{}", joint_head(units));
    for (number, cells) in rows {
        let _ = write!(text, "{number:>4}");
        for cell in cells {
            let _ = write!(text, " {cell:>36}");
        }
        text.push('\n');
    }
}

/// Groove difference to the first, by metre (3 ft) steps at most 30 rows.
fn differences(text: &mut String, comparison: &Comparison, units: Units) {
    if comparison.groove.is_empty() || comparison.same {
        return;
    }
    if !comparison.has_common_depth() {
        let _ = writeln!(text, "\n{NOTHING_IN_COMMON}");
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
