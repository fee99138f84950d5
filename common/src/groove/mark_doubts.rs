//! Where the drag speaks plainly against single marks of the cutter, or for one that was forgotten.
//!
//! Wheels that go out or in change the drag at once and both ways, by all that cutting and rolling make; a groove that
//! deepens or a wall that splits changes it over many strokes. Only what stands out so far counts against what the
//! crew has said: everything else leaves a mark as it is, and so does a mark after which no stroke each way was made yet.
//! Who says the same again after strokes that were taken otherwise is believed from there on.
//!
//! *Input*: rows of the ledger with what marks say of them. *Output*: cutter out by row, and [`RowDoubt`]s for the crew.

use super::drag_model::median;
use super::engagement::{by_drag, cut_before_mark, drag_says_out, mean_drag, retracted_at_once};
use super::ledger::{Ledger, Row};
use super::mark_sense::{as_said, mark_sense};
use std::ops::Range;

/// Drag beyond that of the free tool, on the mean of both ways, that can mean wheels in the wall against a mark, N, and
/// the part of it that each way must show by itself.
const PLAIN_MIN: f64 = 80.0;
const ONE_WAY: f64 = 0.25;
/// Where it has sunk so far, N, what a fall would be is lost in the scatter, and the mark holds again.
const LOST: f64 = 40.0;
/// By this part of it drag may fall at a mark and wheels cut on: both ways together, and each by itself. The first
/// passes over a fresh wall differ by more.
const SAME: f64 = 0.2;
const SAME_ONE_WAY: f64 = 0.4;
const SAME_FIRST: f64 = 0.45;
/// Least rise after a first mark "out" that can mean that it came early, N.
const EARLY_RISE_MIN: f64 = 150.0;
/// First passes, each way.
const FIRST: usize = 2;
/// Part of it that is gone, both ways, once wheels are in.
const GONE: f64 = 0.5;
/// The same where no mark says that they are.
const GONE_UNMARKED: f64 = 0.65;

/// What is wrong with a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// A first "out" after wheels had long been in the wall.
    OutLate,
    /// An "out" long before they went there.
    OutEarly,
    /// An "in" after which they cut on.
    InEarly,
    /// No "in", though they went in.
    InMissing,
    /// An "in" with no "out" before it.
    OutMissing,
    /// One word for the other, until it was said again where it was meant.
    OtherWord,
}

/// A mark in doubt, and what was assumed instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowDoubt {
    /// What is wrong.
    pub fault: Fault,
    /// First row of which the mark in doubt says something: of a missing one, the other of the pair.
    pub mark: usize,
    /// Rows that are taken otherwise than marks say, or that no mark tells.
    pub rows: Range<usize>,
}

