//! What the crew's marks say of the cutter, once it is known how they are meant.
//!
//! Words that turn out to be the other way round are taken so from then on, and what was learned meanwhile is
//! learned again.

use super::Pipeline;
use crate::groove::engagement;
use crate::groove::mark_doubts::{self, Fault};
use crate::groove::mark_sense::{MarkSense, mark_sense};
use crate::infer::friction::Steady;
use crate::input::MarkKind;

/// Strokes after which nobody asks any more how the marks are meant.
const ASKED_MAX: usize = 120;

/// Marks that say the opposite at the same time, as in a table of whole seconds, s: nothing tells which was meant. Of
/// two that follow one another the later holds, for it may put the first one right.
const AT_ONCE_S: f64 = 0.5;

/// The same said again, so much later at least, s, is meant: nobody's finger slipped.
const AGAIN_S: f64 = 10.0;

/// Whether a mark says by its word that the cutter is out; `None` where it does not name it.
fn word(kind: &MarkKind) -> Option<bool> {
    match kind {
        MarkKind::CutterOut => Some(true),
        MarkKind::CutterIn => Some(false),
        _ => None,
    }
}

impl Pipeline {
    /// Whether a mark set at `at` s says that the cutter is out; `None` where it says nothing of it.
    pub(crate) fn says_out(&self, at: f64, kind: &MarkKind) -> Option<bool> {
        word(kind).map(|said| self.is_out(at, said))
    }

    /// Whether the cutter is out where a mark set at `at` s says so by its word, or says that it is not.
    pub(crate) fn is_out(&self, at: f64, said: bool) -> bool {
        match self.righted {
            Some(from) if at >= from => said,
            _ => self.mark_sense.is_out(said),
        }
    }

    /// Marks set now are taken the other way round.
    pub(crate) fn is_turned(&self) -> bool {
        self.mark_sense.is_turned() && self.righted.is_none()
    }

    /// Takes marks as said from the newest on if that one says what turned out to be the other way round once more.
    pub(super) fn right_marks(&mut self) {
        let Some(at) = self.words().last().map(|m| m.0) else {
            return;
        };
        if self.is_turned() && self.marked_out(at).1 > 1 {
            self.righted = Some(at);
        }
    }

    /// When marks were set that name the cutter, s, and whether by their words it is out; `None` where another set
    /// at the same time says the opposite.
    pub(crate) fn words(&self) -> Vec<(f64, Option<bool>)> {
        let named = self.marks.iter();
        let named: Vec<(f64, bool)> = named
            .filter_map(|(at, mark)| Some((*at, word(&mark.kind)?)))
            .collect();
        let against =
            |a: &(f64, bool), b: &(f64, bool)| a.1 != b.1 && (a.0 - b.0).abs() <= AT_ONCE_S;
        let told = |(i, mark): (usize, &(f64, bool))| {
            let before = i.checked_sub(1).map(|i| &named[i]);
            let beside = before.into_iter().chain(named.get(i + 1));
            let contradicted = beside.into_iter().any(|other| against(mark, other));
            (mark.0, (!contradicted).then_some(mark.1))
        };
        named.iter().enumerate().map(told).collect()
    }

    /// What the newest mark up to `at` s says of the cutter by its words, and how often marks have said so without
    /// one in between that does not.
    pub(super) fn marked_out(&self, at: f64) -> (Option<bool>, u32) {
        let words = self.words();
        let Some(newest) = words.iter().rposition(|m| m.0 <= at) else {
            return (None, 0);
        };
        let out = words[newest].1;
        let same = words[..=newest].iter().rev().take_while(|m| m.1 == out);
        let mut times = 0;
        let mut earliest = f64::INFINITY;
        for (at, _) in same {
            if earliest - at >= AGAIN_S {
                times += 1;
                earliest = *at;
            }
        }
        (out, times)
    }

    /// When marks said something of the cutter, s, and whether it is out since; `None` where they contradict each other.
    fn cutter_marks(&self) -> Vec<(f64, Option<bool>)> {
        let mut marks = self.words();
        for (at, out) in &mut marks {
            *out = out.map(|said| self.is_out(*at, said));
        }
        marks
    }

    /// Whether the mark just set contradicts the one before it: then both say nothing, and what they changed is as if
    /// they had never been.
    pub(super) fn take_back_contradicted(&mut self) -> bool {
        let marks = self.cutter_marks();
        let [.., before, (_, None)] = marks[..] else {
            return false;
        };
        self.cutter_in = None;
        if self.free_until == Some(before.0) {
            self.free_until = marks.iter().find(|m| m.1 == Some(true)).map(|m| m.0);
        }
        true
    }

    /// While it is not known how the marks are meant, what runs free by the one reading is kept and what does by the other.
    pub(super) fn may_run_free(&self) -> bool {
        let is_in = self.cutter_in.unwrap_or(self.free_until.is_none());
        is_in || self.mark_sense == MarkSense::Untold && self.cutter_in.is_some()
    }

    /// Whether a stretch ran free, as far as marks tell: before a first mark that says in, only on its way down to
    /// the interval.
    pub(super) fn ran_free(&self, stretch: &Steady) -> bool {
        let marks = self.cutter_marks();
        let began = stretch.began();
        let clear = |m: &(f64, Option<bool>)| Some((m.0, m.1?));
        match marks.iter().rfind(|m| m.0 <= began) {
            Some((_, Some(out))) => return !out,
            // After one that said something clear nobody knows.
            Some(_) if marks.iter().filter_map(clear).any(|m| m.0 <= began) => return false,
            _ => {}
        }
        if let Some((_, false)) = marks.iter().find_map(clear) {
            let arrived = self.free_runs.arrived_below(self.above_interval());
            arrived.is_some_and(|arrived| stretch.end <= arrived)
        } else {
            true
        }
    }

    /// Asks the strokes made so far how the marks are meant.
    pub(super) fn ask_mark_sense(&mut self) {
        let asked = self.ledger.rows.len() <= ASKED_MAX && self.cutter_in.is_some();
        if self.mark_sense != MarkSense::Untold || !asked {
            return;
        }
        (self.mark_sense, _) = mark_sense(&self.ledger);
        if self.mark_sense.is_turned() {
            let marks = self.cutter_marks();
            self.cutter_in = marks.last().and_then(|m| Some(!m.1?));
            let first_out = marks.iter().find(|m| m.1 == Some(true)).map(|m| m.0);
            self.free_until = first_out;
            if let Some(until) = first_out {
                self.learn(until);
            }
        }
    }

    /// What cut before a first mark that came late did not run free: it is learned anew without it.
    pub(super) fn ask_late_mark(&mut self) {
        if self.ledger.rows.len() > ASKED_MAX || self.mark_sense.is_turned() {
            return;
        }
        let cut = engagement::cut_before_mark(&self.ledger);
        let Some(began) = self.ledger.rows[cut].first().map(|row| row.start) else {
            return;
        };
        if self.free_until.is_some_and(|until| began < until) {
            self.free_until = Some(began);
            self.learn(began);
        }
    }

    /// When the tool cut though a mark had said in, s.
    pub(super) fn cut_though_in(&self) -> Vec<(f64, f64)> {
        let rows = &self.ledger.rows;
        let (_, doubts) = mark_doubts::read_marks(&self.ledger);
        let early = doubts.iter().filter(|d| d.fault == Fault::InEarly);
        let cut = early.flat_map(|d| rows.get(d.rows.clone()).unwrap_or_default());
        cut.map(|row| (row.start, row.end)).collect()
    }
}
