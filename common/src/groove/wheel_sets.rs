//! Wheels that were changed, set anew or taken from another tool in mid-job: what a pass of theirs counts.
//!
//! A groove that deepens by the pass law has the cube of its depth grow by `kappa^2` with each pass, whoever makes it
//! ([`super::pass_law`]). So other wheels, sharper or pressed harder, make passes that count as more than one of the
//! first wheels, and drag more in the same groove by the same factor: that, and no more than that, tells them.
//!
//! A set begins with a new run, after a pause long enough for the tool to be pulled and dressed, or where the drag changes
//! at once ([`super::sudden_change`]): a wheel lost. Most pauses are just pauses, so that a change has to show, and is not
//! asked about where strokes go on as before: [`super::joint_fit`] asks the drag, with [`ln_prior`] beside it. Of runs that
//! are taken as one the jobs say how their cutters differ; the drag is asked about what is left of the difference.

use super::ledger::{CutterOfRun, Ledger};
use super::sudden_change::{self, Across};
use crate::result::OtherWheels;

/// Sets of wheels that are told apart, at most.
pub(super) const SETS_MAX: usize = 4;
/// Pause between two strokes that cut, at least, in which wheels can have been changed, s (our own judgement, no source).
const PAUSE_MIN_S: f64 = 300.0;
/// Strokes that cut before and after such a pause, at least, for the drag to tell.
const STROKES_MIN: usize = 6;
/// Rows within which a sudden change is that of a pause.
const NEAR: usize = 2;
/// Probability that the wheels are other ones after such a pause (our own judgement, no source).
const CHANGED: f64 = 0.3;
/// Standard deviation of the logarithm of what a pass counts against those before: of other wheels, of the same ones.
const OTHER_SD: f64 = 0.5;
const SAME_SD: f64 = 0.05;

/// Which strokes were made by which wheels, and what a pass of each counts.
#[derive(Debug, Clone, PartialEq)]
pub struct WheelSets {
    /// By run, what its job says.
    cutters: Vec<CutterOfRun>,
    /// How each set but the first one begins.
    from: Vec<Begin>,
    /// By set, what the drag says beyond that.
    seen: [f64; SETS_MAX],
    /// By set, so many times the base of the first wheels they roll with by that.
    rolls: [f64; SETS_MAX],
}

/// How a set begins.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Begin {
    /// First row.
    row: usize,
    /// How the drag goes on.
    across: Across,
    /// In the midst of stroking, and not after a pause.
    sudden: bool,
}

impl Default for WheelSets {
    fn default() -> Self {
        Self {
            cutters: Vec::new(),
            from: Vec::new(),
            seen: [1.0; SETS_MAX],
            rolls: [1.0; SETS_MAX],
        }
    }
}

impl WheelSets {
    /// Sets that there may be, before the drag is asked; `engaged`: cutter out, by row.
    pub(super) fn possible(ledger: &Ledger, engaged: &[bool]) -> Self {
        let rows = &ledger.rows;
        let cut: Vec<usize> = (0..rows.len()).filter(|&row| engaged[row]).collect();
        let mut begins: Vec<(Begin, f64)> = Vec::new();
        for (i, pair) in cut.windows(2).enumerate() {
            let (before, row) = (pair[0], pair[1]);
            let mut runs = ledger.cutters.iter();
            let pause = if runs.any(|run| before < run.from && run.from <= row) {
                f64::INFINITY
            } else {
                rows[row].start - rows[before].end
            };
            let made = i + 1;
            if pause < PAUSE_MIN_S || made.min(cut.len() - made) < STROKES_MIN {
                continue;
            }
            let across = sudden_change::across(rows, &cut, made);
            if across != Across::AsBefore {
                let sudden = false;
                begins.push((
                    Begin {
                        row,
                        across,
                        sudden,
                    },
                    pause,
                ));
            }
        }
        let is_told = |row: usize| begins.iter().any(|(b, _)| b.row.abs_diff(row) <= NEAR);
        let change = sudden_change::find(rows, &cut).filter(|(row, _)| !is_told(*row));
        if let Some((row, across)) = change {
            let sudden = true;
            begins.push((
                Begin {
                    row,
                    across,
                    sudden,
                },
                f64::INFINITY,
            ));
        }
        begins.sort_by(|a, b| b.1.total_cmp(&a.1));
        begins.truncate(SETS_MAX - 1);
        let mut from: Vec<Begin> = begins.into_iter().map(|(begin, _)| begin).collect();
        from.sort_unstable_by_key(|begin| begin.row);
        Self {
            cutters: ledger.cutters.clone(),
            from,
            ..Self::default()
        }
    }

