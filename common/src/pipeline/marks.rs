//! What the crew's marks change.

use super::Pipeline;
use crate::input::{Event, Mark, MarkKind};
use crate::time::{Nanos, seconds};

impl Pipeline {
    pub(super) fn mark(&mut self, at: Nanos, mark: &Mark, events: &mut Vec<Event>) {
        self.watch.mark(at, &mark.kind);
        match mark.kind {
            MarkKind::Zero(line) => {
                // What waits belongs to the old counter.
                let mut cells = Vec::new();
                self.aligner.new_counter(&mut |c| cells.push(c));
                for c in &cells {
                    self.cell(c, events);
                }
                let mut moments = Vec::new();
                self.motion.new_counter(&mut |m| moments.push(m));
                for m in &moments {
                    self.moment(m, events);
                }
                self.bends.rezero(line);
                self.forget_places();
                self.moved_counter = self.moment.map(|m| m.depth);
            }
            MarkKind::ReferenceDepth(depth) => {
                if let Some(m) = self.moment {
                    self.correct_depth(depth - m.depth);
                    self.forget_places();
                    self.moved_counter = self.moved_counter.or(Some(m.depth));
                }
            }
            _ => {}
        }
        if !matches!(mark.kind, MarkKind::DaemonAlarm(_)) {
            self.marks.push((seconds(at), mark.clone()));
        }
        self.right_marks();
        if let Some(out) = self.says_out(seconds(at), &mark.kind)
            && !self.take_back_contradicted()
        {
            if out && self.free_until.is_none() {
                self.free_until = Some(seconds(at));
                self.learn(seconds(at));
            } else if out {
                self.learn_late(seconds(at));
            }
            // Said twice it has only been out.
            if out && self.cutter_in != Some(false) {
                self.hold.cutter_out();
            }
            self.cutter_in = Some(!out);
        }
        if mark.kind == MarkKind::WeightCheck {
            self.weight_check.mark(seconds(at));
        }
    }
}