/// Cutter out by row, as marks say where the drag does not speak plainly against them, and what it says against them.
pub fn read_marks(ledger: &Ledger) -> (Vec<bool>, Vec<RowDoubt>) {
    let rows = &ledger.rows;
    let (sense, righted) = mark_sense(ledger);
    let as_meant = |k: usize, said: bool| match righted {
        Some(from) if k >= from => said,
        _ => sense.is_out(said),
    };
    let said = as_said(rows).into_iter().enumerate();
    let mut out: Vec<bool> = said
        .map(|(k, said)| as_meant(k, said) && !rows[k].drag.is_empty())
        .collect();
    let mut doubts = Vec::new();
    if let Some(from) = righted {
        let first = rows.iter().position(|r| r.marked_out.is_some());
        let mark = first.unwrap_or(from);
        doubts.push(RowDoubt {
            fault: Fault::OtherWord,
            mark,
            rows: mark..from,
        });
    }
    if sense.is_turned() {
        return (out, doubts);
    }
    let Some(first) = rows.iter().position(|r| r.marked_out.is_some()) else {
        return (by_drag(rows), doubts);
    };
    if rows.iter().any(|r| r.marked_out.is_none()) {
        doubts.extend(fill_untold(ledger, first, &mut out));
    }
    let late = cut_before_mark(ledger);
    if !late.is_empty() {
        for k in late.clone() {
            out[k] = !rows[k].drag.is_empty();
        }
        doubts.push(RowDoubt {
            fault: Fault::OutLate,
            mark: first,
            rows: late,
        });
    }
    if let Some(free) = free_after_mark(ledger, first, &out) {
        out[free.clone()].fill(false);
        doubts.push(RowDoubt {
            fault: Fault::OutEarly,
            mark: first,
            rows: free,
        });
    }
    let starts = |said: bool| {
        move |k: &usize| {
            rows[*k].marked_out == Some(said) && (*k == 0 || rows[k - 1].marked_out != Some(said))
        }
    };
    let after_in = |k: &usize| rows[*k - 1].marked_out == Some(false);
    let later = (first + 1..rows.len()).filter(starts(true));
    for mark in later.filter(after_in) {
        if let Some(free) = free_after_later_mark(ledger, mark, &out) {
            out[free.clone()].fill(false);
            doubts.push(RowDoubt {
                fault: Fault::OutEarly,
                mark,
                rows: free,
            });
        }
    }
    for mark in (0..rows.len()).filter(starts(false)) {
        if let Some(cut) = cut_after_mark(ledger, mark, &mut out) {
            doubts.push(RowDoubt {
                fault: Fault::InEarly,
                mark,
                rows: cut,
            });
        }
    }
    let says_out = rows.last().is_some_and(|r| r.marked_out == Some(true));
    if let Some(mark) = (0..rows.len()).rfind(starts(true)).filter(|_| says_out)
        && let Some(from) = went_in(ledger, mark, &out)
    {
        let free = until_said_again(rows, from..rows.len());
        out[free.clone()].fill(false);
        doubts.push(RowDoubt {
            fault: Fault::InMissing,
            mark,
            rows: free,
        });
    }
    (out, doubts)
}

/// Of rows that are taken otherwise than marks say, those before a mark that says the same again.
fn until_said_again(rows: &[Row], doubted: Range<usize>) -> Range<usize> {
    let again = |k: &usize| rows[*k].said > rows[*k - 1].said;
    let end = (doubted.start + 1..doubted.end)
        .find(again)
        .unwrap_or(doubted.end);
    doubted.start..end
}

/// Rows from `mark` on while marks say what it says, and have not said it again.
fn said_once(rows: &[Row], mark: usize) -> Range<usize> {
    let end = (mark..rows.len())
        .find(|k| rows[*k].marked_out != rows[mark].marked_out)
        .unwrap_or(rows.len());
    until_said_again(rows, mark..end)
}

/// Strokes before a first "in", and those after marks that contradict each other, are told by the drag.
fn fill_untold(ledger: &Ledger, first: usize, out: &mut [bool]) -> Option<RowDoubt> {
    let rows = &ledger.rows;
    let in_first = rows[first].marked_out == Some(false);
    let drag = by_drag(rows);
    for k in (0..rows.len()).filter(|k| rows[*k].marked_out.is_none()) {
        if k > first || in_first {
            out[k] = drag[k];
        }
    }
    let cut = (0..first).find(|k| out[*k]).filter(|_| in_first)?;
    Some(RowDoubt {
        fault: Fault::OutMissing,
        mark: first,
        // Without a rise nothing tells when they went out.
        rows: drag_says_out(rows).map_or(first..first, |_| cut..first),
    })
}

/// Levels of drag each way, down and up, N.
type BothWays = [f64; 2];

/// A row with drag over the interval.
#[derive(Debug, Clone, Copy)]
struct Stroke {
    row: usize,
    way: usize,
    level: f64,
}

fn strokes(rows: &[Row], within: Range<usize>) -> Vec<Stroke> {
    let stroke = |k: usize| {
        let level = mean_drag(&rows[k])?;
        let way = usize::from(rows[k].up);
        Some(Stroke { row: k, way, level })
    };
    within.filter_map(stroke).collect()
}

/// What `of` gives for each way, if it gives both.
fn both_ways(of: impl Fn(usize) -> Option<f64>) -> Option<BothWays> {
    Some([of(0)?, of(1)?])
}

