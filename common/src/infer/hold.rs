//! Moving, still, stalled or slack: the state of the tool, told as it happens.
//!
//! *Input*: [`Moment`]s. *Output*: a list of [`Phase`]s without gaps.
//!
//! A stall is pull at the rope socket beyond what the moving tool has needed of late, while the
//! tool does not move; slack is the same going down. After a reversal the line takes up with a
//! slope far above EA/L, but its pull stays *below* what a moving tool needs until every metre has
//! turned over: so a reversal is never a stall, without any special case. A stall begins when the
//! tool stopped following (or, if it never moved, when it should have), not when it was noticed.

use crate::motion::Moment;

/// Tool slower than this is still, m/s.
pub const STILL_SPEED: f64 = 0.02;
/// Part of line speed that a tool at rest must reach to count as moving, and that a moving one must
/// keep: below, it is the doubt in stretch that seems to move.
const START_PART: f64 = 0.4;
const KEEP_PART: f64 = 0.2;
/// Least pull beyond the usual one that makes a stall, N.
const MARGIN_MIN: f64 = 120.0;
/// Largest.
const MARGIN_MAX: f64 = 600.0;
/// A held tool has moved once it is this far from where it was held, m.
const LEAVES_M: f64 = 0.12;
/// A pull beyond that must last this long, s: static friction breaks sooner.
const LASTS_S: f64 = 0.6;
/// And so much line must have moved meanwhile, m.
const GOES_ON_M: f64 = 0.25;
/// After a reversal this much: breaking loose takes more than moving does.
const TAKE_UP_M: f64 = 0.6;
/// The first pass may drag this much over its nominal value: force and hardness are both in doubt,
/// rollers drag too, and it starts from rest.
const FIRST_PASS_DOUBT: f64 = 1.5;
/// A cutting stroke has been seen once the tool went so far, m, with this part of a first pass's drag.
const SEEN_M: f64 = 1.0;
const SEEN_PART: f64 = 0.3;
/// Length at either end of the strokes that is cut less often, m, and the part of a first pass's drag
/// that may be met there.
const END_M: f64 = 0.7;
const END_PART: f64 = 0.7;
/// Strokes reach so far beyond the interval, m.
const BEYOND_M: f64 = 5.0;
/// Metres of movement over which the usual drag is remembered.
const MEMORY_M: f64 = 4.0;

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

/// A stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// What the tool did.
    pub what: Motionless,
    /// From, s; it lasts until the next phase.
    pub start: f64,
}

/// Usual drag in one direction: mean and mean deviation, remembered over a few metres.
#[derive(Debug, Clone, Copy)]
struct Usual {
    mean: f64,
    spread: f64,
    metres: f64,
}

impl Usual {
    fn new() -> Self {
        Self {
            mean: 0.0,
            spread: 150.0,
            metres: 0.0,
        }
    }

    fn learn(&mut self, drag: f64, metres: f64) {
        let part = (metres / MEMORY_M)
            .max(metres / (self.metres + metres))
            .min(1.0);
        self.metres += metres;
        let off = (drag - self.mean).abs();
        self.mean += part * (drag - self.mean);
        let slow = (metres / MEMORY_M).min(1.0);
        self.spread += slow * (off - self.spread);
    }

    fn margin(&self) -> f64 {
        (MARGIN_MIN * 0.5 + 5.0 * self.spread + 0.15 * self.mean.abs())
            .clamp(MARGIN_MIN, MARGIN_MAX)
    }
}

/// Follows the state.
#[derive(Debug, Clone)]
pub struct HoldTracker {
    phases: Vec<Phase>,
    usual_up: Usual,
    usual_down: Usual,
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
    /// Where the tool stands, m.
    held_at: f64,
    pulled: bool,
    lowered: bool,
    /// Depths between which the cutter may be put out, m.
    interval: (f64, f64),
    /// Drag of a first pass, N.
    first_pass: f64,
    /// A cutting stroke has been seen: from then on the usual drag is that of cutting.
    cut_seen: bool,
    /// Depths reached since then, m.
    reached: (f64, f64),
}

