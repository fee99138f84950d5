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
    alarms: Mutex<Vec<Standing>>,
}

/// One alarm and which part it is about.
#[derive(Debug)]
struct Standing {
    subject: String,
    view: AlarmView,
}

impl ShellAlarms {
    /// The condition holds; raises the alarm, or renews its message. `subject` tells apart several
    /// parts of one kind, such as two horns.
    pub fn raise(&self, kind: &str, subject: &str, at_s: f64, message: String) {
        let mut alarms = self.lock();
        let found = alarms
            .iter_mut()
            .find(|alarm| alarm.view.kind == kind && alarm.subject == subject);
        if let Some(Standing { view, .. }) = found {
            view.message = message;
            if view.state == RETURNED {
                view.state = UNACKNOWLEDGED.to_owned();
                view.raised_s = at_s;
            }
            return;
        }
        tracing::error!(kind, subject, "{message}");
        alarms.push(Standing {
            subject: subject.to_owned(),
            view: AlarmView {
                kind: kind.to_owned(),
                level: "high".to_owned(),
                state: UNACKNOWLEDGED.to_owned(),
                raised_s: at_s,
                until_s: None,
                message,
            },
        });
    }

    /// The condition is gone.
    pub fn clear(&self, kind: &str, subject: &str) {
        let of_it = |alarm: &Standing| alarm.view.kind == kind && alarm.subject == subject;
        let mut alarms = self.lock();
        alarms.retain(|alarm| !of_it(alarm) || alarm.view.state != ACKNOWLEDGED);
        for alarm in alarms.iter_mut().filter(|alarm| of_it(alarm)) {
            alarm.view.state = RETURNED.to_owned();
        }
    }

    /// Somebody has seen all of this kind.
    pub fn acknowledge(&self, kind: &str) {
        let mut alarms = self.lock();
        alarms.retain(|alarm| alarm.view.kind != kind || alarm.view.state != RETURNED);
        for alarm in alarms.iter_mut().filter(|alarm| alarm.view.kind == kind) {
            alarm.view.state = ACKNOWLEDGED.to_owned();
        }
    }

    /// A copy for showing.
    pub fn views(&self) -> Vec<AlarmView> {
        self.lock().iter().map(|alarm| alarm.view.clone()).collect()
    }

    fn lock(&self) -> MutexGuard<'_, Vec<Standing>> {
        self.alarms.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

const UNACKNOWLEDGED: &str = "unacknowledged";
const ACKNOWLEDGED: &str = "acknowledged";
const RETURNED: &str = "returned_unacknowledged";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_saw_stays_until_it_is_acknowledged() {
        let alarms = ShellAlarms::default();
        let state = || alarms.views().first().map(|alarm| alarm.state.clone());
        alarms.raise("recorder", "", 1.0, "disk full".into());
        alarms.raise("recorder", "", 2.0, "disk still full".into());
        assert_eq!(alarms.views().len(), 1);
        alarms.clear("recorder", "");
        assert_eq!(state().as_deref(), Some("returned_unacknowledged"));
        alarms.raise("recorder", "", 3.0, "disk full".into());
        assert_eq!(state().as_deref(), Some("unacknowledged"));
        alarms.acknowledge("recorder");
        assert_eq!(state().as_deref(), Some("acknowledged"));
        alarms.clear("recorder", "");
        assert_eq!(state(), None);
    }
}
