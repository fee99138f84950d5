//! Whether the words of the crew's marks mean what they say.
//!
//! "Cutter out" is meant as wheels out of the body, in the wall; who means the cutter out of the groove says it the
//! other way round. Then every stroke would count for what it is not, so the drag is asked: it rises when wheels go into
//! a fresh wall, both ways at once, and only falls after.
//!
//! Nobody who means them so sets the same mark twice running: then the first was the wrong one, and from the second on all
//! are taken as said.
//!
//! *Input*: rows of the ledger with what marks say of them. *Output*: [`MarkSense`]. *Limits*: crews that mark late are
//! believed: a few strokes against many are no turned words.

use super::drag_model::median;
use super::engagement::{FREE_STROKES_MAX, drag_says_out, mean_drag};
use super::ledger::{Ledger, Row};

/// Drag of strokes said to be free beyond that of strokes said to cut, from which the words must be the other way
/// round, N.
const TURNED_MIN: f64 = 100.0;
/// Part of it that each way must show by itself.
const ONE_WAY: f64 = 0.25;
/// For one stroke on which marks and drag agree, so many on which they don't, or the other way, decide.
const AGAINST: usize = 4;
/// And at least so many.
const STROKES_MIN: usize = 3;
/// Of all strokes, one in so many may be said to cut all the same: the tool may have been tried at the end.
const FEW: usize = 10;
/// By so much, on the mean of both ways, N.
const FALL_MIN: f64 = 100.0;

/// How the words "out" and "in" of the marks are to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkSense {
    /// As they are meant here: out, wheels in the wall.
    AsSaid,
    /// The other way round.
    TurnedRound,
    /// Drag does not tell: as they are meant here.
    Untold,
}

impl MarkSense {
    /// Whether the cutter is out where a mark says so, or says that it is not.
    pub fn is_out(self, said: bool) -> bool {
        said != self.is_turned()
    }

    /// The words are the other way round.
    pub fn is_turned(self) -> bool {
        self == Self::TurnedRound
    }
}

/// What marks say of each row, out or not; before the first mark, the opposite of what it says.
pub(super) fn as_said(rows: &[Row]) -> Vec<bool> {
    let first = rows.iter().find_map(|r| r.marked_out);
    let mut now = first == Some(false);
    rows.iter()
        .map(|r| {
            now = r.marked_out.unwrap_or(now);
            now
        })
        .collect()
}

/// Asks the drag how marks are meant, and from which row on they are taken as said though those before were the other
/// way round, if the same was said again.
pub fn mark_sense(ledger: &Ledger) -> (MarkSense, Option<usize>) {
    match righted(&ledger.rows) {
        Some(from) => (MarkSense::TurnedRound, Some(from)),
        None => (asked(&ledger.rows), None),
    }
}

fn righted(rows: &[Row]) -> Option<usize> {
    let is_again = |k: &usize| rows[*k].said > 1 && rows[*k].said > rows[*k - 1].said;
    (1..rows.len())
        .filter(is_again)
        .find(|&k| asked(&rows[..k]).is_turned())
}

fn asked(rows: &[Row]) -> MarkSense {
    let Some(first) = rows.iter().position(|r| r.marked_out.is_some()) else {
        return MarkSense::Untold;
    };
    // What was made after marks that contradict each other tells nothing of how the others are meant.
    if rows[first..].iter().any(|r| r.marked_out.is_none()) {
        let since = rows[first..].iter().filter(|r| r.marked_out.is_some());
        let told: Vec<Row> = rows[..first].iter().chain(since).cloned().collect();
        return asked(&told);
    }
    let said = as_said(rows);
    let told = drag_says_out(rows);
    // How many strokes from one on marks and drag agree on, and how many not; none where drag does not tell.
    let agreed = |from: usize| {
        let drag = told.as_ref().map_or(&[][..], |told| &told.0);
        let touched =
            (from..drag.len()).filter(|&k| mean_drag(&rows[k]).is_some() && !rows[k].weight_check);
        let (same, other): (Vec<usize>, Vec<usize>) = touched.partition(|&k| said[k] == drag[k]);
        (same.len(), other.len())
    };
    // Who marks late is wrong before the first mark only, and who marks at the end, if at all, after it.
    let both @ [_, since] = [agreed(0), agreed(first)];
    let falls = match beyond(rows, &said) {
        [Some(up), Some(down)] => {
            let both = up.max(down) < -ONE_WAY * TURNED_MIN;
            both && 0.5 * (up + down) < -TURNED_MIN && since.0 <= since.1
        }
        _ => false,
    };
    let stands = |(a, b): (usize, usize)| a >= STROKES_MIN && a >= AGAINST * b;
    let rises = told.as_ref().is_some_and(|(_, rise)| *rise > TURNED_MIN);
    let against = rises && both.iter().all(|(same, other)| stands((*other, *same)));
    // Wheels that went into the wall where marks say so: whatever came after, the words are right.
    let rose = told
        .as_ref()
        .and_then(|(out, _)| out.iter().position(|out| *out));
    let rises_at_out = rose.is_some_and(|row| is_said_out(rows, row));
    if !rises_at_out && (falls || against || falls_while_in(rows, &said)) {
        MarkSense::TurnedRound
    } else if both.iter().all(|both| stands(*both)) {
        MarkSense::AsSaid
    } else {
        MarkSense::Untold
    }
}

/// The first mark that says out was set at the last stroke before a row, or at most one earlier.
fn is_said_out(rows: &[Row], row: usize) -> bool {
    let out = |r: &Row| r.marked_out == Some(true);
    let Some(first) = rows.iter().position(out).filter(|_| out(&rows[row])) else {
        return false;
    };
    let between = rows.get(first..row).unwrap_or_default();
    between.iter().filter_map(mean_drag).count() <= 1
}

