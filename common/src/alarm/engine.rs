//! The alarm engine: conditions and commands in, events, records and sentences out.
//!
//! *Input*: [`AlarmEngine::condition`] or [`AlarmEngine::measure`] whenever a condition is judged,
//! in order of time; [`AlarmEngine::tick`] so that delays end without new conditions;
//! [`AlarmEngine::command`] for the operator. *Output*: [`AlarmEngine::drain`],
//! [`AlarmEngine::records`], [`AlarmEngine::views`]. *Limits*: a condition holds until it is judged
//! again. No allocation while nothing changes. Transitions caused by a delay carry the moment at
//! which the delay ended, so that results do not depend on how often the engine is ticked.
//!
//! No chatter: an alarm that was raised twice within a minute does not clear before that minute is
//! over, so that it cannot be raised a third time in it, whatever the signal does.

use super::guard::Verdict;
use super::message::{Detail, sentence};
use super::rule::{ALARMS, AlarmKind, Level, Rule, Sense, slot};
use super::state::{AlarmState, Stimulus, next_state};
use crate::input::{Event, MarkKind};
use crate::job::Display;
use crate::result::AlarmRecord;
use crate::snapshot::AlarmView;
use crate::time::{NANOS_PER_SECOND, Nanos, nanos, seconds};
use AlarmKind as K;
use serde::{Deserialize, Serialize};

/// Longest shelving, s: one shift (common practice, no source).
pub const SHELVE_MAX: f64 = 12.0 * 3600.0;

/// Three raisings within this time are chatter.
const CHATTER: Nanos = 60 * NANOS_PER_SECOND;

/// What the operator, or maintenance, can do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmCommand {
    /// Seen.
    Acknowledge,
    /// Release a latch, after acknowledging.
    Reset,
    /// Put aside for so many seconds.
    Shelve(f64),
    /// End shelving early.
    Unshelve,
    /// Put aside for maintenance.
    TakeOut,
    /// End of maintenance.
    PutBack,
}

/// Why a command changed nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Refused {
    /// No alarm has this name.
    #[error("there is no alarm of this name")]
    UnknownKind,
    /// The top-level overpull alarm may never be silenced.
    #[error("an overpull at the tension limit can't be shelved or taken out of service")]
    NotShelvable,
    /// Shelving needs an end.
    #[error("shelving needs a time above 0 and not beyond one shift")]
    BadDuration,
    /// A latch is released after acknowledging, not instead of it.
    #[error("acknowledge first, then reset")]
    AcknowledgeFirst,
    /// The alarm is in no state for this.
    #[error("the alarm is not in a state for this")]
    NothingToDo,
}

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

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Alarm {
    kind: AlarmKind,
    level: Level,
    state: AlarmState,
    /// The condition as last judged, and since when.
    raw: bool,
    raw_since: Nanos,
    /// The condition after its delays.
    active: bool,
    /// The last two raisings, latest first.
    raised: [Option<Nanos>; 2],
    /// Its newest record.
    record: Option<usize>,
    value: Option<f64>,
    detail: Detail,
    /// End of shelving or suppression.
    until: Option<Nanos>,
}

/// Every alarm of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlarmEngine {
    alarms: Vec<Alarm>,
    records: Vec<AlarmRecord>,
    #[serde(skip)]
    events: Vec<Event>,
    first_out: Option<usize>,
    /// Earliest end of a delay; nothing needs doing before it.
    wake: Option<Nanos>,
    field_units: bool,
}

impl AlarmEngine {
    /// All alarms normal. `display` chooses the units of the sentences.
    pub fn new(display: Display) -> Self {
        let alarms = ALARMS
            .iter()
            .map(|&(kind, level)| Alarm {
                kind,
                level,
                state: AlarmState::Normal,
                raw: false,
                raw_since: 0,
                active: false,
                raised: [None; 2],
                record: None,
                value: None,
                detail: Detail::None,
                until: None,
            })
            .collect();
        Self {
            alarms,
            records: Vec::new(),
            events: Vec::new(),
            first_out: None,
            wake: None,
            field_units: display == Display::Field,
        }
    }

