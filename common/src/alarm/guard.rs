//! Overpull and the approach to it, judged on every load reading by itself.
//!
//! *Input*: line paid out, m, and line tension, N, as they arrive. *Output*: a [`Verdict`] for each
//! load reading. The same guard runs on the instrument path of the daemon and in the pipeline;
//! its result depends on the order of its inputs only. No allocation after construction.
//!
//! *Overpull*: tension against the limit of the weakest link at this depth, with the deadband of
//! its rule; where the depth is not known, or no longer, against the least limit of all depths.
//! *Pull*: tension against expected pick-up weight, by what the job allows; where the last
//! three strokes took more than that all along, by half of it beyond what they took. A reading that
//! no line could give (a jump of more than a quarter of the limit, and more than the line stretched
//! by its own speed and its waves explains) counts when the next reading confirms it; every other
//! reading counts at once. A loose contact puts zeros between such readings, so that no two follow
//! each other: those that come again and again count too, and hold for as long as they come.
//!
//! *Approaching*: with the tool held, tension rises by `EA/L` times line speed; after a reversal it
//! rises faster at first, as only the upper part of the line has turned over its friction, until it has reached pick-up weight.
//! So below the expected pick-up weight the rate is taken as `EA/L v`, above it as the greater of
//! that and the slope seen; and there must be a rise: a steady pull is no approach. Up to the pull
//! at which the last strokes ran steadily, a rise is the cutter taking hold, which looks like a
//! stall until it ends: it is no approach either. Before a stroke has been seen, the warning comes
//! as late as still leaves a second. *Limits*: the waves of a stall (steps of twice `EA/c v`, one
//! each `2L/c`) let tension jump ahead of its mean; the time set by
//! [`crate::job::AlarmLimits::approaching`] has to cover half a step.

use super::guard_model::{GuardModel, PickUpTable, Piece};
use super::rule::{AlarmKind, Level, Rule, Sense};
use super::slope::RobustSlope;
use super::usual_pull::{Noted, UsualPull};
use crate::time::{NANOS_PER_SECOND, Nanos};
use std::sync::Arc;

/// Slower than this the line counts as not pulled, m/s.
const PULLED_M_S: f64 = 0.02;
/// Where ordinary strokes pull harder than the job allows, that is no news at each of them: there this part of the
/// allowed pull may be added to theirs.
const USUAL_EXCEEDED_PART: f64 = 0.5;
/// Older line readings say nothing about the speed now.
const SPEED_AGE_MAX: Nanos = 2 * NANOS_PER_SECOND;
/// Nor, when older than this, about the depth: until then the line has gone some 60 m at most, a hundredth of the limit.
const LINE_AGE_MAX: Nanos = 30 * NANOS_PER_SECOND;
/// Within this time the third high reading that none beside it confirms is no spike.
const AGAIN: Nanos = 2 * NANOS_PER_SECOND;

/// What the guard makes of one load reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// The reading, N.
    pub tension_n: f64,
    /// Limit here, N.
    pub limit_n: f64,
    /// Tension is at or above the limit (with deadband).
    pub overpull: bool,
    /// Tension is above the expected pick-up weight by more than allowed (with deadband).
    pub pull: bool,
    /// How much more than that is allowed, N: what the job says, or what the last strokes here took and half as
    /// much as it says.
    pub allowed_n: f64,
    /// Expected pick-up weight, N; `None` while the depth is not known.
    pub pick_up_n: Option<f64>,
    /// The limit is near at this rate.
    pub approaching: bool,
    /// Time to the limit while tension rises towards it, s; `None` while that is far away.
    pub time_to_limit_s: Option<f64>,
}

