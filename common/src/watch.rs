//! Watching: from readings and tool motion to alarm conditions.
//!
//! *Input*: every load and depth reading as it arrives, moments of tool motion, health of the
//! instruments. *Output*: an [`AlarmEngine`] that knows. The overpull guard sees each reading before
//! anything else does; the same guard runs in the daemon ahead of record and queue.

use crate::alarm::{
    AlarmEngine, AlarmKind, Detail, GuardModel, OverpullGuard, PickUpTable, Sense, Verdict,
};
use crate::calibrate::{ChannelHealth, Fault};
use crate::infer::hold::Motionless;
use crate::input::{ChannelId, MarkKind};
use crate::job::{AlarmLimits, Job};
use crate::motion::Moment;
use crate::time::{NANOS_PER_SECOND, Nanos, nanos};
use std::sync::Arc;

/// Low tension is expected for this long after the line turns.
const REVERSAL: Nanos = 3 * NANOS_PER_SECOND;
/// The program ticks many times a second: after a pause longer than this it did not run.
const AWAY: Nanos = NANOS_PER_SECOND;
/// Reason of the sensor alarm where the cell's zero has stepped: none of those that its readings show by themselves.
const ZERO_STEPPED: usize = 7;
/// Less than that is no matter for the limit, N (our own choice: the scatter of pulls is as large).
const ZERO_TOLD_N: f64 = 100.0;
/// Slowest line movement that has a direction, m/s.
const TURN_SPEED: f64 = 0.03;

/// Alarm conditions of a run.
#[derive(Debug)]
pub struct Watch {
    limits: AlarmLimits,
    guard: OverpullGuard,
    /// The alarms.
    pub engine: AlarmEngine,
    verdict: Option<Verdict>,
    line_way: f64,
    absence: Absence,
    /// By how much more the cell reads than when the run began, or the crew last weighed the tool, N.
    zero_stepped: f64,
}

/// When the program itself did not run: the silence of that time is no fault of an instrument.
#[derive(Debug, Default)]
struct Absence {
    ticked: Option<Nanos>,
    back: Option<Nanos>,
    /// Silence of load and depth that counts as a fault, and whether each was silent at the last tick.
    stale_after: [Nanos; 2],
    silent: [bool; 2],
}

impl Absence {
    fn of(job: &Job) -> Self {
        let (load, depth) = (job.load.as_ref(), job.depth.as_ref());
        let channels = [
            load.map(|load| &load.channel),
            depth.map(|depth| &depth.channel),
        ];
        let stale_after = channels.map(|channel| channel.and_then(|c| nanos(c.stale_after.si())));
        Self {
            stale_after: stale_after.map(|time| time.unwrap_or(0)),
            ..Self::default()
        }
    }

    /// Whether a silence is the program's own: it began while the program did not run, and the instrument has not had
    /// its time to speak since.
    fn explains(&mut self, at: Nanos, channel: ChannelId, is_silent: bool) -> bool {
        // Health is told at every tick.
        if self.ticked.is_some_and(|ticked| at - ticked > AWAY) {
            self.back = Some(at);
        }
        self.ticked = Some(at);
        let place = usize::from(channel == ChannelId::Depth);
        let has_time = self
            .back
            .is_some_and(|back| at - back <= self.stale_after[place]);
        let explains = is_silent && has_time && !self.silent[place];
        self.silent[place] = is_silent && !explains;
        explains
    }
}

impl Watch {
    /// At the start of a run.
    pub fn new(job: &Job) -> Self {
        Self {
            limits: job.alarm.clone(),
            guard: OverpullGuard::new(GuardModel::new(job)),
            engine: AlarmEngine::new(job.info.display),
            verdict: None,
            line_way: 0.0,
            absence: Absence::of(job),
            zero_stepped: 0.0,
        }
    }

    /// The cell reads so much more from now on, N, and nobody knows why.
    pub fn zero_stepped(&mut self, by_n: f64) {
        self.zero_stepped += by_n;
    }

    /// From now on pick-up weight is that learned from free passes. Comes at the input that taught it, so
    /// that a replay judges every reading by the same figure.
    pub fn use_pick_up(&mut self, table: &Arc<PickUpTable>) {
        self.guard.use_pick_up(table);
    }

    /// The newest verdict of the guard.
    pub fn verdict(&self) -> Option<&Verdict> {
        self.verdict.as_ref()
    }

    /// Limit of surface tension now, N.
    pub fn limit_n(&self, line_m: Option<f64>) -> f64 {
        self.guard.model().limit_n(line_m)
    }

