//! What is shown of the alarms, in which order and in which words.

use super::super::message::{Told, sentence};
use super::super::state::AlarmState;
use super::{Alarm, AlarmEngine};
use crate::snapshot::AlarmView;
use crate::time::seconds;

impl Alarm {
    /// It is shown as standing, though its condition is gone.
    fn is_told_on(&self) -> bool {
        self.state.is_standing() && self.is_held_by_chatter()
    }
}

impl AlarmEngine {
    /// Alarms to show: all that are not normal nor suppressed by design; the first-out one first,
    /// then by priority, then by time.
    pub fn views(&self) -> Vec<AlarmView> {
        let mut shown: Vec<usize> = (0..self.alarms.len())
            .filter(|index| {
                !matches!(
                    self.alarms[*index].state,
                    AlarmState::Normal | AlarmState::Suppressed
                )
            })
            .collect();
        shown.sort_by_key(|index| {
            let alarm = &self.alarms[*index];
            (
                Some(*index) != self.first_out,
                std::cmp::Reverse(alarm.level),
                alarm.raised[0],
                *index,
            )
        });
        let several = shown.len() > 1;
        shown
            .into_iter()
            .map(|index| {
                let alarm = &self.alarms[index];
                AlarmView {
                    kind: alarm.kind.name().to_owned(),
                    level: alarm.level.name().to_owned(),
                    state: alarm.state.name().to_owned(),
                    about: alarm.kind.about().to_owned(),
                    raised_s: seconds(alarm.raised[0].unwrap_or(0)),
                    until_s: alarm.until.map(seconds),
                    is_past: alarm.state.is_over() || alarm.is_told_on(),
                    message: self.message(index, several),
                }
            })
            .collect()
    }

    fn message(&self, index: usize, several: bool) -> String {
        let alarm = &self.alarms[index];
        let told = Told {
            value: alarm.value,
            peak: alarm.record.and_then(|record| self.records[record].peak_n),
            is_now: alarm.raw,
        };
        let mut text = sentence(
            alarm.kind,
            alarm.level,
            told,
            &alarm.detail,
            self.field_units,
        );
        if alarm.is_told_on() {
            text = format!(
                "It is over; it came twice within a minute and stays here until it has not come for one. It said then: {text}"
            );
        }
        text = match alarm.state.advice() {
            // What it asked for is no longer to be done.
            advice if alarm.state.is_over() => format!("{} It said: {text}", advice.trim_start()),
            advice => text + advice,
        };
        if several && Some(index) == self.first_out {
            text.push_str(" It came first.");
        }
        text
    }
}
