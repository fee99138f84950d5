//! Moving, still, stalled or slack: the state of the tool, told as it happens.
//!
//! *Input*: [`Moment`]s. *Output*: a list of [`Phase`]s without gaps.
//!
//! A stall is told on either of two grounds. One is pull at the rope socket beyond what the moving
//! tool has needed of late (`usual_drag`), while the tool does not move: after a reversal the line
//! takes up with a slope far above EA/L, but its pull stays *below* what a moving tool needs until
//! every metre has turned over, so a reversal is never a stall, without any special case. The other is
//! a tool that had been following and stands while the line goes on (`following`). Slack is the same
//! going down. A stall begins when the tool stopped following (or, if it never moved, when it should
//! have), not when it was noticed.

use super::following::Following;
use super::usual_drag::UsualDrag;
use crate::motion::Moment;

/// Tool slower than this is still, m/s.
pub const STILL_SPEED: f64 = 0.02;
/// Part of line speed that a tool at rest must reach to count as moving, and that a moving one must
/// keep: below, it is the doubt in stretch that seems to move.
const START_PART: f64 = 0.4;
const KEEP_PART: f64 = 0.2;
/// A tool that was at rest or held has moved once it is this far from its place, m,
const LEAVES_M: f64 = 0.15;
/// and a held one by this part of what the line moved meanwhile: its stretch is in doubt.
const STRETCH_DOUBT: f64 = 0.15;
/// A pull beyond what a moving tool may need must last this long, s: static friction breaks sooner.
const LASTS_S: f64 = 0.6;
/// And so much line must have moved meanwhile, m.
const GOES_ON_M: f64 = 0.25;
/// After a reversal this much: breaking loose takes more than moving does.
const TAKE_UP_M: f64 = 0.6;
/// A tool that stands while the line goes on is held if its pull has grown by so much, N.
const RISES_N: f64 = 80.0;
/// And by this part of the margin beyond the usual pull.
const RISES_PART: f64 = 0.3;
/// Once the winch has turned and the pull is gone, one that was pulled by less line than this only stuck, m: it is held
/// no more, while one that was pulled harder is so until it moves.
const STUCK_ONLY_M: f64 = 1.0;
/// It lies slack if the line carries less than this part of its weight: one that sticks going down hangs on.
const CARRIED_PART: f64 = 0.4;
/// Until it carries this part again.
const CARRIES_PART: f64 = 0.6;

/// What the tool does, as far as motion tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Motionless {
    /// No data.
    Unknown,
    /// Tool below 2 cm/s.
    Still,
    /// Going up.
    Up,
    /// Going down.
    Down,
    /// Held while pulled.
    Stalled,
    /// Held going down.
    Slack,
}

impl Motionless {
    /// Up or down, of a speed positive down.
    pub(super) fn way(speed: f64) -> Self {
        if speed < 0.0 { Self::Up } else { Self::Down }
    }
}

/// A stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// What the tool did.
    pub what: Motionless,
    /// From, s; it lasts until the next phase.
    pub start: f64,
}

/// Follows the state.
#[derive(Debug, Clone)]
pub struct HoldTracker {
    phases: Vec<Phase>,
    usual: UsualDrag,
    following: Following,
    /// Until when there were data, s.
    seen_until: f64,
    /// Last time the tool moved, s.
    moved_at: f64,
    /// When the pull crossed the usual drag since the tool last moved, s.
    due_up: Option<f64>,
    due_down: Option<f64>,
    /// Since when the pull has been beyond what a moving tool may need, s.
    beyond_up: Option<f64>,
    beyond_down: Option<f64>,
    /// Line moved since then, m.
    beyond_m: f64,
    moving_cells: u32,
    /// Where the tool stands, m, and the line counted there, m.
    held_at: f64,
    held_line: f64,
    pulled: bool,
    lowered: bool,
    /// Line pulled since it stands, m.
    pulled_m: f64,
}

