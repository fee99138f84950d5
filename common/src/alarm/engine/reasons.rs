//! Reasons for which an alarm stands: another one than those that were acknowledged is news.

use super::super::message::Detail;
use super::super::rule::{AlarmKind, Level, slot};
use super::super::state::AlarmState;
use super::AlarmEngine;
use crate::time::{NANOS_PER_SECOND, Nanos};

/// For this long after a reason has gone the operator still knows of it.
const KNOWN: Nanos = 60 * NANOS_PER_SECOND;

impl AlarmEngine {
    /// The condition of an alarm of high level that may stand for several reasons, by number. One that was
    /// acknowledged for another reason is unacknowledged again.
    pub fn condition_for(
        &mut self,
        kind: AlarmKind,
        at: Nanos,
        active: bool,
        reason: usize,
        detail: Detail,
    ) {
        self.condition(kind, at, active, Level::High, None, detail);
        let index = slot(kind, Level::High);
        let alarm = &mut self.alarms[index];
        if !active || !alarm.state.is_standing() {
            return;
        }
        let Some(stood) = alarm.reasons.get_mut(reason) else {
            return;
        };
        let is_known = stood.is_some_and(|stood| at.saturating_sub(stood) <= KNOWN);
        *stood = Some(at);
        if !is_known && alarm.state == AlarmState::Acknowledged {
            alarm.state = AlarmState::Unacknowledged;
            self.tell(index, at);
        }
    }
}
