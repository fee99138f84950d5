//! Alarms about the daemon itself: recorder, outputs, forwarder.
//!
//! They are not in the result of a run: a replay has no disk that stalls. They are raised and cleared by
//! the part concerned, shown with the others, and go through the same states and delays
//! ([`AlarmEngine`]); their delays run in wall time, as disks and networks do. Each change goes into the
//! record as a mark ([`MarkKind::DaemonAlarm`]), which the pipeline passes over: after a crash they are as they
//! were, acknowledged or not, until the part concerned has judged afresh.

use kerfwatch::alarm::{AlarmCommand, AlarmEngine, AlarmKind, Detail, SavedAlarms};
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::job::Display;
use kerfwatch::snapshot::AlarmView;
use kerfwatch::time::Nanos;
use serde::{Deserialize, Serialize};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// The daemon's own alarms.
#[derive(Debug)]
pub struct ShellAlarms {
    parts: Mutex<Vec<Part>>,
    start: Instant,
    record: OnceLock<mpsc::Sender<Mark>>,
}

impl Default for ShellAlarms {
    fn default() -> Self {
        Self {
            parts: Mutex::default(),
            start: Instant::now(),
            record: OnceLock::new(),
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
    /// The condition as last judged.
    holds: bool,
    /// Changed since it was last put on record.
    changed: bool,
}

/// A part as it is kept in the record.
#[derive(Debug, Serialize, Deserialize)]
struct Saved {
    kind: AlarmKind,
    about: String,
    message: String,
    raised_s: f64,
    /// Empty: all is well again.
    alarms: SavedAlarms,
}

impl ShellAlarms {
    /// Puts every change on record from now on.
    pub fn record_to(&self, marks: mpsc::Sender<Mark>) {
        // The first one stays.
        let _ = self.record.set(marks);
    }

    /// The condition holds; raises the alarm, or renews its message. `about` tells apart several parts of one
    /// kind, such as two horns; `at_s` is shown as the time of raising.
    pub fn raise(&self, kind: AlarmKind, about: &str, at_s: f64, message: String) {
        let now = self.now();
        let mut parts = self.lock();
        let index = index_of(&mut parts, kind, about);
        let part = &mut parts[index];
        let stood = part.engine.stands(kind);
        part.message = message;
        part.judge(now, true);
        if !stood && part.engine.stands(kind) {
            part.raised_s = at_s;
            tracing::error!(kind = kind.name(), about, "{}", part.message);
        }
        part.tell();
        self.put_on_record(&mut parts);
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
        self.put_on_record(&mut parts);
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
        let (kind, about) = AlarmKind::split_name(name);
        let mut parts = self.lock();
        for part in parts.iter_mut() {
            let is_meant =
                kind == part.kind.name() && about.is_none_or(|about| about == part.about);
            if name == "all" || is_meant {
                // Refused where there is nothing to do.
                let _ = part.engine.command(now, part.kind.name(), command);
                part.tell();
            }
        }
        self.put_on_record(&mut parts);
    }

    /// A mark of the record: what was put there is as it was then; an operator's mark, as [`ShellAlarms::mark`].
    pub fn follow(&self, mark: &MarkKind) {
        let MarkKind::DaemonAlarm(text) = mark else {
            return self.mark(mark);
        };
        // The daemon wrote it; in a damaged record there is nothing to know.
        let Ok(saved) = serde_json::from_str::<Saved>(text) else {
            return;
        };
        let now = self.now();
        let mut parts = self.lock();
        let index = index_of(&mut parts, saved.kind, &saved.about);
        let part = &mut parts[index];
        part.engine = AlarmEngine::new(Display::Metric);
        part.engine.restore(now, &saved.alarms);
        part.holds = false;
        (part.message, part.raised_s) = (saved.message, saved.raised_s);
    }

    /// Takes over what an earlier part of the run, or the run before, had left. What has been raised since is the
    /// same thing found again: if the crew had acknowledged it, it stays acknowledged.
    pub fn take_over(&self, before: &Self) {
        let (now, now_there) = (self.now(), before.now());
        let mut parts = self.lock();
        for old in before.lock().iter() {
            let saved = old.engine.saved(now_there);
            if saved.is_empty() {
                continue;
            }
            let index = index_of(&mut parts, old.kind, &old.about);
            let part = &mut parts[index];
            let is_new = part.engine.saved(now).is_empty();
            if !is_new && !part.holds {
                // Raised and over since: nobody can have seen that before.
                continue;
            }
            part.engine = AlarmEngine::new(Display::Metric);
            part.engine.restore(now, &saved);
            part.raised_s = old.raised_s;
            if part.holds {
                part.judge(now, true);
            } else {
                part.message.clone_from(&old.message);
            }
            part.changed = true;
            part.tell();
        }
        self.put_on_record(&mut parts);
    }

    /// What finds no room is tried again when the alarms are next shown, a tenth of a second later.
    fn put_on_record(&self, parts: &mut [Part]) {
        let Some(marks) = self.record.get() else {
            return;
        };
        let now = self.now();
        for part in parts.iter_mut().filter(|part| part.changed) {
            let saved = Saved {
                kind: part.kind,
                about: part.about.clone(),
                message: part.message.clone(),
                raised_s: part.raised_s,
                alarms: part.engine.saved(now),
            };
            let Ok(text) = serde_json::to_string(&saved) else {
                continue;
            };
            let mark = Mark::of_daemon(MarkKind::DaemonAlarm(text));
            part.changed = marks.try_send(mark).is_err();
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
        let mut parts = self.lock();
        for part in parts.iter_mut() {
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
        if time.is_zero() {
            self.put_on_record(&mut parts);
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

fn index_of(parts: &mut Vec<Part>, kind: AlarmKind, about: &str) -> usize {
    let found = parts
        .iter()
        .position(|part| part.kind == kind && part.about == about);
    found.unwrap_or_else(|| {
        parts.push(Part {
            kind,
            about: about.to_owned(),
            engine: AlarmEngine::new(Display::Metric),
            message: String::new(),
            raised_s: 0.0,
            holds: false,
            changed: false,
        });
        parts.len() - 1
    })
}

impl Part {
    fn judge(&mut self, now: Nanos, holds: bool) {
        self.holds = holds;
        let level = self.kind.usual_level();
        self.engine
            .condition(self.kind, now, holds, level, None, Detail::None);
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

    /// Every change leaves a line in the log, and is to be put on record.
    fn tell(&mut self) {
        let mut events = Vec::new();
        self.engine.drain(&mut events);
        for event in events {
            if let kerfwatch::input::Event::Alarm { state, .. } = event {
                self.changed = true;
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
    fn each_alarm_has_the_level_of_its_kind() {
        let alarms = ShellAlarms::default();
        for kind in [DISK, AlarmKind::Output, AlarmKind::Forward] {
            alarms.raise(kind, "", 1.0, "in trouble".into());
        }
        let levels: Vec<String> = alarms.views().into_iter().map(|view| view.level).collect();
        assert_eq!(levels, ["high", "high", "low"]);
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

    /// What a crash leaves of `alarms`: the marks in the record.
    fn after_a_crash(marks: &mut mpsc::Receiver<Mark>) -> ShellAlarms {
        let record = ShellAlarms::default();
        while let Ok(mark) = marks.try_recv() {
            record.follow(&mark.kind);
        }
        let alarms = ShellAlarms::default();
        alarms.take_over(&record);
        alarms
    }

    #[test]
    fn what_nobody_saw_before_a_crash_is_there_after_it() {
        let alarms = ShellAlarms::default();
        let (sender, mut marks) = mpsc::channel(64);
        alarms.record_to(sender);
        alarms.raise(DISK, "", 7.0, "disk full".into());
        alarms.raise(AlarmKind::Output, "horn", 8.0, "horn is silent".into());
        alarms.mark(&MarkKind::Acknowledge("output".into()));
        alarms.clear(DISK, "");
        let after = after_a_crash(&mut marks);
        let shown = |alarms: &ShellAlarms, s| {
            let views = alarms.views_after(Duration::from_secs(s));
            let said = views.into_iter().map(|view| (view.about, view.state));
            said.collect::<Vec<_>>()
        };
        let pair = |about: &str, state: &str| (about.to_owned(), state.to_owned());
        assert_eq!(
            shown(&after, 0),
            [pair("", "unacknowledged"), pair("horn", "acknowledged")]
        );
        assert_eq!(after.views()[0].message, "disk full");
        assert_eq!(after.views()[0].raised_s, 7.0);
        // Neither has been found again.
        assert_eq!(shown(&after, 11), [pair("", "returned_unacknowledged")]);
        // The horn is found silent again: the crew knows that already.
        after.raise(AlarmKind::Output, "horn", 9.0, "horn is silent".into());
        assert_eq!(
            shown(&after, 11),
            [
                pair("", "returned_unacknowledged"),
                pair("horn", "acknowledged")
            ]
        );
    }

    #[test]
    fn what_is_found_again_before_the_record_is_read_back_stays_acknowledged() {
        let record = ShellAlarms::default();
        record.raise(DISK, "", 1.0, "disk full".into());
        record.mark(&MarkKind::Acknowledge("recorder".into()));
        let alarms = ShellAlarms::default();
        alarms.raise(DISK, "", 50.0, "disk full".into());
        alarms.take_over(&record);
        assert_eq!(state(&alarms, 11).as_deref(), Some("acknowledged"));
        alarms.clear(DISK, "");
        assert_eq!(state(&alarms, 11), None);
    }

    #[test]
    fn two_outputs_are_told_apart_and_either_can_be_put_aside() {
        let alarms = ShellAlarms::default();
        for name in ["horn", "relay"] {
            alarms.raise(AlarmKind::Output, name, 0.0, format!("{name} is silent"));
        }
        let about: Vec<String> = alarms.views().into_iter().map(|view| view.about).collect();
        assert_eq!(about, ["horn", "relay"]);
        alarms.mark(&MarkKind::Acknowledge("output relay".into()));
        let states: Vec<String> = alarms.views().into_iter().map(|view| view.state).collect();
        assert_eq!(states, ["unacknowledged", "acknowledged"]);
        alarms.mark(&MarkKind::Shelve("output".into(), 60.0));
        assert_eq!(state(&alarms, 30).as_deref(), Some("shelved"));
        assert_eq!(state(&alarms, 61).as_deref(), Some("unacknowledged"));
    }
}
