//! What going on in place brings: deeper grooves, more split, and how long a stroke takes.
//!
//! *Input*: belief and passes by bin, and the pace of the strokes. *Output*: [`Outlook`] of a joint. *Way*: depth follows
//! the pass law; that a bin holds so far rules out the shared and local unknowns that would have split it.

use super::drag_model::{DragFit, NEVER, median};
use super::forecast::Pace;
use super::ledger::Ledger;
use super::posterior::{Belief, LAW_SD, normal_cdf};
use super::through::Through;
use crate::snapshot::Outlook;

/// Strokes ahead.
const STROKES: f64 = 10.0;
/// Last strokes that tell how long one takes.
const LAST: usize = 20;

/// Outlook of a joint that consists of the bins `members`.
pub(super) fn outlook(
    members: &[usize],
    fit: Option<&DragFit>,
    belief: &Belief,
    through: &Through,
    pace: &Pace,
    stroke_s: Option<f64>,
    wall_mm: f64,
) -> Outlook {
    let mut out = Outlook {
        stroke_s,
        ten_deepen_mm: None,
        ten_split: None,
    };
    let open: Vec<usize> = members
        .iter()
        .copied()
        .filter(|&j| through.at[j] == NEVER && through.passes[j] > 0.0)
        .collect();
    let Some(fit) = fit.filter(|_| !open.is_empty()) else {
        return out;
    };
    let (mut deeper, mut split) = (0.0, 0.0);
    for &j in &open {
        let passes = through.passes[j];
        let now = fit.law.x(passes);
        let then = fit.law.x_beyond(passes + STROKES * pace.at(passes));
        let bin = &belief.bins[j];
        deeper += bin.depth * (then / now - 1.0).max(0.0);
        let (mean, sd) = bin.reach;
        // Nobody knows the law: without that doubt walls past their time would all seem about to go.
        let sd = sd.hypot(LAW_SD);
        let holds = |x: f64| normal_cdf(-(mean + x.ln()) / sd).max(1e-9);
        split += (1.0 - bin.through) * (1.0 - holds(then) / holds(now)).clamp(0.0, 1.0);
    }
    out.ten_deepen_mm = Some(deeper / open.len() as f64 * wall_mm);
    out.ten_split = Some(split);
    out
}

/// Time from the start of a stroke with the cutter out to that of the next, s: the middle one of the last, which leaves
/// breaks out.
pub(super) fn stroke_s(ledger: &Ledger, engaged: &[bool]) -> Option<f64> {
    let cutting = ledger.rows.iter().zip(engaged).filter(|(_, out)| **out);
    let mut starts: Vec<f64> = cutting.rev().take(LAST + 1).map(|(r, _)| r.start).collect();
    starts.reverse();
    let mut took: Vec<f64> = starts.windows(2).map(|w| w[1] - w[0]).collect();
    if took.len() < 4 {
        return None;
    }
    Some(median(&mut took))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::ledger::{Bins, Row};

    /// Invented strokes that start at these times, s.
    fn ledger(starts: &[f64]) -> Ledger {
        let row = |start: &f64| Row {
            up: true,
            start: *start,
            end: start + 20.0,
            top: 100.0,
            bottom: 110.0,
            speed: 0.5,
            first: 0,
            drag: Vec::new().into(),
            marked_out: None,
            said: 0,
            weight_check: false,
            gain: 1.0,
        };
        Ledger {
            bins: Bins {
                top: 100.0,
                step: 0.1,
                count: 100,
                inside: (0, 100),
            },
            rows: starts.iter().map(row).collect(),
            cutters: Vec::new(),
        }
    }

    #[test]
    fn a_break_does_not_count_in_the_time_of_a_stroke() {
        let starts = [0.0, 30.0, 60.0, 90.0, 2000.0, 2030.0, 2060.0];
        assert_eq!(stroke_s(&ledger(&starts), &[true; 7]), Some(30.0));
    }

    #[test]
    fn the_first_strokes_do_not_tell_how_long_one_takes() {
        assert_eq!(stroke_s(&ledger(&[0.0, 30.0, 60.0]), &[true; 3]), None);
        let inside = [false, false, false, true, true];
        assert_eq!(stroke_s(&ledger(&[0.0, 1.0, 2.0, 3.0, 4.0]), &inside), None);
    }
}
