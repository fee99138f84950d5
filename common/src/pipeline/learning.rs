//! When the pipeline learns friction and weight, and from which passes.
//!
//! By marks where the crew gave them (cutter out, cutter in, weight check), else from the drag itself. What was
//! learned counts from then on, and for the strokes before it as well ([`crate::groove::ledger::Ledger::reread`]).

use super::Pipeline;
use crate::alarm::{PickUpTable, Pull};
use crate::groove::drag_model::BasePrior;
use crate::groove::{engagement, zero_step};
use crate::infer::friction::{self, Steady};
use crate::motion;
use crate::result::ZeroStep;
use std::sync::Arc;

/// Error of the free tool's drag, each way, once friction and weight were learned, N.
const LEARNED_DRAG_SD: f64 = 25.0;
/// The same from movement one way only: the other way rests on the nominal weight.
const LEARNED_ONE_WAY_SD: f64 = 80.0;
/// Above the interval by this much, m, the cutter is surely in.
const SURELY_IN_M: f64 = 30.0;

impl Pipeline {
    /// Learns friction and weight from what ran free before `until` s, and uses them from now on.
    pub(super) fn learn(&mut self, until: f64) {
        let cut = self.cut_though_in();
        let cuts = |s: &Steady| cut.iter().any(|row| s.began() < row.1 && row.0 < s.end);
        let means = self.free_runs.until(until).iter();
        let free = means.filter(|s| self.ran_free(s) && !cuts(s));
        let means: Vec<Steady> = free.copied().collect();
        self.learn_from(&means);
    }

    /// While nobody knows whether the cutter is out, a marked weight check and what ran well above the interval
    /// are known to have been free.
    pub(super) fn learn_from_weight_check(&mut self, until: f64) {
        let Some(since) = self.weight_check.shown_since() else {
            return;
        };
        if self.free_until.is_some() {
            return self.learn_late(until);
        }
        let arrived = self.free_runs.arrived_below(self.above_interval());
        let arrived = arrived.unwrap_or(f64::NEG_INFINITY);
        let means = self.free_runs.arriving_and_within(arrived, since, until);
        self.learn_from(&means);
    }

    /// Passes with the cutter in again, after it was out: only where there was nothing better to learn from,
    /// because the cell has drifted since.
    pub(super) fn learn_late(&mut self, until: f64) {
        if self.cutter_in == Some(true) && !self.learned.is_some_and(|l| l.both_ways) {
            self.learn(until);
        }
    }

    /// Where the cutter is surely in: well above the interval, m.
    pub(super) fn above_interval(&self) -> f64 {
        self.job.info.interval_top.si() - SURELY_IN_M
    }

    fn learn_from(&mut self, means: &[Steady]) {
        // As the cell would have read had its zero stood.
        let as_at_first = means.iter().map(|s| Steady {
            tension: s.tension - self.zero_stepped(s.began()),
            ..*s
        });
        let means: &[Steady] = &Vec::from_iter(as_at_first);
        let nominal = (self.job.line.friction_up, self.job.line.friction_down);
        let deepest = motion::deepest(&self.job);
        if let Some(mut l) =
            friction::learn(&self.motion.nominal_hanging(), nominal, means, deepest)
        {
            l.offset += self.zero_stepped(f64::INFINITY);
            let before = self.motion.free_tool();
            self.motion.use_learned(&l, deepest);
            let now = self.motion.free_tool();
            let offset = self.motion.hanging().cutter_offset;
            self.ledger.reread(|up, depth, speed, drag| {
                before.reread(&now, up, depth - offset, speed, drag)
            });
            self.learned = Some(l);
            self.tell_pick_up();
        }
    }

    /// The pull of the free tool as learned, for the guard.
    fn tell_pick_up(&mut self) {
        let Some(l) = &self.learned else {
            return;
        };
        let pull = Pull {
            line_friction: l.up,
            tool_friction: l.tool,
            weight: l.weight,
            offset_n: l.offset,
            packing_n: l.surface,
        };
        let table = Arc::new(PickUpTable::learned(&self.job, &pull));
        self.watch.use_pick_up(&table);
        self.pick_up = Some(table);
    }

    /// By how much more the cell read at `time` s than when the run began, N.
    fn zero_stepped(&self, time: f64) -> f64 {
        let steps = self.zero_steps.iter().filter(|z| z.at_s <= time);
        steps.map(|z| z.by_n).sum()
    }

    /// A zero of the load cell that has stepped is taken out of the drag, and told; what the overpull limit goes by stays
    /// as read, for nobody knows here whether the cell is wrong or the pull.
    pub(super) fn look_for_zero_step(&mut self) {
        let Some(step) = zero_step::find(&self.ledger.rows, self.zero_from) else {
            return;
        };
        zero_step::take_out(&mut self.ledger.rows, &step);
        self.zero_from = step.row;
        let first = step.within.map_or(step.row, |(row, _)| row);
        self.zero_steps.push(ZeroStep {
            at_s: self.ledger.rows[first].start,
            by_n: step.by_n,
        });
        if let Some(learned) = &mut self.learned {
            learned.offset += step.by_n;
        }
        let deeper = self.motion.shift_zero(step.by_n);
        self.shift_places(deeper);
        self.forget_places();
        self.tell_pick_up();
        self.watch.zero_stepped(step.by_n);
    }

