//! What is shown of the alarms, in which order and in which words.

use super::super::message::{Told, sentence};
use super::super::state::AlarmState;
use super::AlarmEngine;
use crate::snapshot::AlarmView;
use crate::time::seconds;

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
        if alarm.state.is_standing() && alarm.is_held_by_chatter() {
            text = format!("It is over; it came twice and is told for a minute. It said: {text}");
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