/// Drag of strokes before row `until` with the cutter in, N, each way.
fn free_level(rows: &[Row], until: usize, out: &[bool]) -> [Option<f64>; 2] {
    let free: Vec<Stroke> = strokes(rows, 0..until);
    let free: Vec<Stroke> = free.into_iter().filter(|s| !out[s.row]).collect();
    [0, 1].map(|way| typical(&free, way))
}

fn typical(strokes: &[Stroke], way: usize) -> Option<f64> {
    let levels = strokes.iter().filter(|s| s.way == way);
    let mut levels: Vec<f64> = levels.map(|s| s.level).collect();
    (!levels.is_empty()).then(|| median(&mut levels))
}

/// By how much drag lies above that of the free tool, N, if it does so plainly and both ways.
fn plain_above(level: BothWays, free: BothWays) -> Option<BothWays> {
    let above = [level[0] - free[0], level[1] - free[1]];
    let least = above[0].min(above[1]);
    (mean(above) >= PLAIN_MIN && least >= ONE_WAY * PLAIN_MIN).then_some(above)
}

fn mean(both: BothWays) -> f64 {
    0.5 * (both[0] + both[1])
}

/// Rows after a first mark "out" that ran free: only after them drag rises as it does when wheels go into a fresh wall,
/// and theirs is that of the free tool.
fn free_after_mark(ledger: &Ledger, mark: usize, out: &[bool]) -> Option<Range<usize>> {
    let rows = &ledger.rows;
    let (rose, height) = drag_says_out(rows)?;
    let rise = rose.iter().position(|out| *out)?;
    let said = rows.get(mark..=rise)?;
    if height < EARLY_RISE_MIN || said.iter().any(|r| r.marked_out != Some(true)) {
        return None;
    }
    let early = strokes(rows, mark..rise);
    let level = both_ways(|way| typical(&early, way))?;
    let base = free_level(rows, mark, out).map(|level| level.unwrap_or(0.0));
    let above = [level[0] - base[0], level[1] - base[1]];
    let is_free = mean(above).abs() <= LOST.min(SAME * height)
        && above
            .iter()
            .all(|above| above.abs() <= SAME_ONE_WAY * height);
    is_free.then_some(mark..rise)
}

/// Rows after a later mark "out" that ran free, until drag is back: wheels that go back into a groove drag about as they
/// did when they left it, for no wall splits meanwhile.
fn free_after_later_mark(ledger: &Ledger, mark: usize, out: &[bool]) -> Option<Range<usize>> {
    let rows = &ledger.rows;
    let before = strokes(rows, 0..mark);
    let last = |way: usize| before.iter().rfind(|s| s.way == way && out[s.row]);
    let last = both_ways(|way| Some(last(way)?.level))?;
    let free = free_level(rows, mark, out);
    let free = both_ways(|way| free[way])?;
    let above = plain_above(last, free)?;
    let after = strokes(rows, said_once(rows, mark));
    both_ways(|way| Some(after.iter().find(|s| s.way == way)?.level))?;
    let is_gone = |s: &Stroke| s.level - free[s.way] < (1.0 - GONE_UNMARKED) * above[s.way];
    let gone: Vec<&Stroke> = after.iter().take_while(|s| is_gone(s)).collect();
    // A stroke each way has to show it.
    (0..2)
        .all(|way| gone.iter().any(|s| s.way == way))
        .then(|| mark..gone[gone.len() - 1].row + 1)
}

