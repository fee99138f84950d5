//! One transition of one alarm, and all that follows from it: record, event, first-out, the paired overpull.

use super::super::rule::{AlarmKind, Level, Rule, slot};
use super::super::state::{AlarmState, Stimulus, next_state};
use super::{Alarm, AlarmEngine, REASONS};
use crate::input::Event;
use crate::result::AlarmRecord;
use crate::time::{Nanos, seconds};

impl AlarmEngine {
    /// One transition with all that follows from it.
    pub(super) fn apply(
        &mut self,
        index: usize,
        at: Nanos,
        stimulus: Stimulus,
        until: Option<Nanos>,
    ) {
        let alarm = &mut self.alarms[index];
        let latching = Rule::of(alarm.kind, alarm.level).latching;
        let before = alarm.state;
        // What comes back from being put aside is judged afresh: a condition that is gone is gone, though its
        // off-delay may still run.
        if stimulus == Stimulus::PutBack && !alarm.raw {
            alarm.active = false;
        }
        let after = next_state(before, stimulus, latching, alarm.active);
        if after == before {
            return;
        }
        alarm.state = after;
        alarm.until = if after.is_aside() { until } else { None };
        if before.is_standing() && !after.is_standing() {
            // Gone when the condition went, not when the off-delay ended; put aside: now.
            let gone = if stimulus == Stimulus::Clear {
                alarm.raw_since
            } else {
                at
            };
            if let Some(record) = alarm.record {
                self.records[record].cleared_s = Some(seconds(gone));
            }
        }
        if !before.is_standing() && after.is_standing() {
            self.raise(index, at);
        }
        self.tell(index, at);
        self.find_first_out();
        if index == slot(AlarmKind::Overpull, Level::High) {
            self.pair_overpull(at);
        }
        self.find_wake();
    }

    fn raise(&mut self, index: usize, at: Nanos) {
        let alarm = &mut self.alarms[index];
        alarm.raised = [Some(at), alarm.raised[0]];
        alarm.reasons = [None; REASONS];
        alarm.record = Some(self.records.len());
        self.records.push(AlarmRecord {
            kind: alarm.kind.name().to_owned(),
            about: alarm.kind.about_on_record(),
            level: alarm.level.name().to_owned(),
            raised_s: seconds(at),
            cleared_s: None,
            peak_n: None,
        });
        self.keep_peak(index);
        if self.first_out.is_none() {
            self.first_out = Some(index);
        }
    }

    /// While the limit itself is reached, pull above pick-up weight is no news.
    fn pair_overpull(&mut self, at: Nanos) {
        let top = self.alarms[slot(AlarmKind::Overpull, Level::High)].state;
        let index = slot(AlarmKind::Overpull, Level::Low);
        let lesser = &self.alarms[index];
        if top.is_standing() && lesser.state == AlarmState::Normal {
            self.apply(index, at, Stimulus::Suppress, None);
        } else if !top.is_standing()
            && lesser.state == AlarmState::Suppressed
            && lesser.until.is_none()
        {
            self.apply(index, at, Stimulus::PutBack, None);
        }
    }

    /// Forgotten when everything has been dealt with.
    fn find_first_out(&mut self) {
        let open = |alarm: &Alarm| alarm.state.is_standing() || alarm.state.is_unacknowledged();
        if !self.alarms.iter().any(open) {
            self.first_out = None;
        }
    }

    pub(super) fn keep_peak(&mut self, index: usize) {
        let alarm = &self.alarms[index];
        let force = matches!(
            alarm.kind,
            AlarmKind::Overpull | AlarmKind::Approaching | AlarmKind::Slack | AlarmKind::Stall
        );
        if force
            && alarm.raw
            && alarm.state.is_standing()
            && let (Some(record), Some(value)) = (alarm.record, alarm.value)
            && value.is_finite()
        {
            let farther = if alarm.kind == AlarmKind::Slack {
                f64::min
            } else {
                f64::max
            };
            let peak = &mut self.records[record].peak_n;
            *peak = Some(peak.map_or(value, |before| farther(before, value)));
        }
    }

    pub(super) fn tell(&mut self, index: usize, at: Nanos) {
        let alarm = &self.alarms[index];
        let record = match alarm.record {
            Some(record) => self.records[record].clone(),
            // Put aside before it was ever raised.
            None => AlarmRecord {
                kind: alarm.kind.name().to_owned(),
                about: alarm.kind.about_on_record(),
                level: alarm.level.name().to_owned(),
                raised_s: seconds(at),
                cleared_s: Some(seconds(at)),
                peak_n: None,
            },
        };
        self.events.push(Event::Alarm {
            at,
            state: alarm.state.name(),
            record,
        });
    }
}