/// Drag of the strokes `out` beyond that of the others, up and down, N: medians, each way by itself because errors of
/// weight and friction differ.
fn beyond(rows: &[Row], out: &[bool]) -> [Option<f64>; 2] {
    let typical = |up: bool, is_out: bool| {
        let rows = rows.iter().zip(out);
        let rows = rows.filter(|(r, out)| r.up == up && **out == is_out);
        let mut drags: Vec<f64> = rows.filter_map(|(r, _)| mean_drag(r)).collect();
        (!drags.is_empty()).then(|| median(&mut drags))
    };
    [true, false].map(|up| Some(typical(up, true)? - typical(up, false)?))
}

/// Nearly all strokes over the interval are said to be free, and yet drag falls from the first to the last both ways.
fn falls_while_in(rows: &[Row], said: &[bool]) -> bool {
    let touched = rows
        .iter()
        .zip(said)
        .filter(|(r, _)| mean_drag(r).is_some());
    let out = touched.clone().filter(|(_, said)| **said).count();
    if out * FEW > touched.clone().count() {
        return false;
    }
    let touched = touched.filter(|(_, said)| !**said);
    let fall = |up: bool| {
        let mut levels: Vec<f64> = touched
            .clone()
            .filter(|(r, _)| r.up == up)
            .filter_map(|(r, _)| mean_drag(r))
            .collect();
        let half = levels.len() / 2;
        (half > FREE_STROKES_MAX / 2)
            .then(|| levels[0].min(levels[1]) - median(&mut levels[half..]))
    };
    matches!((fall(true), fall(false)), (Some(up), Some(down)) if 0.5 * (up + down) > FALL_MIN && up.min(down) > ONE_WAY * FALL_MIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented: drag of a cut, stroke by stroke, N.
    fn cut(strokes: usize) -> impl Iterator<Item = f32> + Clone {
        (0..strokes).map(|n| 120.0 + 700.0 / (1.0 + n as f32).powf(0.7))
    }

    fn free(strokes: usize) -> impl Iterator<Item = f32> {
        (0..strokes).map(|n| if n.is_multiple_of(2) { 10.0 } else { -5.0 })
    }

    fn sense(strokes: impl Iterator<Item = (f32, Option<bool>)>) -> MarkSense {
        mark_sense(&Ledger::invented(&strokes.collect::<Vec<_>>())).0
    }

    #[test]
    fn strokes_that_drag_like_a_cut_after_in_turn_the_words() {
        for (said, sense_of) in [(true, MarkSense::AsSaid), (false, MarkSense::TurnedRound)] {
            let before = free(3).map(|drag| (drag, None));
            assert_eq!(
                sense(before.chain(cut(12).map(|drag| (drag, Some(said))))),
                sense_of
            );
        }
    }

    #[test]
    fn a_single_free_pass_and_three_strokes_are_enough() {
        let strokes = free(1)
            .map(|drag| (drag, None))
            .chain(cut(3).map(|drag| (drag, Some(false))));
        assert_eq!(sense(strokes), MarkSense::TurnedRound);
    }

    #[test]
    fn late_marks_are_believed() {
        let all: Vec<f32> = free(3).chain(cut(20)).collect();
        for seen in 13..=23 {
            let strokes = all[..seen].iter().enumerate();
            let sense = sense(strokes.map(|(k, drag)| (*drag, (k >= 12).then_some(true))));
            assert_ne!(sense, MarkSense::TurnedRound, "after {seen} strokes");
        }
    }

    #[test]
    fn a_first_mark_after_the_cut_is_believed() {
        // The drag does not come all the way back.
        let strokes = free(3).chain(cut(40)).map(|drag| (drag, None));
        let after = free(6).map(|drag| (drag + 90.0, Some(false)));
        assert_ne!(sense(strokes.chain(after)), MarkSense::TurnedRound);
    }

    #[test]
    fn a_cut_from_the_first_stroke_on_turns_the_words_too() {
        let strokes = cut(40).map(|drag| (drag, Some(false)));
        assert_eq!(sense(strokes.clone()), MarkSense::TurnedRound);
        assert_eq!(
            sense(strokes.map(|(drag, _)| (drag, Some(true)))),
            MarkSense::Untold
        );
    }

    #[test]
    fn the_same_mark_again_rights_them_and_was_none_before_they_were_turned() {
        let ledger = |first: usize, again: usize, after: usize| {
            let strokes = free(4).chain(cut(16)).chain(free(after)).enumerate();
            let strokes = strokes.map(|(k, drag)| (drag, (k >= first).then_some(false)));
            let mut ledger = Ledger::invented(&strokes.collect::<Vec<_>>());
            for (k, row) in ledger.rows.iter_mut().enumerate().skip(first) {
                row.said = if k < again { 1 } else { 2 };
            }
            ledger
        };
        // Wheels out at stroke 4 with the wrong mark, in at stroke 20 with the right one.
        let one = ledger(4, 20, 6);
        assert_eq!(mark_sense(&one), (MarkSense::TurnedRound, Some(20)));
        // Set twice before anything was cut.
        let both = ledger(1, 3, 0);
        assert_eq!(mark_sense(&both), (MarkSense::TurnedRound, None));
    }

    #[test]
    fn free_strokes_do_not() {
        assert_eq!(
            sense(free(60).map(|drag| (drag, Some(false)))),
            MarkSense::Untold
        );
    }
}