    /// A depth reading, m.
    #[inline]
    pub fn depth(&mut self, at: Nanos, line_m: f64) {
        self.guard.line(at, line_m);
    }

    /// A load reading, N.
    #[inline]
    pub fn load(&mut self, at: Nanos, tension_n: f64) {
        let verdict = self.verdict.insert(self.guard.load(at, tension_n));
        self.engine.judged(at, verdict);
    }

    /// A moment of tool motion, told at `at`.
    pub fn moment(&mut self, at: Nanos, m: &Moment, state: Motionless) {
        let way = m.line_speed.signum();
        if m.line_speed.abs() > TURN_SPEED && way != self.line_way {
            self.line_way = way;
            self.engine.reversal(at, at + REVERSAL);
        }
        for (kind, active) in [
            (AlarmKind::Stall, state == Motionless::Stalled),
            (AlarmKind::Slack, state == Motionless::Slack),
        ] {
            self.engine.condition(
                kind,
                at,
                active,
                kind.usual_level(),
                Some(m.tension),
                Detail::None,
            );
        }
        let limits = &self.limits;
        self.engine.measure(
            AlarmKind::Speed,
            at,
            AlarmKind::Speed.usual_level(),
            m.line_speed.abs(),
            limits.speed.si(),
            Sense::Above,
        );
        if let Some(stop) = limits.upper_stop {
            self.engine.measure(
                AlarmKind::UpperStop,
                at,
                AlarmKind::UpperStop.usual_level(),
                m.depth,
                stop.si(),
                Sense::Below,
            );
        }
        if let Some(stop) = limits.lower_stop {
            self.engine.measure(
                AlarmKind::LowerStop,
                at,
                AlarmKind::LowerStop.usual_level(),
                m.depth,
                stop.si(),
                Sense::Above,
            );
        }
    }

    /// Health of an instrument: no data is never "no alarm".
    pub fn health(&mut self, at: Nanos, channel: ChannelId, health: &ChannelHealth) {
        let words = health.fault.in_words().into();
        let is_away = (self.absence).explains(at, channel, health.fault == Fault::Stale);
        // A part of its readings can still be used, by the guard at least.
        let detail = match health.fault {
            Fault::Stale if is_away => Detail::Away,
            Fault::Leapt => Detail::Leapt(health.leapt_m),
            Fault::Leaps => Detail::Partly(words),
            Fault::Frames if health.rate_hz > 0.0 => Detail::Partly(words),
            _ => Detail::Text(words),
        };
        let is_sound = channel == ChannelId::Load && health.fault == Fault::None;
        let stepped = Some(self.zero_stepped).filter(|n| is_sound && n.abs() >= ZERO_TOLD_N);
        let (reason, detail) = match stepped {
            Some(by_n) => (ZERO_STEPPED, Detail::ZeroStepped(by_n)),
            None => (health.fault.reason(), detail),
        };
        self.engine.condition_for(
            AlarmKind::Sensor(channel),
            at,
            health.fault != Fault::None || stepped.is_some(),
            reason,
            detail,
        );
    }

    /// Part of the bending life used.
    pub fn line_life(&mut self, at: Nanos, used: Option<f64>) {
        if let Some(used) = used {
            self.engine.measure(
                AlarmKind::LineLife,
                at,
                AlarmKind::LineLife.usual_level(),
                used,
                self.limits.line_life,
                Sense::Above,
            );
        }
    }

    /// Time passed.
    pub fn tick(&mut self, at: Nanos) {
        self.engine.tick(at);
    }

    /// Alarm marks of the operator; others are no business of this stage.
    pub fn mark(&mut self, at: Nanos, mark: &MarkKind) {
        let name = match mark {
            MarkKind::Acknowledge(name) | MarkKind::Reset(name) | MarkKind::Shelve(name, _) => name,
            MarkKind::Zero(_) => return self.guard.new_counter(),
            MarkKind::WeightCheck => {
                self.zero_stepped = 0.0;
                return;
            }
            MarkKind::AlarmsBefore(saved) => {
                // The daemon wrote it; in a damaged record there is nothing to take over.
                if let Ok(saved) = serde_json::from_str(saved) {
                    self.engine.restore(at, &saved);
                }
                return;
            }
            _ => return,
        };
        if AlarmKind::is_of_daemon(AlarmKind::split_name(name).0) {
            return; // its own engine takes it
        }
        // A refused command changes nothing; the page has told the operator so already.
        let _ = self.engine.mark(at, mark);
    }
}

#[cfg(test)]
mod tests;