    /// How many.
    pub(super) fn count(&self) -> usize {
        self.from.len() + 1
    }

    /// The set that made a row.
    pub(super) fn of_row(&self, row: usize) -> usize {
        self.from.partition_point(|begin| begin.row <= row)
    }

    /// What a pass of a row counts by what is written in the jobs.
    pub(super) fn written(&self, row: usize) -> f64 {
        let run = self.cutters.iter().rfind(|run| run.from <= row);
        run.map_or(1.0, |run| run.counts)
    }

    /// What the drag says beyond that of a set.
    pub(super) fn seen(&self, set: usize) -> f64 {
        self.seen[set]
    }

    /// What a pass of a row counts.
    pub(super) fn of(&self, row: usize) -> f64 {
        self.written(row) * self.seen[self.of_row(row)]
    }

    /// So many times the base of the first wheels those of a row roll with. Wheels that bite harder mostly do so because
    /// they are pressed harder: bite grows with the square of the force, rolling drag with the force. A wheel that is lost
    /// in the pipe takes as much of both.
    pub(super) fn rolls(&self, row: usize) -> f64 {
        self.written(row).sqrt() * self.rolls[self.of_row(row)]
    }

    /// Whether a pass of a set (not the first) may count more than those before it, and less.
    pub(super) fn may_count(&self, set: usize) -> (bool, bool) {
        let across = self.from[set - 1].across;
        (across != Across::Falls, across != Across::Rises)
    }

    /// The same sets, passes of one (not the first) and of those after it counting by a factor more.
    pub(super) fn with_change(&self, set: usize, ln_factor: f64) -> Self {
        let mut changed = self.clone();
        let is_lost = self.from[set - 1].sudden;
        let ln_rolls = if is_lost { ln_factor } else { 0.5 * ln_factor };
        for (seen, rolls) in changed.seen[set..]
            .iter_mut()
            .zip(&mut changed.rolls[set..])
        {
            *seen *= ln_factor.exp();
            *rolls *= ln_rolls.exp();
        }
        changed
    }

    /// What a pass of the newest wheels counts.
    pub(super) fn newest(&self) -> f64 {
        self.of(usize::MAX)
    }

    /// Sets that the drag tells from those before.
    pub(super) fn changes(&self, ledger: &Ledger) -> Vec<OtherWheels> {
        let changes = self.from.iter().enumerate().map(|(i, begin)| OtherWheels {
            from_stroke: begin.row as u32 + 1,
            at_s: ledger.rows[begin.row].start,
            counts: self.seen[i + 1] / self.seen[i],
            sudden: begin.sudden,
        });
        let tells = |wheels: &OtherWheels| wheels.counts.ln().abs() > 2.0 * SAME_SD;
        changes.filter(tells).collect()
    }
}

