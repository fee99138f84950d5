//! What must survive a restart, and how it comes back.

use super::super::message::Detail;
use super::super::rule::{AlarmKind, Level, slot};
use super::super::state::AlarmState;
use super::{AlarmEngine, REASONS};
use crate::result::AlarmRecord;
use crate::time::{Nanos, nanos, seconds};
use serde::{Deserialize, Serialize};

/// What must survive a restart: every alarm that is not normal.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SavedAlarms {
    alarms: Vec<Saved>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Saved {
    kind: AlarmKind,
    level: Level,
    state: AlarmState,
    value: Option<f64>,
    peak: Option<f64>,
    detail: Detail,
    /// Shelving left, s.
    left_s: Option<f64>,
}

impl SavedAlarms {
    /// Every alarm was normal.
    pub fn is_empty(&self) -> bool {
        self.alarms.is_empty()
    }
}

impl AlarmEngine {
    /// What must survive a restart.
    pub fn saved(&self, at: Nanos) -> SavedAlarms {
        let alarms = self
            .alarms
            .iter()
            .filter(|alarm| !matches!(alarm.state, AlarmState::Normal | AlarmState::Suppressed))
            .map(|alarm| Saved {
                kind: alarm.kind,
                level: alarm.level,
                state: alarm.state,
                value: alarm.value,
                peak: alarm.record.and_then(|record| self.records[record].peak_n),
                detail: alarm.detail.clone(),
                left_s: alarm.until.map(|until| seconds(until - at)),
            })
            .collect();
        SavedAlarms { alarms }
    }

    /// Takes over what was saved before a restart. A condition that stood counts as standing until
    /// it has been judged, or its off-delay has passed; an alarm nobody has seen stays unseen. What
    /// has been raised since stays as it is: it is the newer finding of the same thing.
    pub fn restore(&mut self, at: Nanos, saved: &SavedAlarms) {
        for old in &saved.alarms {
            let index = slot(old.kind, old.level);
            if !matches!(
                self.alarms[index].state,
                AlarmState::Normal | AlarmState::Suppressed
            ) {
                continue;
            }
            self.records.push(AlarmRecord {
                kind: old.kind.name().to_owned(),
                about: old.kind.about_on_record(),
                level: old.level.name().to_owned(),
                raised_s: seconds(at),
                cleared_s: (!old.state.is_standing()).then_some(seconds(at)),
                peak_n: old.peak,
            });
            let record = self.records.len() - 1;
            let alarm = &mut self.alarms[index];
            alarm.level = old.level;
            alarm.state = old.state;
            alarm.active = old.state.is_standing();
            alarm.raw = false;
            alarm.raw_since = at;
            alarm.value = old.value;
            alarm.detail = old.detail.clone();
            alarm.raised[0] = Some(at);
            alarm.record = Some(record);
            // Which of them he was told of is not kept: none is news at once.
            alarm.reasons = [Some(at); REASONS];
            alarm.until = old
                .left_s
                .and_then(nanos)
                .map(|left| at.saturating_add(left.max(0)));
            if old.state.is_unacknowledged() && self.first_out.is_none() {
                self.first_out = Some(index);
            }
            self.tell(index, at);
        }
        self.find_wake();
    }
}