/// Judges every load reading.
///
/// ```
/// use kerfwatch::alarm::{GuardModel, OverpullGuard};
/// use kerfwatch::job::{print_default_job, read_job};
///
/// let job = read_job(print_default_job(), "job.toml")?.job;
/// let mut guard = OverpullGuard::new(GuardModel::new(&job));
/// guard.line(0, 2010.0);
/// assert!(!guard.load(1_000_000, 3000.0).overpull);
/// let limit_n = guard.model().limit_n(Some(2010.0));
/// assert!(guard.load(2_000_000, limit_n + 1.0).overpull);
/// # Ok::<(), kerfwatch::job::Findings>(())
/// ```
#[derive(Debug, Clone)]
pub struct OverpullGuard {
    model: GuardModel,
    tension: RobustSlope,
    line: RobustSlope,
    line_m: Option<f64>,
    /// The piece of the tables that was read last.
    near: Piece,
    /// What holds with so much line out: of the tables, and of the last strokes there.
    limit_n: f64,
    pick_up_n: Option<f64>,
    allowed_n: f64,
    before: Option<(Nanos, f64)>,
    doubtful: bool,
    /// The last two high readings that were doubtful, newest first.
    unconfirmed: [Option<Nanos>; 2],
    /// Until when what came again and again holds, whatever lies between.
    held_until: Option<Nanos>,
    overpull: bool,
    pull: bool,
    approaching: bool,
    usual: UsualPull,
}

impl OverpullGuard {
    /// A guard at the start of a run.
    pub fn new(model: GuardModel) -> Self {
        let mut guard = Self {
            near: model.piece(0.0),
            model,
            tension: RobustSlope::default(),
            line: RobustSlope::default(),
            line_m: None,
            limit_n: 0.0,
            pick_up_n: None,
            allowed_n: 0.0,
            before: None,
            doubtful: false,
            unconfirmed: [None; 2],
            held_until: None,
            overpull: false,
            pull: false,
            approaching: false,
            usual: UsualPull::default(),
        };
        guard.look_up();
        guard
    }

    /// The tables it judges by.
    pub fn model(&self) -> &GuardModel {
        &self.model
    }

    /// A reading of line paid out, m.
    #[inline]
    pub fn line(&mut self, at: Nanos, line_m: f64) {
        if line_m.is_finite() {
            if self.line_m != Some(line_m) {
                self.line_m = Some(line_m);
                self.look_up();
            }
            self.line.push(at, line_m);
        }
    }

    /// The depth counter was set: readings before and after it make no speed.
    pub fn new_counter(&mut self) {
        self.line = RobustSlope::default();
    }

    /// From now on pick-up weight is that learned from free passes, instead of that of the job file.
    pub fn use_pick_up(&mut self, table: &Arc<PickUpTable>) {
        self.model.use_pick_up(table);
        self.near = self.model.piece(0.0);
        self.look_up();
    }

    fn look_up(&mut self) {
        match self.line_m {
            Some(line) => {
                // Most readings find the line within 10 m of where it was.
                if !self.near.holds(line) {
                    self.near = self.model.piece(line);
                }
                self.limit_n = self.near.limit_n(line);
                self.pick_up_n = Some(self.near.pick_up_n(line));
            }
            None => (self.limit_n, self.pick_up_n) = (self.model.limit_n(None), None),
        }
        self.allowed_n = self.allowed_here_n();
    }

    /// Line speed, positive in, m/s; `None` when it is not known.
    pub fn line_speed_m_s(&mut self, at: Nanos) -> Option<f64> {
        if self.is_line_silent(at) {
            return None;
        }
        self.line.slow()
    }

    /// The same, cheaper and not robust: enough to see that the limit is far.
    fn rough_speed_m_s(&self, at: Nanos) -> Option<f64> {
        if self.is_line_silent(at) {
            return None;
        }
        self.line.rough()
    }

    fn is_line_silent(&self, at: Nanos) -> bool {
        self.is_line_older(at, SPEED_AGE_MAX)
    }

    fn is_line_older(&self, at: Nanos, age: Nanos) -> bool {
        self.line
            .newest()
            .is_none_or(|newest| at.saturating_sub(newest) > age)
    }