    /// A condition was judged. `value` (SI) is shown, and kept as peak where it is a force;
    /// `level` tells the two overpull alarms apart and sets the priority of all others.
    pub fn condition(
        &mut self,
        kind: AlarmKind,
        at: Nanos,
        active: bool,
        level: Level,
        value: Option<f64>,
        detail: Detail,
    ) {
        self.tick(at);
        let index = slot(kind, level);
        let alarm = &mut self.alarms[index];
        if !active && !alarm.raw {
            return; // nearly every call
        }
        if active {
            alarm.value = value;
            alarm.detail = detail;
        }
        if alarm.raw != active {
            alarm.raw = active;
            alarm.raw_since = at;
            if !alarm.active {
                alarm.level = level;
            }
            self.find_wake();
            self.tick(at);
        }
        let alarm = &mut self.alarms[index];
        if active && level > alarm.level {
            // More urgent than it was when it was acknowledged.
            alarm.level = level;
            if alarm.state == AlarmState::Acknowledged {
                alarm.state = AlarmState::Unacknowledged;
            }
            if alarm.state.is_standing() {
                if let Some(record) = alarm.record {
                    self.records[record].level = level.name().to_owned();
                }
                self.tell(index, at);
            }
        }
        self.keep_peak(index);
    }

    /// Judges a value against a limit, with the deadband of the kind's rule.
    pub fn measure(
        &mut self,
        kind: AlarmKind,
        at: Nanos,
        level: Level,
        value: f64,
        limit: f64,
        sense: Sense,
    ) {
        let was = self.alarms[slot(kind, level)].raw;
        let active = Rule::of(kind, level).exceeds(was, value, limit, sense);
        self.condition(kind, at, active, level, Some(value), Detail::Limit(limit));
    }

    /// Takes over what [`super::OverpullGuard`] made of a load reading: both overpull alarms and the
    /// approach to the limit.
    pub fn judged(&mut self, at: Nanos, verdict: &Verdict) {
        let quiet = !(verdict.overpull || verdict.pull || verdict.approaching);
        if quiet && self.alarms[..3].iter().all(|alarm| !alarm.raw) {
            self.tick(at); // nearly every reading
            return;
        }
        let tension = Some(verdict.tension_n);
        let limit = Detail::Limit(verdict.limit_n);
        self.condition(
            K::Overpull,
            at,
            verdict.overpull,
            Level::High,
            tension,
            limit,
        );
        let excess = Detail::Excess {
            above_n: verdict.tension_n - verdict.pick_up_n.unwrap_or(verdict.tension_n),
            allowed_n: verdict.allowed_n,
        };
        self.condition(K::Overpull, at, verdict.pull, Level::Low, tension, excess);
        let detail = match verdict.time_to_limit_s {
            Some(seconds) => Detail::TimeToLimit {
                seconds,
                limit_n: verdict.limit_n,
            },
            None => Detail::Limit(verdict.limit_n),
        };
        self.condition(
            K::Approaching,
            at,
            verdict.approaching,
            Level::High,
            tension,
            detail,
        );
    }

    /// Time has come to `at`: ends the delays that are over, in their order.
    pub fn tick(&mut self, at: Nanos) {
        while let Some(wake) = self.wake
            && wake <= at
        {
            let due = (0..self.alarms.len())
                .filter_map(|index| self.deadline(index).map(|when| (when, index)))
                .min();
            if let Some((when, index)) = due
                && when <= at
            {
                self.end_delay(index, when);
            }
            self.find_wake();
        }
    }

    /// A command by alarm name, as marks carry it; `all` acknowledges or resets every alarm.
    ///
    /// # Errors
    /// [`Refused`] when nothing was changed.
    pub fn command(&mut self, at: Nanos, name: &str, command: AlarmCommand) -> Result<(), Refused> {
        self.tick(at);
        let all =
            name == "all" && matches!(command, AlarmCommand::Acknowledge | AlarmCommand::Reset);
        let chosen: Vec<usize> = (0..self.alarms.len())
            .filter(|index| all || self.alarms[*index].kind.name() == name)
            .collect();
        if chosen.is_empty() {
            return Err(Refused::UnknownKind);
        }
        let until = match command {
            AlarmCommand::Shelve(duration) => {
                if !(duration > 0.0 && duration <= SHELVE_MAX) {
                    return Err(Refused::BadDuration);
                }
                nanos(duration).map(|length| at.saturating_add(length))
            }
            _ => None,
        };
        let mut refused = Refused::NothingToDo;
        let mut done = false;
        for index in chosen {
            match self.command_one(index, at, command, until) {
                Ok(()) => done = true,
                Err(Refused::NothingToDo) => {}
                Err(reason) => refused = reason,
            }
        }
        if done { Ok(()) } else { Err(refused) }
    }

