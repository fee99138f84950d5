//! What the crew's marks say of the cutter, once it is known how they are meant.
//!
//! Words that turn out to be the other way round are taken so from then on, and what was learned meanwhile is
//! learned again.

use super::Pipeline;
use crate::groove::engagement;
use crate::groove::mark_sense::{MarkSense, mark_sense};
use crate::infer::friction::Steady;
use crate::input::MarkKind;

/// Strokes after which nobody asks any more how the marks are meant.
const ASKED_MAX: usize = 120;

impl Pipeline {
    /// Whether a mark says that the cutter is out; `None` where it says nothing of it.
    pub(crate) fn says_out(&self, kind: &MarkKind) -> Option<bool> {
        let said = match kind {
            MarkKind::CutterOut => true,
            MarkKind::CutterIn => false,
            _ => return None,
        };
        Some(self.mark_sense.is_out(said))
    }

    /// When marks said something of the cutter, s, and whether it is out since.
    fn cutter_marks(&self) -> impl DoubleEndedIterator<Item = (f64, bool)> + '_ {
        let marks = self.marks.iter();
        marks.filter_map(|(at, mark)| Some((*at, self.says_out(&mark.kind)?)))
    }

    /// While it is not known how the marks are meant, what runs free by the one reading is kept and what does by the other.
    pub(super) fn may_run_free(&self) -> bool {
        let is_in = self.cutter_in.unwrap_or(self.free_until.is_none());
        is_in || self.mark_sense == MarkSense::Untold && self.cutter_in.is_some()
    }

    /// Whether a stretch ran free, as far as marks tell: before a first mark that says in, only on its way down to
    /// the interval.
    pub(super) fn ran_free(&self, stretch: &Steady) -> bool {
        let last = self
            .cutter_marks()
            .take_while(|m| m.0 <= stretch.began())
            .last();
        match (last, self.cutter_marks().next()) {
            (Some((_, out)), _) => !out,
            (None, Some((_, false))) => {
                let arrived = self.free_runs.arrived_below(self.above_interval());
                arrived.is_some_and(|arrived| stretch.end <= arrived)
            }
            (None, _) => true,
        }
    }

    /// Asks the strokes made so far how the marks are meant.
    pub(super) fn ask_mark_sense(&mut self) {
        let asked = self.ledger.rows.len() <= ASKED_MAX && self.cutter_in.is_some();
        if self.mark_sense != MarkSense::Untold || !asked {
            return;
        }
        self.mark_sense = mark_sense(&self.ledger);
        if self.mark_sense.is_turned() {
            self.cutter_in = self.cutter_marks().last().map(|(_, out)| !out);
            let first_out = self.cutter_marks().find(|m| m.1).map(|m| m.0);
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
}