    /// A load reading, N of line tension.
    #[inline]
    pub fn load(&mut self, at: Nanos, tension_n: f64) -> Verdict {
        let limit_n = if self.is_line_older(at, LINE_AGE_MAX) {
            self.model.limit_n(None)
        } else {
            self.limit_n
        };
        let is_doubtful = self.is_doubtful(at, tension_n, limit_n);
        // A level and a slope with one that no line could give in them would tell of an approach.
        if !is_doubtful && self.tension.push(at, tension_n) {
            self.note_usual_pull(at);
        }
        let (pick_up_n, allowed_n) = (self.pick_up_n, self.allowed_n);
        if !is_doubtful || self.comes_again(at, tension_n, limit_n) {
            let rule = Rule::of(AlarmKind::Overpull, Level::High);
            let overpull = rule.exceeds(self.overpull, tension_n, limit_n, Sense::Above);
            let rule = Rule::of(AlarmKind::Overpull, Level::Low);
            let pull = pick_up_n.is_some_and(|pick_up| {
                let above = tension_n - pick_up;
                rule.exceeds(self.pull, above, allowed_n, Sense::Above)
            });
            let held = self.held_until.is_some_and(|until| at <= until);
            self.overpull = overpull || held && self.overpull;
            self.pull = pull || held && self.pull;
        }

        let level = self.tension.level().unwrap_or(tension_n);
        let time_to_limit_s = if self.is_far(at, limit_n - level) {
            self.approaching = false;
            None
        } else {
            self.approach(at, level, limit_n)
        };
        Verdict {
            tension_n,
            limit_n,
            overpull: self.overpull,
            pull: self.pull,
            allowed_n,
            pick_up_n,
            approaching: self.approaching,
            time_to_limit_s,
        }
    }

    /// Judges the approach to the limit from near by; gives the time to it, s.
    fn approach(&mut self, at: Nanos, level: f64, limit_n: f64) -> Option<f64> {
        let pick_up_n = self.pick_up_n;
        let speed = self.line_speed_m_s(at);
        let rate = self.rate_n_s(pick_up_n, speed);
        let time = rate.map(|rate| ((limit_n - level) / rate).max(0.0));
        self.approaching = time.is_some_and(|time| {
            self.is_unusual(level, limit_n, pick_up_n, speed) && time < self.warn_before_s()
        });
        time
    }

    /// Whether this reading has to wait for the next one to be believed.
    #[inline]
    fn is_doubtful(&mut self, at: Nanos, tension_n: f64, limit_n: f64) -> bool {
        if !tension_n.is_finite() {
            return true;
        }
        let Some((when, before)) = self.before else {
            self.before = Some((at, tension_n));
            return false;
        };
        let seconds = at.saturating_sub(when).max(0) as f64 * 1e-9;
        let rise = (tension_n - before).abs();
        let jump = rise > 0.25 * limit_n && rise > self.explained_n(at, seconds);
        // A second reading up there is no spike, and after a silence nothing is a jump.
        if jump && !self.doubtful && seconds < 0.5 {
            self.doubtful = true;
            return true;
        }
        self.doubtful = false;
        self.before = Some((at, tension_n));
        false
    }

    /// Whether this doubtful reading is the third high one within a moment: a loose contact, not a spike. From then
    /// on the readings between them end nothing.
    fn comes_again(&mut self, at: Nanos, tension_n: f64, limit_n: f64) -> bool {
        let pulled = |pick_up| tension_n - pick_up >= self.allowed_n;
        let is_high = tension_n >= limit_n || self.pick_up_n.is_some_and(pulled);
        if !is_high {
            return false;
        }
        let third = self.unconfirmed[1];
        self.unconfirmed = [Some(at), self.unconfirmed[0]];
        let again = third.is_some_and(|third| at.saturating_sub(third) <= AGAIN);
        if again {
            self.held_until = Some(at.saturating_add(AGAIN));
        }
        again
    }

    /// Change of tension that the line's own speed and waves can make in so many seconds, N.
    fn explained_n(&mut self, at: Nanos, seconds: f64) -> f64 {
        let speed = self.line_speed_m_s(at).unwrap_or(0.0);
        3.0 * self.held_rate_n_s(speed) * seconds + 4.0 * self.model.impedance_n_s_m * speed.abs()
    }