    fn command_one(
        &mut self,
        index: usize,
        at: Nanos,
        command: AlarmCommand,
        until: Option<Nanos>,
    ) -> Result<(), Refused> {
        let alarm = &self.alarms[index];
        let rule = Rule::of(alarm.kind, alarm.level);
        let stimulus = match command {
            AlarmCommand::Acknowledge => Stimulus::Acknowledge,
            AlarmCommand::Reset if alarm.state == AlarmState::LatchedUnacknowledged => {
                return Err(Refused::AcknowledgeFirst);
            }
            AlarmCommand::Reset => Stimulus::Reset,
            AlarmCommand::Shelve(_) | AlarmCommand::TakeOut if !rule.shelvable => {
                return Err(Refused::NotShelvable);
            }
            AlarmCommand::Shelve(_) if self.top_overpull_stands(index) => {
                return Err(Refused::NotShelvable);
            }
            AlarmCommand::Shelve(_) => Stimulus::Shelve,
            AlarmCommand::TakeOut => Stimulus::TakeOut,
            AlarmCommand::Unshelve if alarm.state == AlarmState::Shelved => Stimulus::PutBack,
            AlarmCommand::PutBack if alarm.state == AlarmState::OutOfService => Stimulus::PutBack,
            AlarmCommand::Unshelve | AlarmCommand::PutBack => return Err(Refused::NothingToDo),
        };
        let before = alarm.state;
        self.apply(index, at, stimulus, until);
        if self.alarms[index].state == before {
            return Err(Refused::NothingToDo);
        }
        Ok(())
    }

    /// Applies an alarm mark; `None` when the mark is about something else.
    pub fn mark(&mut self, at: Nanos, mark: &MarkKind) -> Option<Result<(), Refused>> {
        match mark {
            MarkKind::Acknowledge(kind) => Some(self.command(at, kind, AlarmCommand::Acknowledge)),
            MarkKind::Reset(kind) => Some(self.command(at, kind, AlarmCommand::Reset)),
            MarkKind::Shelve(kind, seconds) => {
                Some(self.command(at, kind, AlarmCommand::Shelve(*seconds)))
            }
            _ => None,
        }
    }

    /// Suppression by design until `until`: for a low-tension alarm at a commanded reversal.
    ///
    /// Only an alarm that is normal is suppressed, so that one that nobody has seen is not lost.
    pub fn suppress(&mut self, kind: AlarmKind, at: Nanos, until: Nanos) {
        self.tick(at);
        let index = slot(kind, kind.usual_level());
        let alarm = &mut self.alarms[index];
        match alarm.state {
            AlarmState::Normal => self.apply(index, at, Stimulus::Suppress, Some(until)),
            AlarmState::Suppressed => {
                alarm.until = alarm.until.map(|before| before.max(until));
                self.find_wake();
            }
            _ => {}
        }
    }

    /// A commanded reversal: the line turned at `at`. Low tension is expected until `until`.
    pub fn reversal(&mut self, at: Nanos, until: Nanos) {
        self.suppress(AlarmKind::Slack, at, until);
    }

    /// Appends what has changed since the last call, in order.
    pub fn drain(&mut self, into: &mut Vec<Event>) {
        into.append(&mut self.events);
    }

    /// Every alarm of the run, in order of raising; those that last have no `cleared_s`.
    pub fn records(&self) -> &[AlarmRecord] {
        &self.records
    }

    /// State of one alarm.
    pub fn state(&self, kind: AlarmKind, level: Level) -> AlarmState {
        self.alarms[slot(kind, level)].state
    }

    /// Whether the condition of a kind stands and is shown, at either level.
    pub fn stands(&self, kind: AlarmKind) -> bool {
        self.alarms
            .iter()
            .any(|alarm| alarm.kind == kind && alarm.state.is_standing())
    }