impl HoldTracker {
    /// At the start of a run. `interval`: depths between which the cutter may be put out, m;
    /// `first_pass`: drag of a first pass of all wheels, N.
    pub fn new(interval: (f64, f64), first_pass: f64) -> Self {
        Self {
            phases: Vec::new(),
            usual_up: Usual::new(),
            usual_down: Usual::new(),
            moved_at: f64::NEG_INFINITY,
            due_up: None,
            due_down: None,
            beyond_up: None,
            beyond_down: None,
            beyond_m: 0.0,
            moving_cells: 0,
            held_at: 0.0,
            pulled: false,
            lowered: false,
            interval,
            first_pass,
            cut_seen: false,
            reached: (f64::MAX, f64::MIN),
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

    /// The cutter went out: what ran free before says nothing any more.
    pub fn cutter_out(&mut self) {
        for usual in [&mut self.usual_up, &mut self.usual_down] {
            usual.spread = usual.spread.max(MARGIN_MAX / 5.0);
            usual.metres = 0.0;
        }
        self.cut_seen = false;
    }

    /// Drag beyond the usual that a moving tool at `depth` m may need, N: the cutter may be out
    /// before any stroke has shown what it drags.
    fn may_add(&self, depth: f64) -> f64 {
        let (top, bottom) = self.interval;
        if depth < top - BEYOND_M || depth > bottom + BEYOND_M {
            0.0
        } else if !self.cut_seen {
            FIRST_PASS_DOUBT * self.first_pass
        } else if depth < self.reached.0 + END_M || depth > self.reached.1 - END_M {
            // Where strokes end by chance, some wheels stand on wall that few passes have cut.
            END_PART * self.first_pass
        } else {
            0.0
        }
    }

    /// Takes a moment.
    pub fn push(&mut self, m: &Moment) {
        if m.after_gap && !self.phases.is_empty() {
            self.moving_cells = 0;
            self.set(Motionless::Unknown, m.t);
        }
        let now = self.now();
        let held = matches!(now, Motionless::Stalled | Motionless::Slack);
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
            // A held tool must be seen to leave its place: a jerk of the line is no movement.
            if !held {
                self.moves(m, m.t);
            } else if self.moving_cells >= 3 && (m.depth - self.held_at).abs() > LEAVES_M {
                self.moves(
                    m,
                    m.t - f64::from(self.moving_cells - 1) * crate::align::CELL_S,
                );
            }
            return;
        }
        self.moving_cells = 0;
        if !held {
            self.held_at = m.depth;
        }
        self.stands(m, now);
    }

    fn moves(&mut self, m: &Moment, since: f64) {
        let metres = m.speed.abs() * crate::align::CELL_S;
        if m.speed.abs() > 2.0 * STILL_SPEED {
            if m.speed < 0.0 {
                self.usual_up.learn(m.drag_up, metres);
            } else {
                self.usual_down.learn(m.drag_down, metres);
            }
        }
        let cuts = |u: &Usual| u.metres > SEEN_M && u.mean > SEEN_PART * self.first_pass;
        self.cut_seen |= cuts(&self.usual_up) || cuts(&self.usual_down);
        if self.cut_seen {
            self.reached = (self.reached.0.min(m.depth), self.reached.1.max(m.depth));
        }
        self.moved_at = m.t;
        self.due_up = None;
        self.due_down = None;
        self.beyond_up = None;
        self.beyond_down = None;
        self.beyond_m = 0.0;
        self.pulled = false;
        self.lowered = false;
        self.set(
            if m.speed < 0.0 {
                Motionless::Up
            } else {
                Motionless::Down
            },
            since,
        );
    }

    fn stands(&mut self, m: &Moment, now: Motionless) {
        self.pulled |= m.line_speed < -STILL_SPEED;
        self.lowered |= m.line_speed > STILL_SPEED;
        let may_add = self.may_add(m.depth);
        let over_up = m.hold_up - self.usual_up.mean - may_add;
        let over_down = m.hold_down - self.usual_down.mean - may_add;
        due(&mut self.due_up, over_up, m.t);
        due(&mut self.due_down, over_down, m.t);
        due(&mut self.beyond_up, over_up - self.usual_up.margin(), m.t);
        due(
            &mut self.beyond_down,
            over_down - self.usual_down.margin(),
            m.t,
        );
        self.beyond_m = match (self.beyond_up, self.beyond_down) {
            (None, None) => 0.0,
            _ => self.beyond_m + m.line_speed.abs() * crate::align::CELL_S,
        };
        // A winch that comes to rest leaves the line drawn tight: only line that goes on moving
        // shows that the tool does not follow.
        let way = if m.line_speed < 0.0 {
            Motionless::Up
        } else {
            Motionless::Down
        };
        let needed = if self.moved_last(way) {
            GOES_ON_M
        } else {
            TAKE_UP_M
        };
        let goes_on = self.beyond_m >= needed;
        let lasts = |since: Option<f64>| goes_on && since.is_some_and(|s| m.t - s >= LASTS_S);
        if self.pulled && (lasts(self.beyond_up) || now == Motionless::Stalled && over_up > 0.0) {
            if now != Motionless::Stalled {
                self.set_since(
                    Motionless::Stalled,
                    self.since(self.due_up, Motionless::Up, m.t),
                );
            }
        } else if self.lowered && lasts(self.beyond_down) {
            if now != Motionless::Slack {
                self.set_since(
                    Motionless::Slack,
                    self.since(self.due_down, Motionless::Down, m.t),
                );
            }
        } else if m.unloaded {
            self.set_since(
                Motionless::Slack,
                self.since(self.due_down, Motionless::Down, m.t),
            );
        } else if now == Motionless::Stalled {
            // Held until it moves, even when the pull is let go.
        } else if now == Motionless::Slack && over_down > 0.0 {
            // The line does not carry its weight yet.
        } else {
            self.set(Motionless::Still, m.t);
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