impl HoldTracker {
    /// At the start of a run. `interval`: depths between which the cutter may be put out, m;
    /// `first_pass`: drag of a first pass of all wheels, N.
    pub fn new(interval: (f64, f64), first_pass: f64) -> Self {
        Self {
            phases: Vec::new(),
            usual: UsualDrag::new(interval, first_pass),
            following: Following::new(),
            seen_until: f64::NEG_INFINITY,
            moved_at: f64::NEG_INFINITY,
            due_up: None,
            due_down: None,
            beyond_up: None,
            beyond_down: None,
            beyond_m: 0.0,
            moving_cells: 0,
            held_at: 0.0,
            held_line: 0.0,
            pulled: false,
            lowered: false,
            pulled_m: 0.0,
        }
    }

    /// Phases so far.
    pub fn phases(&self) -> &[Phase] {
        &self.phases
    }

    /// The present phase.
    pub fn now(&self) -> Motionless {
        self.phases.last().map_or(Motionless::Unknown, |p| p.what)
    }

    /// Depths are told anew, deeper by `by` m: the tool did not move.
    pub fn shift(&mut self, by: f64) {
        self.held_at += by;
        self.usual.shift(by);
    }

    /// The cutter went out: what ran free before says nothing any more.
    pub fn cutter_out(&mut self) {
        self.usual.cutter_out();
    }

    /// Takes a moment.
    pub fn push(&mut self, m: &Moment) {
        if m.after_gap && !self.phases.is_empty() {
            self.silence();
        }
        self.seen_until = m.t + crate::align::CELL_S;
        let now = self.now();
        let held = matches!(now, Motionless::Stalled | Motionless::Slack);
        let rests = now == Motionless::Still;
        let part = match now {
            Motionless::Up | Motionless::Down => KEEP_PART,
            _ => START_PART,
        };
        // The tool never goes against a moving line, and does not go at all on a slack one.
        let against = m.speed * m.line_speed < 0.0 && m.line_speed.abs() > STILL_SPEED;
        let moves =
            !against && !m.unloaded && m.speed.abs() >= STILL_SPEED.max(part * m.line_speed.abs());
        if moves {
            self.moving_cells += 1;
            // A held tool must be seen to leave its place: a jerk of the line is no movement. Nor is noise
            // of the load cell while the winch rests.
            if !held && !rests {
                self.moves(m, m.t);
            } else if self.moving_cells >= 3 && self.left_its_place(m, held) {
                self.moves(
                    m,
                    m.t - f64::from(self.moving_cells - 1) * crate::align::CELL_S,
                );
            }
            return;
        }
        self.moving_cells = 0;
        if !held && !rests {
            self.held_at = m.depth;
            self.held_line = m.counted;
        }
        self.stands(m, now);
    }

    /// There were no data since [`Self::seen_until`]: what was going on then has ended, and nothing is known after it.
    fn silence(&mut self) {
        self.moving_cells = 0;
        self.no_pull();
        self.set(Motionless::Unknown, self.seen_until);
    }

    /// No pull is known that a moving tool would not need.
    fn no_pull(&mut self) {
        self.due_up = None;
        self.due_down = None;
        self.beyond_up = None;
        self.beyond_down = None;
    }

    fn left_its_place(&self, m: &Moment, held: bool) -> bool {
        let line = (m.counted - self.held_line).abs();
        let doubt = if held { STRETCH_DOUBT * line } else { 0.0 };
        (m.depth - self.held_at).abs() > LEAVES_M + doubt
    }

    fn moves(&mut self, m: &Moment, since: f64) {
        let metres = m.speed.abs() * crate::align::CELL_S;
        let way = Motionless::way(m.speed);
        if m.speed.abs() > 2.0 * STILL_SPEED {
            self.usual.learn(way, m, metres);
        }
        self.usual.reaches(m.depth);
        self.following.moves(way, m, metres);
        self.moved_at = m.t;
        self.no_pull();
        self.beyond_m = 0.0;
        self.pulled = false;
        self.lowered = false;
        self.pulled_m = 0.0;
        self.set(way, since);
    }

