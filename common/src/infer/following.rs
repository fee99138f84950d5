//! Whether a tool that had been following the line still does.
//!
//! *Input*: moments at which it moves or stands. *Output*: whether it lags, having stood while the line went on
//! for longer than it sticks by itself.

use super::hold::{Motionless, STILL_SPEED};
use crate::align::CELL_S;
use crate::motion::Moment;

/// The tool had been following for this far, m: just after a reversal it must yet break loose.
const FOLLOWS_M: f64 = 1.0;
/// It stands while so much line goes on, m, for so long, s.
const STANDS_M: f64 = 0.12;
const STANDS_S: f64 = 1.6;
/// Where the tool does not stick by itself, no longer than it takes to move so much line, m, and this, s.
const QUICK_M: f64 = 0.3;
const QUICK_S: f64 = 0.3;
/// It sticks by itself if it has lately stood for more line than this before it went on, m.
const STICKS_M: f64 = 0.15;
/// Meanwhile the winch goes on at this part of its speed at least: one that slows down comes to its end.
const PACE_PART: f64 = 0.7;
/// Where it has lately stuck and broken loose by itself, it stands for this many times as much line.
const STUCK_TIMES: f64 = 1.5;
/// But no longer than this, s.
const STUCK_MAX_S: f64 = 2.2;
/// One that stood for so much line, m, was held and did not stick.
const HELD_M: f64 = 0.9;
/// Metres of movement over which sticking is remembered.
const STUCK_MEMORY_M: f64 = 150.0;
/// A tool that broke loose runs ahead of the line, and then stands until the line has come after:
/// remembered over so many metres, and believed up to so much line: its pull tells of more.
const AHEAD_MEMORY_M: f64 = 6.0;
const AHEAD_MAX_M: f64 = 0.7;

/// How the tool follows the line.
#[derive(Debug, Clone)]
pub(super) struct Following {
    way: Motionless,
    /// How far it has followed that way, m.
    metres: f64,
    /// When it last moved, s; line speed then, m/s; drag then, N.
    moved_at: f64,
    pace: f64,
    drag: f64,
    /// How far it has run ahead of the line, m.
    ahead_m: f64,
    /// Line moved since it stands, m.
    stood_m: f64,
    /// Longest line that moved so before the tool broke loose by itself, of late, m.
    stuck_m: f64,
}

impl Following {
    /// Of a tool that has not moved yet.
    pub(super) fn new() -> Self {
        Self {
            way: Motionless::Unknown,
            metres: 0.0,
            moved_at: f64::NEG_INFINITY,
            pace: 0.0,
            drag: 0.0,
            ahead_m: 0.0,
            stood_m: 0.0,
            stuck_m: 0.0,
        }
    }

    /// The tool moves that way, by `metres`.
    pub(super) fn moves(&mut self, way: Motionless, m: &Moment, metres: f64) {
        if self.way != way {
            self.way = way;
            self.metres = 0.0;
        }
        self.metres += metres;
        self.moved_at = m.t;
        self.pace = m.line_speed.abs();
        self.drag = match way {
            Motionless::Up => m.drag_up,
            _ => m.drag_down,
        };
        let gained = (m.speed.abs() - self.pace) * CELL_S;
        self.ahead_m = (self.ahead_m * (-metres / AHEAD_MEMORY_M).exp() + gained).max(0.0);
        let stuck = if self.stood_m < HELD_M {
            self.stood_m
        } else {
            0.0
        };
        self.stuck_m = (self.stuck_m * (-metres / STUCK_MEMORY_M).exp()).max(stuck);
        self.stood_m = 0.0;
    }

    /// The tool stands while the line goes `way`: does it lag?
    pub(super) fn lags(&mut self, way: Motionless, m: &Moment) -> bool {
        let speed = m.line_speed.abs();
        if way != self.way || speed < STILL_SPEED {
            self.metres = 0.0;
        }
        if self.metres < FOLLOWS_M {
            self.stood_m = 0.0;
            return false;
        }
        self.stood_m += speed * CELL_S;
        let sticks = (STUCK_TIMES * self.stuck_m).min(STUCK_MAX_S * self.pace);
        let stands_s = if self.stuck_m > STICKS_M {
            STANDS_S
        } else {
            (QUICK_M / self.pace).clamp(QUICK_S, STANDS_S)
        };
        speed > PACE_PART * self.pace
            && m.t - self.moved_at >= stands_s
            && self.stood_m - self.ahead_m.min(AHEAD_MAX_M) >= sticks.max(STANDS_M)
    }

    /// Drag when it last moved, N.
    pub(super) fn drag(&self) -> f64 {
        self.drag
    }
}
