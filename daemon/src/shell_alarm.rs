//! Alarms about the daemon itself: recorder, outputs, forwarder.
//!
//! They are not in the result of a run: a replay has no disk that stalls. They are raised and cleared by
//! the part concerned, shown with the others, and go through the same states and delays
//! ([`AlarmEngine`]); their delays run in wall time, as disks and networks do. After a restart of the daemon
//! they are judged afresh.

use kerfwatch::alarm::{AlarmCommand, AlarmEngine, AlarmKind, Detail, Level};
use kerfwatch::input::MarkKind;
use kerfwatch::job::Display;
use kerfwatch::snapshot::AlarmView;
use kerfwatch::time::Nanos;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// The daemon's own alarms.
#[derive(Debug)]
pub struct ShellAlarms {
    parts: Mutex<Vec<Part>>,
    start: Instant,
}

impl Default for ShellAlarms {
    fn default() -> Self {
        Self {
            parts: Mutex::default(),
            start: Instant::now(),
        }
    }
}

/// One part of the daemon that has been in trouble.
#[derive(Debug)]
struct Part {
    kind: AlarmKind,
    about: String,
    /// Holds this one alarm only.
    engine: AlarmEngine,
    message: String,
    raised_s: f64,
}

impl ShellAlarms {
    /// The condition holds; raises the alarm, or renews its message. `about` tells apart several parts of one
    /// kind, such as two horns; `at_s` is shown as the time of raising.
    pub fn raise(&self, kind: AlarmKind, about: &str, at_s: f64, message: String) {
        let now = self.now();
        let mut parts = self.lock();
        let found = parts
            .iter()
            .position(|part| part.kind == kind && part.about == about);
        let index = found.unwrap_or_else(|| {
            parts.push(Part {
                kind,
                about: about.to_owned(),
                engine: AlarmEngine::new(Display::Metric),
                message: String::new(),
                raised_s: at_s,
            });
            parts.len() - 1
        });
        let part = &mut parts[index];
        let stood = part.engine.stands(kind);
        part.message = message;
        part.judge(now, true);
        if !stood && part.engine.stands(kind) {
            part.raised_s = at_s;
            tracing::error!(kind = kind.name(), about, "{}", part.message);
        }
        part.tell();
    }

    /// The condition is gone.
    pub fn clear(&self, kind: AlarmKind, about: &str) {
        let now = self.now();
        let mut parts = self.lock();
        for part in parts.iter_mut() {
            if part.kind == kind && part.about == about {
                part.judge(now, false);
                part.tell();
            }
        }
    }

    /// An operator's mark; marks about anything else change nothing.
    pub fn mark(&self, mark: &MarkKind) {
        let (name, command) = match mark {
            MarkKind::Acknowledge(name) => (name, AlarmCommand::Acknowledge),
            MarkKind::Reset(name) => (name, AlarmCommand::Reset),
            MarkKind::Shelve(name, seconds) => (name, AlarmCommand::Shelve(*seconds)),
            _ => return,
        };
        let now = self.now();
        for part in self.lock().iter_mut() {
            if name == "all" || name == part.kind.name() {
                // Refused where there is nothing to do.
                let _ = part.engine.command(now, part.kind.name(), command);
                part.tell();
            }
        }
    }

    /// A copy for showing.
    pub fn views(&self) -> Vec<AlarmView> {
        self.views_after(Duration::ZERO)
    }

    /// What will be shown when `time` has passed without news.
    pub fn views_after(&self, time: Duration) -> Vec<AlarmView> {
        let now = self.now().saturating_add(nanos(time));
        let mut views = Vec::new();
        for part in self.lock().iter_mut() {
            if time.is_zero() {
                part.engine.tick(now);
                part.tell();
                part.show(&part.engine, &mut views);
            } else {
                let mut later = part.engine.clone();
                later.tick(now);
                part.show(&later, &mut views);
            }
        }
        views
    }

    fn now(&self) -> Nanos {
        nanos(self.start.elapsed())
    }

    fn lock(&self) -> MutexGuard<'_, Vec<Part>> {
        self.parts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Part {
    fn judge(&mut self, now: Nanos, holds: bool) {
        self.engine
            .condition(self.kind, now, holds, Level::High, None, Detail::None);
    }

    fn show(&self, engine: &AlarmEngine, into: &mut Vec<AlarmView>) {
        let state = engine.state(self.kind, self.kind.usual_level());
        into.extend(engine.views().into_iter().map(|view| AlarmView {
            about: self.about.clone(),
            raised_s: self.raised_s,
            message: format!("{}{}", self.message, state.advice()),
            ..view
        }));
    }

    /// Every change leaves a line in the log.
    fn tell(&mut self) {
        let mut events = Vec::new();
        self.engine.drain(&mut events);
        for event in events {
            if let kerfwatch::input::Event::Alarm { state, .. } = event {
                tracing::info!(kind = self.kind.name(), about = %self.about, state, "alarm");
            }
        }
    }
}

fn nanos(time: Duration) -> Nanos {
    Nanos::try_from(time.as_nanos()).unwrap_or(Nanos::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DISK: AlarmKind = AlarmKind::Recorder;

    fn state(alarms: &ShellAlarms, after_s: u64) -> Option<String> {
        let views = alarms.views_after(Duration::from_secs(after_s));
        views.first().map(|alarm| alarm.state.clone())
    }

    #[test]
    fn what_nobody_saw_stays_until_it_is_acknowledged() {
        let alarms = ShellAlarms::default();
        alarms.raise(DISK, "", 1.0, "disk full".into());
        alarms.raise(DISK, "", 2.0, "disk still full".into());
        assert_eq!(alarms.views().len(), 1);
        assert_eq!(alarms.views()[0].message, "disk still full");
        assert_eq!(alarms.views()[0].raised_s, 1.0);
        alarms.clear(DISK, "");
        assert_eq!(state(&alarms, 0).as_deref(), Some("unacknowledged"));
        assert_eq!(
            state(&alarms, 11).as_deref(),
            Some("returned_unacknowledged")
        );
        alarms.raise(DISK, "", 3.0, "disk full".into());
        alarms.mark(&MarkKind::Acknowledge("recorder".into()));
        assert_eq!(state(&alarms, 11).as_deref(), Some("acknowledged"));
        alarms.clear(DISK, "");
        assert_eq!(state(&alarms, 11), None);
    }

    #[test]
    fn a_disk_that_comes_and_goes_is_one_alarm() {
        let alarms = ShellAlarms::default();
        for n in 0..100 {
            alarms.raise(DISK, "", f64::from(n), "the disk is too slow".into());
            alarms.clear(DISK, "");
        }
        assert_eq!(alarms.views().len(), 1);
        assert_eq!(alarms.views()[0].raised_s, 0.0);
    }

    #[test]
    fn two_outputs_are_told_apart_and_either_can_be_put_aside() {
        let alarms = ShellAlarms::default();
        for name in ["horn", "relay"] {
            alarms.raise(AlarmKind::Output, name, 0.0, format!("{name} is silent"));
        }
        let about: Vec<String> = alarms.views().into_iter().map(|view| view.about).collect();
        assert_eq!(about, ["horn", "relay"]);
        alarms.mark(&MarkKind::Shelve("output".into(), 60.0));
        assert_eq!(state(&alarms, 30).as_deref(), Some("shelved"));
        assert_eq!(state(&alarms, 61).as_deref(), Some("unacknowledged"));
    }
}