/// Log density of what a pass counts against those before the pause, but for a constant.
pub(super) fn ln_prior(ln_factor: f64) -> f64 {
    let normal = |sd: f64| (-0.5 * (ln_factor / sd).powi(2)).exp() / sd;
    (CHANGED * normal(OTHER_SD) + (1.0 - CHANGED) * normal(SAME_SD)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented strokes that cut, with a pause of ten minutes before some, across which drag grows by as much each time.
    fn ledger(strokes: usize, after_pause: &[usize], by: f32) -> Ledger {
        let drag = |k: usize| {
            let pauses = after_pause.iter().filter(|&&first| first <= k).count();
            (300.0 + by * pauses as f32, Some(true))
        };
        let mut ledger = Ledger::invented(&(0..strokes).map(drag).collect::<Vec<_>>());
        for &first in after_pause {
            for row in &mut ledger.rows[first..] {
                row.start += 600.0;
                row.end += 600.0;
            }
        }
        ledger
    }

    fn possible(ledger: &Ledger) -> WheelSets {
        WheelSets::possible(ledger, &vec![true; ledger.rows.len()])
    }

    #[test]
    fn wheels_may_be_others_after_a_long_pause_among_enough_strokes() {
        assert_eq!(possible(&ledger(40, &[], 0.0)).count(), 1);
        let sets = possible(&ledger(40, &[2, 20, 37], 60.0));
        assert_eq!(sets.count(), 2);
        // Across a pause that changes nothing there is nothing to ask.
        assert_eq!(possible(&ledger(40, &[20], 0.0)).count(), 1);
        assert_eq!((sets.of_row(19), sets.of_row(20)), (0, 1));
    }

    #[test]
    fn of_many_pauses_the_longest_are_asked() {
        let mut ledger = ledger(80, &[10, 20, 30, 40, 50], 60.0);
        for row in &mut ledger.rows[40..] {
            row.start += 60.0;
            row.end += 60.0;
        }
        let sets = possible(&ledger);
        assert_eq!(sets.count(), SETS_MAX);
        assert_ne!(sets.of_row(39), sets.of_row(40));
    }

    #[test]
    fn a_wheel_that_is_lost_takes_its_rolling_with_it_and_one_that_is_changed_its_force() {
        let drag = |k: usize| (if k < 30 { 400.0 } else { 300.0 }, Some(true));
        let lost = Ledger::invented(&(0..50).map(drag).collect::<Vec<_>>());
        let sets = possible(&lost).with_change(1, 0.8f64.ln());
        assert_eq!(sets.of_row(30), 1);
        assert!((sets.rolls(30) - 0.8).abs() < 1e-12);
        assert!(sets.changes(&lost)[0].sudden);
        let mut changed = lost.clone();
        for row in &mut changed.rows[29..] {
            row.start += 600.0;
            row.end += 600.0;
        }
        let sets = possible(&changed).with_change(1, 0.8f64.ln());
        assert_eq!((sets.count(), sets.of_row(29)), (2, 1));
        assert!((sets.rolls(30) - 0.8f64.sqrt()).abs() < 1e-12);
        assert!(!sets.changes(&changed)[0].sudden);
    }

    #[test]
    fn jobs_of_runs_and_the_drag_both_count() {
        let mut ledger = ledger(40, &[20], 200.0);
        for row in &mut ledger.rows[20..] {
            row.start -= 600.0;
            row.end -= 600.0;
        }
        for (from, counts) in [(0, 0.5), (20, 1.0)] {
            ledger.cutters.push(CutterOfRun { from, counts });
        }
        // Two runs need no pause.
        let sets = possible(&ledger);
        assert_eq!((sets.of(19), sets.of(20)), (0.5, 1.0));
        assert!(sets.changes(&ledger).is_empty());
        let sets = sets.with_change(1, 2f64.ln());
        assert_eq!(sets.of(19), 0.5);
        assert!((sets.newest() - 2.0).abs() < 1e-12);
        let [change] = sets.changes(&ledger)[..] else {
            panic!("{:?}", sets.changes(&ledger));
        };
        assert_eq!(change.from_stroke, 21);
        assert!((change.counts - 2.0).abs() < 1e-12);
    }
}
