//! Strokes: found as the tool moves, entered with their drag by bin, and what each teaches.
//!
//! Movement that was taken for a standstill is gone through once more ([`crate::infer::second_look`]); couplings that wander in the
//! drag from stroke to stroke show slip of the counter.

use super::Pipeline;
use crate::groove::coupling_marks::CouplingMarks;
use crate::groove::ledger::{Row, RowMarks};
use crate::infer::second_look::Before;
use crate::infer::strokes::FoundStroke;
use crate::input::Event;
use crate::motion::Moment;
use crate::result::{Direction, Stroke};

impl Pipeline {
    /// State, track and strokes of the tool.
    pub(super) fn follow(&mut self, m: &Moment, events: &mut Vec<Event>) {
        self.hold.push(m);
        self.track.push(m);
        if let Some(found) = self.finder.push(m) {
            self.second_look.forget();
            self.stroke(&found, events);
        }
    }

    /// A tool that seemed to stand had gone on: what was told meanwhile is told again.
    pub(super) fn look_again(&mut self, m: &Moment, events: &mut Vec<Event>) {
        let (hold, finder, track) = (&self.hold, &self.finder, &self.track);
        let again = self.second_look.see(m, || Before {
            hold: hold.clone(),
            finder: finder.clone(),
            track_points: track.points().len(),
        });
        let Some((before, moments)) = again else {
            return;
        };
        self.hold = before.hold;
        self.finder = before.finder;
        self.track.truncate(before.track_points);
        for m in &moments {
            self.follow(m, events);
        }
    }

    pub(super) fn stroke(&mut self, found: &FoundStroke, events: &mut Vec<Event>) {
        let (gain_up, gain_down) = self.motion.gains();
        let gain = if found.direction == Direction::Up {
            gain_up
        } else {
            gain_down
        };
        let there = self.when_over_interval(found);
        let (out, said) = self.marked_out(there);
        // The first echo after the tool starts still carries the start itself.
        let settle = 0.15 + self.motion.settle_time() * found.profile.mean_speed();
        let marks = RowMarks {
            out,
            said,
            weight_check: self.weight_check.takes(found.direction, found.start),
        };
        self.ledger.add(found, settle, marks, gain);
        if self.standing_load.hung_between(found.start, found.end) {
            self.ledger.forget_newest_drag();
        }
        self.peaks.push(found.peak_tension);
        self.look_for_zero_step();
        self.look_for_slip();
        if marks.weight_check {
            self.learn_from_weight_check(found.end);
        }
        self.ask_mark_sense();
        self.ask_late_mark();
        self.learn_without_marks();
        self.ask_engaged();
        let n = self.ledger.rows.len() as u32;
        let (top, bottom) = found.range();
        events.push(Event::Stroke(Stroke {
            n,
            direction: found.direction,
            start_s: found.start,
            end_s: found.end,
            top_m: top,
            bottom_m: bottom,
            tool_travel_m: bottom - top,
            // As in the result; what is learned later reads it anew there.
            mean_drag_n: self.ledger.rows.last().map_or(0.0, Row::mean_drag),
            peak_tension_n: found.peak_tension,
            // Only the groove estimate tells where it cut.
            cut_work_j: 0.0,
            engaged_m: 0.0,
        }));
    }

    /// When a stroke was half through the bins that it touches, s, about: of a run in, on which the crew puts the cutter
    /// out once it has arrived, most of the time belongs to the way there.
    fn when_over_interval(&self, found: &FoundStroke) -> f64 {
        let bins = self.ledger.bins;
        let (top, bottom) = found.range();
        let from = top.max(bins.top);
        let to = bottom.min(bins.top + bins.count as f64 * bins.step);
        let part = if from < to {
            (0.5 * (from + to) - found.from) / (found.to - found.from)
        } else {
            0.5
        };
        found.start + part * (found.end - found.start)
    }

    /// Couplings that wander in the drag show that the counter has slipped.
    fn look_for_slip(&mut self) {
        let Some(row) = self.ledger.rows.last() else {
            return;
        };
        if let Some(too_deep) = self.coupling_marks.stroke(row) {
            self.slip_m += too_deep;
            self.correct_depth(-too_deep);
            self.shift_places(-too_deep);
        }
    }

    /// Depths are told anew: where couplings stood says nothing any more.
    pub(super) fn forget_places(&mut self) {
        self.coupling_marks = CouplingMarks::new(self.ledger.bins, &self.job.couplings);
    }
}
