//! Alarms about the daemon itself: recorder, outputs, forwarder.
//!
//! They are not in the result of a run: a replay has no disk that stalls. They are raised and
//! cleared by the part concerned and shown with the others; what was not seen stays until it is
//! acknowledged.

use kerfwatch::snapshot::AlarmView;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Alarms that are not normal, in order of raising.
#[derive(Debug, Default)]
pub struct ShellAlarms {
    alarms: Mutex<Vec<AlarmView>>,
}

impl ShellAlarms {
    /// The condition holds; raises the alarm, or renews its message.
    pub fn raise(&self, kind: &str, level: &str, at_s: f64, message: String) {
        let mut alarms = self.lock();
        if let Some(alarm) = alarms.iter_mut().find(|alarm| alarm.kind == kind) {
            alarm.message = message;
            if alarm.state == "returned unacknowledged" {
                alarm.state = "unacknowledged".to_owned();
                alarm.raised_s = at_s;
            }
            return;
        }
        tracing::error!(kind, "{message}");
        alarms.push(AlarmView {
            kind: kind.to_owned(),
            level: level.to_owned(),
            state: "unacknowledged".to_owned(),
            raised_s: at_s,
            message,
        });
    }

    /// The condition is gone.
    pub fn clear(&self, kind: &str) {
        let mut alarms = self.lock();
        alarms.retain(|alarm| alarm.kind != kind || alarm.state != "acknowledged");
        for alarm in alarms.iter_mut().filter(|alarm| alarm.kind == kind) {
            alarm.state = "returned unacknowledged".to_owned();
        }
    }

    /// Somebody has seen it.
    pub fn acknowledge(&self, kind: &str) {
        let mut alarms = self.lock();
        alarms.retain(|alarm| alarm.kind != kind || alarm.state != "returned unacknowledged");
        for alarm in alarms.iter_mut().filter(|alarm| alarm.kind == kind) {
            alarm.state = "acknowledged".to_owned();
        }
    }

    /// A copy for showing.
    pub fn views(&self) -> Vec<AlarmView> {
        self.lock().clone()
    }

    fn lock(&self) -> MutexGuard<'_, Vec<AlarmView>> {
        self.alarms.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_saw_stays_until_it_is_acknowledged() {
        let alarms = ShellAlarms::default();
        let state = || alarms.views().first().map(|alarm| alarm.state.clone());
        alarms.raise("recorder", "high", 1.0, "disk full".into());
        alarms.raise("recorder", "high", 2.0, "disk still full".into());
        assert_eq!(alarms.views().len(), 1);
        alarms.clear("recorder");
        assert_eq!(state().as_deref(), Some("returned unacknowledged"));
        alarms.raise("recorder", "high", 3.0, "disk full".into());
        assert_eq!(state().as_deref(), Some("unacknowledged"));
        alarms.acknowledge("recorder");
        assert_eq!(state().as_deref(), Some("acknowledged"));
        alarms.clear("recorder");
        assert_eq!(state(), None);
    }
}
