//! What the operator may do to an alarm, and what is refused.

use super::super::rule::{AlarmKind, Level, Rule, slot};
use super::super::state::{AlarmState, Stimulus};
use super::AlarmEngine;
use crate::input::MarkKind;
use crate::time::{Nanos, nanos};
use serde::{Deserialize, Serialize};

/// Longest shelving, s: one shift (common practice, no source).
pub const SHELVE_MAX: f64 = 12.0 * 3600.0;

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

impl AlarmEngine {
    /// A command by alarm name, as marks carry it: a kind, or one of its alarms ([`AlarmKind::split_name`]); `all`
    /// acknowledges or resets every alarm.
    ///
    /// # Errors
    /// [`Refused`] when nothing was changed.
    pub fn command(&mut self, at: Nanos, name: &str, command: AlarmCommand) -> Result<(), Refused> {
        self.tick(at);
        let all =
            name == "all" && matches!(command, AlarmCommand::Acknowledge | AlarmCommand::Reset);
        let (kind, about) = AlarmKind::split_name(name);
        let is_meant = |alarm: AlarmKind| {
            alarm.name() == kind && about.is_none_or(|about| alarm.about() == about)
        };
        let chosen: Vec<usize> = (0..self.alarms.len())
            .filter(|index| all || is_meant(self.alarms[*index].kind))
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
            // Both instruments have one name: to put the silent one aside says nothing of the other.
            AlarmCommand::Shelve(_) if alarm.is_normal_sensor() => {
                return Err(Refused::NothingToDo);
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

    fn top_overpull_stands(&self, index: usize) -> bool {
        self.alarms[index].kind == AlarmKind::Overpull
            && self.alarms[slot(AlarmKind::Overpull, Level::High)].state != AlarmState::Normal
    }
}