    /// Too far from the limit for any warning, by twice its time.
    fn is_far(&self, at: Nanos, gap_n: f64) -> bool {
        let held = match self.rough_speed_m_s(at) {
            Some(speed) if -speed > PULLED_M_S => self.held_rate_n_s(speed),
            _ => 0.0,
        };
        let seen = self.tension.rough().unwrap_or(0.0);
        gap_n > 2.0 * self.model.approaching_s * held.max(seen)
    }

    fn note_usual_pull(&mut self, at: Nanos) {
        let Some(speed) = self.rough_speed_m_s(at) else {
            return;
        };
        let is_up = -speed > PULLED_M_S;
        let is_steady = self
            .tension
            .rough()
            .is_some_and(|slope| slope.abs() < 0.25 * self.held_rate_n_s(speed));
        let steady_n = if is_up && is_steady {
            self.tension.level()
        } else {
            None
        };
        let noted = Noted {
            is_up,
            steady_n,
            line_m: self.line_m,
            pick_up_n: self.pick_up_n,
        };
        if self.usual.note(at, noted) {
            self.allowed_n = self.allowed_here_n();
        }
    }

    /// Pull above the expected pick-up weight that is allowed here, N.
    fn allowed_here_n(&self) -> f64 {
        let set = self.model.overpull_n;
        let usual = self
            .line_m
            .and_then(|line| self.usual.above_pick_up_n(line));
        usual.map_or(set, |usual| set.max(usual + USUAL_EXCEEDED_PART * set))
    }

    /// Rise of tension with the tool held, N/s.
    fn held_rate_n_s(&self, speed: f64) -> f64 {
        self.model.ea_n / self.line_m.unwrap_or(0.0).max(20.0) * speed.abs()
    }

    /// Whether tension is beyond what the last strokes took.
    fn is_unusual(
        &self,
        level: f64,
        limit_n: f64,
        pick_up_n: Option<f64>,
        speed: Option<f64>,
    ) -> bool {
        let Some(usual) = self.usual.level_n() else {
            return true;
        };
        // However hard the last strokes pulled, half way to the limit is worth a warning.
        let usual = usual.min(0.5 * (limit_n + pick_up_n.unwrap_or(limit_n)));
        // 0.15 s of a stall; a harder patch of pipe does less, as a rule.
        let margin = speed.map_or(50.0, |speed| (0.15 * self.held_rate_n_s(speed)).max(50.0));
        level > usual + margin
    }

    /// How long before the limit to warn, s.
    fn warn_before_s(&self) -> f64 {
        let wanted = self.model.approaching_s;
        let before = if self.usual.level_n().is_some() {
            wanted
        } else {
            // Z L / EA is half an echo: the second to be left, half a step of the stall's waves, and
            // the time it takes to see a rise.
            let half_echo =
                self.model.impedance_n_s_m * self.line_m.unwrap_or(0.0) / self.model.ea_n;
            wanted.min(1.3 + half_echo)
        };
        // Once near, it takes half as much time again to be far.
        if self.approaching {
            1.5 * before
        } else {
            before
        }
    }

    /// Rate at which tension goes to the limit, N/s; `None` while it does not.
    fn rate_n_s(&mut self, pick_up_n: Option<f64>, speed: Option<f64>) -> Option<f64> {
        let slow = self.tension.slow()?;
        let fast = self.tension.fast().unwrap_or(slow);
        let level = self.tension.level()?;
        let above_pick_up = pick_up_n.is_none_or(|pick_up| level > pick_up);
        let rate = match speed {
            Some(speed) if -speed > PULLED_M_S => {
                let held = self.held_rate_n_s(speed);
                let rises = slow > 0.4 * held || fast > 0.6 * held;
                if !rises {
                    return None;
                }
                if above_pick_up { held.max(slow) } else { held }
            }
            // The line rests or goes in: what still rises is the echo of a pull.
            Some(_) if !above_pick_up => return None,
            None if !above_pick_up => return None,
            _ => slow,
        };
        (rate > 1.0).then_some(rate)
    }
}

#[cfg(test)]
#[path = "guard_tests.rs"]
mod tests;