    /// Without marks the first clear rise of drag tells when free running ended; where none stands
    /// out, only what ran well above the interval is known to have been free.
    pub(super) fn learn_without_marks(&mut self) {
        const ROWS: usize = 10;
        let touched = self
            .ledger
            .rows
            .iter()
            .filter(|r| !r.drag.is_empty())
            .count();
        if self.free_until.is_some() || !(4..=40).contains(&touched) {
            return;
        }
        if let Some(row) = engagement::first_cutting_row(&self.ledger) {
            let until = self.ledger.rows[row].start;
            self.free_until = Some(until);
            self.learn(until);
        } else if touched == ROWS && self.learned.is_none() {
            let above = self.above_interval();
            let arrived = self.ledger.rows.iter().find(|r| r.bottom > above);
            if let Some(until) = arrived.map(|r| r.end) {
                self.learn(
                    self.free_runs
                        .arrived_below(above)
                        .unwrap_or(until)
                        .min(until),
                );
            }
        }
    }

    /// What is known of the drag of a tool that does not cut.
    pub(super) fn base_prior(&self) -> BasePrior {
        let nominal = BasePrior::of(&self.job);
        let own_sd = match self.learned {
            Some(l) if l.both_ways => LEARNED_DRAG_SD,
            Some(_) => LEARNED_ONE_WAY_SD,
            None => nominal.own_sd,
        };
        BasePrior { own_sd, ..nominal }
    }
}

#[cfg(test)]
mod tests {
    use crate::input::{ChannelId, Input, Mark, MarkKind};
    use crate::job::{print_default_job, read_job};
    use crate::pipeline::Pipeline;
    use crate::time::nanos;

    /// Invented: a tool that goes up by 8 m and down again over the interval, twice, with the tension that the job's
    /// own values give to a free tool each way, and `marks` at their times, s.
    fn after_two_passes(marks: &[(f64, MarkKind)]) -> Pipeline {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut pipeline = Pipeline::new(&job);
        let mut events = Vec::new();
        let mut marks = marks.iter().peekable();
        let middle = 0.5 * (job.info.interval_top.si() + job.info.interval_bottom.si());
        for i in 0..2000 {
            let t = f64::from(i) * 0.1;
            while let Some((_, kind)) = marks.next_if(|(at, _)| *at <= t) {
                let mark = Mark {
                    kind: kind.clone(),
                    author: String::new(),
                };
                let at = nanos(t).unwrap();
                pipeline.push(&Input::Mark { at, mark }, &mut events);
            }
            // 10 s rest, 30 s up, 10 s rest, 30 s down, 0.3 m/s.
            let way = (t % 80.0 - 10.0).clamp(0.0, 30.0) - (t % 80.0 - 50.0).clamp(0.0, 30.0);
            let is_up = t % 80.0 < 45.0 && t > 9.0;
            let load = if is_up { 2900.0 } else { 1700.0 };
            for (channel, value) in [
                (ChannelId::Load, load),
                (ChannelId::Depth, middle - 0.3 * way),
            ] {
                let at = nanos(t).unwrap();
                pipeline.push(&Input::Reading { channel, at, value }, &mut events);
            }
        }
        pipeline.finish(&mut events);
        pipeline
    }

    #[test]
    fn a_weight_check_teaches_pick_up_and_slack_off_weight() {
        let learned = after_two_passes(&[(1.0, MarkKind::WeightCheck)]).learned();
        assert!(learned.unwrap().both_ways);
    }

    #[test]
    fn passes_with_the_cutter_in_again_teach_what_was_not_learned_before() {
        let marks = [(0.5, MarkKind::CutterOut), (75.0, MarkKind::CutterIn)];
        let learned = after_two_passes(&marks).learned();
        assert!(learned.unwrap().both_ways);
        assert_eq!(after_two_passes(&marks[..1]).learned(), None);
    }

    #[test]
    fn what_ran_before_a_first_mark_that_says_in_was_not_free() {
        let out = (158.0, MarkKind::CutterOut);
        let all = after_two_passes(std::slice::from_ref(&out));
        assert_eq!(all.learned().unwrap().means, 3);
        // Only the way up between the marks; nothing in the drag turns their words.
        let between = after_two_passes(&[(75.0, MarkKind::CutterIn), out]);
        assert!(!between.mark_sense.is_turned());
        assert_eq!(between.learned().unwrap().means, 1);
    }

    #[test]
    fn marks_that_contradict_each_other_at_once_say_nothing_and_are_told() {
        let out = |at| (at, MarkKind::CutterOut);
        let within = after_two_passes(&[out(75.0), (75.2, MarkKind::CutterIn)]);
        let rows = &within.ledger().rows;
        assert!(rows.iter().all(|row| row.marked_out.is_none()));
        let kinds = |p: &Pipeline| -> Vec<String> {
            let doubts = p.mark_doubts();
            doubts.into_iter().map(|doubt| doubt.kind).collect()
        };
        assert_eq!(kinds(&within), ["contradiction"]);
        // A clear one after them counts.
        let after = after_two_passes(&[out(75.0), (75.2, MarkKind::CutterIn), out(100.0)]);
        let last = |p: &Pipeline| p.ledger().rows.last().unwrap().marked_out;
        assert_eq!(last(&after), Some(true));
        // So does one set a little later, to put the first one right.
        let mended = after_two_passes(&[out(75.0), (77.0, MarkKind::CutterIn)]);
        assert_eq!((last(&mended), kinds(&mended)), (Some(false), Vec::new()));
        let apart = after_two_passes(&[out(45.0), (77.0, MarkKind::CutterIn)]);
        assert_eq!(kinds(&apart), [""; 0]);
    }

    #[test]
    fn a_mark_of_the_cutter_holds_at_once_before_a_stroke_has_shown_it() {
        let told = |marks: &[(f64, MarkKind)]| after_two_passes(marks).snapshot().cutter_out;
        assert_eq!(told(&[]), None);
        assert_eq!(told(&[(165.0, MarkKind::CutterOut)]), Some(true));
        let turned = [(164.0, MarkKind::CutterOut), (165.0, MarkKind::CutterIn)];
        assert_eq!(told(&turned), Some(false));
    }
}
