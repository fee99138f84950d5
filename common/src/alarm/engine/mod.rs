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
//! over, so that it cannot be raised a third time in it, whatever the signal does. What may never be silent wants to be
//! acknowledged again all the same when its condition has been gone and returns; and so does an alarm that comes to
//! stand for another reason than those that stood when it was acknowledged.

mod commands;
mod reasons;
mod saved;
mod transitions;
mod views;

pub use commands::{AlarmCommand, Refused, SHELVE_MAX};
pub use saved::SavedAlarms;

use super::guard::Verdict;
use super::message::Detail;
use super::rule::{ALARMS, AlarmKind, Level, Rule, Sense, slot};
use super::state::{AlarmState, Stimulus};
use crate::input::Event;
use crate::job::Display;
use crate::result::AlarmRecord;
use crate::time::{NANOS_PER_SECOND, Nanos, nanos, seconds};
use AlarmKind as K;
use serde::{Deserialize, Serialize};

/// Three raisings within this time are chatter.
const CHATTER: Nanos = 60 * NANOS_PER_SECOND;
/// Reasons for which one alarm may stand, at most.
pub(super) const REASONS: usize = 8;

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
    /// When it last stood for each reason, since it was raised.
    reasons: [Option<Nanos>; REASONS],
}

impl Alarm {
    fn is_normal_sensor(&self) -> bool {
        matches!(self.kind, AlarmKind::Sensor(_)) && self.state == AlarmState::Normal
    }

    /// When a condition that went at `raw_since` has been gone for as long as it takes to clear.
    fn quiet_at(&self) -> Nanos {
        let delay = Rule::of(self.kind, self.level).off_delay_s;
        self.raw_since.saturating_add(nanos(delay).unwrap_or(0))
    }

    /// Until when it does not clear because it was raised twice within a minute; strictly after the minute, so that a
    /// third raising cannot fall into it.
    fn held_until(&self) -> Option<Nanos> {
        self.raised[1].map(|before| before.saturating_add(CHATTER + 1))
    }

    /// Its condition is gone, and it is or will be told on because it was raised twice within a minute.
    fn is_held_by_chatter(&self) -> bool {
        let held = |until| until > self.quiet_at();
        self.active && !self.raw && self.held_until().is_some_and(held)
    }

    /// An excess is told by the most it has been while the alarm stood.
    fn keep_most(&mut self, before: &Detail) {
        let stood = self.raw || self.state.is_standing();
        if let Detail::Excess {
            above_n, most_n, ..
        } = &mut self.detail
        {
            let earlier = match before {
                Detail::Excess { most_n, .. } if stood => *most_n,
                _ => *above_n,
            };
            *most_n = above_n.max(earlier);
        }
    }
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
                reasons: [None; REASONS],
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
    #[inline]
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
        if active || self.alarms[index].raw {
            self.take_condition(index, at, active, level, value, detail);
        }
    }

    /// A condition that stands, or has just ended: nearly none does.
    fn take_condition(
        &mut self,
        index: usize,
        at: Nanos,
        active: bool,
        level: Level,
        value: Option<f64>,
        detail: Detail,
    ) {
        let alarm = &mut self.alarms[index];
        if active {
            alarm.value = value;
            let before = std::mem::replace(&mut alarm.detail, detail);
            alarm.keep_most(&before);
        }
        let mut returns = false;
        if alarm.raw != active {
            // One that may never be silent, gone for long enough: what was acknowledged is over, though it still stands.
            let may_be_silent = Rule::of(alarm.kind, alarm.level).shelvable;
            returns = active && alarm.active && !may_be_silent && at >= alarm.quiet_at();
            alarm.raw = active;
            alarm.raw_since = at;
            if !alarm.active {
                alarm.level = level;
            }
            self.find_wake();
            self.tick(at);
        }
        let alarm = &mut self.alarms[index];
        if returns && alarm.state == AlarmState::Acknowledged {
            alarm.state = AlarmState::Unacknowledged;
            self.tell(index, at);
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
    #[inline]
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
    #[inline]
    pub fn judged(&mut self, at: Nanos, verdict: &Verdict) {
        let quiet = !(verdict.overpull || verdict.pull || verdict.approaching);
        if quiet && self.alarms[..3].iter().all(|alarm| !alarm.raw) {
            self.tick(at); // nearly every reading
        } else {
            self.take_verdict(at, verdict);
        }
    }

    fn take_verdict(&mut self, at: Nanos, verdict: &Verdict) {
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
            most_n: 0.0,
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
    #[inline]
    pub fn tick(&mut self, at: Nanos) {
        if self.wake.is_some_and(|wake| wake <= at) {
            self.end_delays(at);
        }
    }

    fn end_delays(&mut self, at: Nanos) {
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
    #[inline]
    pub fn drain(&mut self, into: &mut Vec<Event>) {
        if !self.events.is_empty() {
            into.append(&mut self.events);
        }
    }

    /// Every alarm of the run, in order of raising; those that last have no `cleared_s`.
    pub fn records(&self) -> &[AlarmRecord] {
        &self.records
    }

    /// The same for a run that ends here: an alarm whose condition is gone did not last to the end, though it had not
    /// been quiet for long enough to clear.
    pub fn records_at_end(&self) -> Vec<AlarmRecord> {
        let mut records = self.records.clone();
        for alarm in self.alarms.iter().filter(|alarm| !alarm.raw) {
            let last = alarm.record.and_then(|record| records.get_mut(record));
            if let Some(last) = last.filter(|last| last.cleared_s.is_none()) {
                last.cleared_s = Some(seconds(alarm.raw_since));
            }
        }
        records
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

    /// When the next delay of this alarm ends.
    fn deadline(&self, index: usize) -> Option<Nanos> {
        let alarm = &self.alarms[index];
        let condition = match (alarm.raw, alarm.active) {
            (true, false) => {
                let delay = Rule::of(alarm.kind, alarm.level).on_delay_s;
                Some(alarm.raw_since.saturating_add(nanos(delay).unwrap_or(0)))
            }
            (false, true) => {
                let quiet = alarm.quiet_at();
                Some(alarm.held_until().map_or(quiet, |until| quiet.max(until)))
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
}

#[cfg(test)]
mod tests;