    fn stands(&mut self, m: &Moment, now: Motionless) {
        use Motionless::{Down, Slack, Stalled, Still, Up};
        self.pulled |= m.line_speed < -STILL_SPEED;
        self.lowered |= m.line_speed > STILL_SPEED;
        self.pulled_m += (-m.line_speed).max(0.0) * crate::align::CELL_S;
        let way = Motionless::way(m.line_speed);
        let excess_up = m.hold_up - self.usual.mean(Up);
        let excess_down = m.hold_down - self.usual.mean(Down);
        let over_up = excess_up - self.usual.may_add(Up, m.depth);
        let over_down = excess_down - self.usual.may_add(Down, m.depth);
        due(&mut self.due_up, over_up, m.t);
        due(&mut self.due_down, over_down, m.t);
        due(&mut self.beyond_up, over_up - self.usual.margin(Up), m.t);
        due(
            &mut self.beyond_down,
            over_down - self.usual.margin(Down),
            m.t,
        );
        self.beyond_m = match (self.beyond_up, self.beyond_down) {
            (None, None) => 0.0,
            _ => self.beyond_m + m.line_speed.abs() * crate::align::CELL_S,
        };
        // A winch that comes to rest leaves the line drawn tight: only line that goes on moving
        // shows that the tool does not follow.
        let needed = if self.moved_last(way) {
            GOES_ON_M
        } else {
            TAKE_UP_M
        };
        let goes_on = self.beyond_m >= needed;
        let lasts = |since: Option<f64>| goes_on && since.is_some_and(|s| m.t - s >= LASTS_S);
        let lags = self.following.lags(way, m);
        let rises = |hold: f64| hold - self.following.drag() - RISES_N;
        let held_up = lags
            && way == Up
            && rises(m.hold_up) > self.usual.at_ends(m.depth)
            && excess_up > RISES_PART * self.usual.margin(Up);
        let held_down = lags
            && way == Down
            && rises(m.hold_down) > 0.0
            && excess_down > RISES_PART * self.usual.margin(Down)
            && m.carried < CARRIED_PART;
        if self.pulled && (held_up || lasts(self.beyond_up) || now == Stalled && over_up > 0.0) {
            if now != Stalled {
                self.set_since(Stalled, self.since(self.due_up, Up, m.t));
            }
        } else if m.unloaded || self.lowered && (held_down || lasts(self.beyond_down)) {
            if m.unloaded || now != Slack {
                self.set_since(Slack, self.since(self.due_down, Down, m.t));
            }
        } else if now == Stalled
            && !(self.pulled_m < STUCK_ONLY_M && m.line_speed > STILL_SPEED && excess_up < 0.0)
        {
            // Held until it moves, even when the pull is let go.
        } else if now == Slack && m.carried < CARRIES_PART {
            // The line does not carry its weight yet.
        } else {
            self.set(Still, m.t);
        }
    }

    /// The last movement of the tool was `way`.
    fn moved_last(&self, way: Motionless) -> bool {
        let last = self
            .phases
            .iter()
            .rev()
            .find(|p| matches!(p.what, Motionless::Up | Motionless::Down));
        last.is_some_and(|p| p.what == way)
    }

    /// When holding began: the tool stopped following, or should have begun to move.
    fn since(&self, due: Option<f64>, way: Motionless, now: f64) -> f64 {
        let moved_that_way = self.moved_last(way);
        let due = due.unwrap_or(now);
        if moved_that_way && due - self.moved_at < 3.0 {
            self.moved_at
        } else {
            due
        }
    }

    fn set(&mut self, what: Motionless, t: f64) {
        if self.phases.last().is_none_or(|p| p.what != what) {
            self.phases.push(Phase { what, start: t });
        }
    }

    fn set_since(&mut self, what: Motionless, since: f64) {
        while self.phases.last().is_some_and(|p| p.start >= since) {
            self.phases.pop();
        }
        self.set(what, since);
    }
}

fn due(at: &mut Option<f64>, over: f64, t: f64) {
    if over <= 0.0 {
        *at = None;
    } else if at.is_none() {
        *at = Some(t);
    }
}

#[cfg(test)]
mod tests;