/// Sets rows after a mark "in" that cut on, as long as the drag of the strokes before it stays; their range, if any did.
fn cut_after_mark(ledger: &Ledger, mark: usize, out: &mut [bool]) -> Option<Range<usize>> {
    let rows = &ledger.rows;
    let began = (0..mark).rfind(|k| !out[*k] && mean_drag(&rows[*k]).is_some());
    let before = strokes(rows, began.map_or(0, |free| free + 1)..mark);
    let after = strokes(rows, said_once(rows, mark));
    let last = both_ways(|way| Some(before.iter().rfind(|s| s.way == way)?.level))?;
    let next = both_ways(|way| Some(after.iter().find(|s| s.way == way)?.level))?;
    let fallen = level_after_fall(&before, &after);
    let free = free_level(rows, mark, out);
    let free = both_ways(|way| free[way].or(fallen[way]))?;
    let above = plain_above(last, free)?;
    // Not one that has sunk since: the cutter may go in while the last of the wall gives way.
    plain_above(next, free)?;
    let fell = [last[0] - next[0], last[1] - next[1]];
    let passes = |way: usize| before.iter().filter(|s| s.way == way).count();
    let (all, one_way) = if passes(0).min(passes(1)) <= FIRST {
        (SAME_FIRST, SAME_FIRST)
    } else {
        (SAME, SAME_ONE_WAY)
    };
    if mean(fell) > all * mean(above) || (0..2).any(|way| fell[way] > one_way * above[way]) {
        return None;
    }
    let cut = until_gone(&after, last, free);
    let last = *cut.last()?;
    for row in cut {
        out[row] = true;
    }
    Some(mark..last + 1)
}

/// Strokes that cut on from drag `last`, N: not those from which it is gone at once both ways, until it is back.
fn until_gone(after: &[Stroke], mut last: BothWays, free: BothWays) -> Vec<usize> {
    let mut cut = Vec::new();
    let mut is_in = false;
    for (i, s) in after.iter().enumerate() {
        let next = after.get(i + 1).filter(|next| next.way != s.way);
        let left = |s: &Stroke| s.level - free[s.way] - GONE * (last[s.way] - free[s.way]);
        is_in = if is_in {
            left(s) < 0.0 || next.is_some_and(|next| left(next) < 0.0)
        } else {
            left(s) < 0.0 && next.is_none_or(|next| left(next) < 0.0)
        };
        if is_in {
            continue;
        }
        last[s.way] = s.level;
        if mean([last[0] - free[0], last[1] - free[1]]) < LOST {
            break;
        }
        cut.push(s.row);
    }
    cut
}

/// Where no stroke with the cutter in came before: the drag each way that is left after a fall at once, both ways, N.
fn level_after_fall(before: &[Stroke], after: &[Stroke]) -> [Option<f64>; 2] {
    let all: Vec<Stroke> = before.iter().chain(after).copied().collect();
    let flags = still_out(&all);
    let free = || all.iter().zip(&flags).filter(|(_, out)| !**out);
    [0, 1].map(|way| Some(free().find(|(s, _)| s.way == way)?.0.level))
}

/// One flag per stroke: the drag has not fallen at once both ways.
fn still_out(strokes: &[Stroke]) -> Vec<bool> {
    let places: Vec<usize> = (0..strokes.len()).collect();
    let ups: Vec<bool> = strokes.iter().map(|s| s.way == 1).collect();
    let mut flags = vec![true; strokes.len()];
    retracted_at_once(&places, &ups, &|i| strokes[i].level, &mut flags);
    flags
}

/// First row of those at the end of the record from which drag is gone, plainly, at once and both ways, since a last
/// mark "out".
fn went_in(ledger: &Ledger, mark: usize, out: &[bool]) -> Option<usize> {
    let rows = &ledger.rows;
    let since = strokes(rows, mark..rows.len());
    let flags = still_out(&since);
    let last = flags.iter().rposition(|out| *out)?;
    let (cut, free) = since.split_at(last + 1);
    let first = free.first()?;
    let before = both_ways(|way| Some(cut.iter().rfind(|s| s.way == way)?.level))?;
    let left = |way: usize| Some(free.iter().find(|s| s.way == way)?.level);
    let base = free_level(rows, mark, out);
    let gone = match (both_ways(|way| base[way]), both_ways(left)) {
        (Some(base), _) => {
            let above = plain_above(before, base)?;
            let is_gone = |s: &Stroke| s.level - base[s.way] < (1.0 - GONE_UNMARKED) * above[s.way];
            free.iter().take(2).all(is_gone)
        }
        // Nothing to compare with: a stroke each way has to show it.
        (None, left) => left.is_some(),
    };
    gone.then_some(first.row)
}

#[cfg(test)]
mod tests;