    /// The alarm that came first among those that are not yet dealt with.
    pub fn first_out(&self) -> Option<(AlarmKind, Level)> {
        self.first_out
            .map(|index| (self.alarms[index].kind, self.alarms[index].level))
    }

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
                    raised_s: seconds(alarm.raised[0].unwrap_or(0)),
                    until_s: alarm.until.map(seconds),
                    message: self.message(index, several),
                }
            })
            .collect()
    }

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

    /// Takes over what was saved before a restart, at the start of a run. A condition that stood
    /// counts as standing until it has been judged, or its off-delay has passed; an alarm nobody
    /// has seen stays unseen.
    pub fn restore(&mut self, at: Nanos, saved: &SavedAlarms) {
        for old in &saved.alarms {
            let index = slot(old.kind, old.level);
            self.records.push(AlarmRecord {
                kind: old.kind.name().to_owned(),
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

    fn top_overpull_stands(&self, index: usize) -> bool {
        self.alarms[index].kind == AlarmKind::Overpull
            && self.alarms[slot(AlarmKind::Overpull, Level::High)].state != AlarmState::Normal
    }

    /// When the next delay of this alarm ends.
    fn deadline(&self, index: usize) -> Option<Nanos> {
        let alarm = &self.alarms[index];
        let rule = Rule::of(alarm.kind, alarm.level);
        let delay = |s: f64| alarm.raw_since.saturating_add(nanos(s).unwrap_or(0));
        let condition = match (alarm.raw, alarm.active) {
            (true, false) => Some(delay(rule.on_delay_s)),
            (false, true) => {
                let quiet = delay(rule.off_delay_s);
                // Strictly after the minute, so that a third raising cannot fall into it.
                let hold =
                    alarm.raised[1].map_or(quiet, |before| before.saturating_add(CHATTER + 1));
                Some(quiet.max(hold))
            }
            _ => None,
        };
        let aside = alarm.state.is_aside().then_some(alarm.until).flatten();
        match (condition, aside) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    fn find_wake(&mut self) {
        self.wake = (0..self.alarms.len())
            .filter_map(|index| self.deadline(index))
            .min();
    }

    fn end_delay(&mut self, index: usize, at: Nanos) {
        let alarm = &mut self.alarms[index];
        if alarm.state.is_aside() && alarm.until.is_some_and(|until| until <= at) {
            self.apply(index, at, Stimulus::PutBack, None);
            return;
        }
        alarm.active = alarm.raw;
        let stimulus = if alarm.raw {
            Stimulus::Raise
        } else {
            Stimulus::Clear
        };
        self.apply(index, at, stimulus, None);
    }

    /// One transition with all that follows from it.
    fn apply(&mut self, index: usize, at: Nanos, stimulus: Stimulus, until: Option<Nanos>) {
        let alarm = &mut self.alarms[index];
        let latching = Rule::of(alarm.kind, alarm.level).latching;
        let before = alarm.state;
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
        alarm.record = Some(self.records.len());
        self.records.push(AlarmRecord {
            kind: alarm.kind.name().to_owned(),
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

    fn keep_peak(&mut self, index: usize) {
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
            let peak = &mut self.records[record].peak_n;
            *peak = Some(peak.map_or(value, |before| before.max(value)));
        }
    }

    fn tell(&mut self, index: usize, at: Nanos) {
        let alarm = &self.alarms[index];
        let record = match alarm.record {
            Some(record) => self.records[record].clone(),
            // Put aside before it was ever raised.
            None => AlarmRecord {
                kind: alarm.kind.name().to_owned(),
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

    fn message(&self, index: usize, several: bool) -> String {
        let alarm = &self.alarms[index];
        let mut text = sentence(
            alarm.kind,
            alarm.level,
            alarm.value,
            &alarm.detail,
            self.field_units,
        );
        text.push_str(match alarm.state {
            AlarmState::ReturnedUnacknowledged => " It is over; acknowledge it.",
            AlarmState::LatchedUnacknowledged => " It is over; acknowledge and reset it.",
            AlarmState::LatchedAcknowledged => " It is over; reset it.",
            AlarmState::Shelved => " It is shelved.",
            AlarmState::OutOfService => " It is out of service.",
            _ => "",
        });
        if several && Some(index) == self.first_out {
            text.push_str(" It came first.");
        }
        text
    }
}

#[cfg(test)]
#[path = "engine_tests.rs"]
mod tests;
