//! What a moving tool has needed of late, and what more it may need: the measure of a pull that holds it.
//!
//! *Input*: drags of a moving tool, N, and how far it went, m. *Output*: usual drag, its margin, and what a
//! first pass may add, N.

use super::hold::Motionless;
use crate::motion::Moment;

/// Least pull beyond the usual one that makes a stall, N.
const MARGIN_MIN: f64 = 120.0;
/// Largest.
const MARGIN_MAX: f64 = 600.0;
/// The first pass may drag this much over its nominal value: force and hardness are both in doubt,
/// rollers drag too, and it starts from rest.
const FIRST_PASS_DOUBT: f64 = 1.5;
/// The first stroke the other way may drag this much over what cutting drags on this one.
const OTHER_WAY_DOUBT: f64 = 2.4;
/// A cutting stroke has been seen once the tool went so far, m, with this part of a first pass's drag.
const SEEN_M: f64 = 1.0;
const SEEN_PART: f64 = 0.3;
/// The cutter out again, after strokes that cut: it may stand on fresh wall or in its old groove, and so many metres show
/// which, however little it drags.
const SEEN_AGAIN_M: f64 = 3.0;
/// Length at either end of the strokes that is cut less often, m, and the part of a first pass's drag
/// that may be met there.
const END_M: f64 = 0.7;
const END_PART: f64 = 0.7;
/// Strokes reach so far beyond the interval, m.
const BEYOND_M: f64 = 5.0;
/// Metres of movement over which the usual drag is remembered.
const MEMORY_M: f64 = 4.0;

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

    /// What was learned says little about what comes.
    fn doubt(&mut self) {
        self.spread = self.spread.max(MARGIN_MAX / 5.0);
        self.metres = 0.0;
    }

    fn margin(&self) -> f64 {
        (MARGIN_MIN * 0.5 + 5.0 * self.spread + 0.15 * self.mean.abs())
            .clamp(MARGIN_MIN, MARGIN_MAX)
    }
}

/// Usual drag of both directions, and where it may be more.
#[derive(Debug, Clone)]
pub(super) struct UsualDrag {
    up: Usual,
    down: Usual,
    /// Depths between which the cutter may be put out, m.
    interval: (f64, f64),
    /// Drag of a first pass, N.
    first_pass: f64,
    /// A cutting stroke has been seen: from then on the usual drag is that of cutting.
    cut_seen: bool,
    /// One had been seen before the cutter last went out.
    again: bool,
    /// The direction in which none has been seen yet, and how far the tool must go that way, m.
    unseen: Option<(Motionless, f64)>,
    /// Depths reached since then, m.
    reached: (f64, f64),
}

impl UsualDrag {
    /// At the start of a run. `interval`: depths between which the cutter may be put out, m;
    /// `first_pass`: drag of a first pass of all wheels, N.
    pub(super) fn new(interval: (f64, f64), first_pass: f64) -> Self {
        Self {
            up: Usual::new(),
            down: Usual::new(),
            interval,
            first_pass,
            cut_seen: false,
            again: false,
            unseen: None,
            reached: (f64::MAX, f64::MIN),
        }
    }

    /// The cutter went out: what ran free before says nothing any more.
    pub(super) fn cutter_out(&mut self) {
        self.up.doubt();
        self.down.doubt();
        self.again |= self.cut_seen;
        self.cut_seen = false;
        self.unseen = None;
        // Where strokes turned before, the wall may be fresh.
        self.reached = (f64::MAX, f64::MIN);
    }

    /// Depths are told anew, deeper by `by` m.
    pub(super) fn shift(&mut self, by: f64) {
        self.reached = (self.reached.0 + by, self.reached.1 + by);
    }

    /// The tool moved by `metres`, dragging as the moment says.
    pub(super) fn learn(&mut self, way: Motionless, m: &Moment, metres: f64) {
        let (usual, drag, back) = match way {
            Motionless::Up => (&mut self.up, m.drag_up, Motionless::Down),
            _ => (&mut self.down, m.drag_down, Motionless::Up),
        };
        usual.learn(drag, metres);
        let shown =
            usual.mean > SEEN_PART * self.first_pass || self.again && usual.metres > SEEN_AGAIN_M;
        if !self.cut_seen && usual.metres > SEEN_M && shown {
            self.cut_seen = true;
            self.unseen = Some((back, SEEN_M));
        }
        if let Some((_, left)) = self.unseen.as_mut().filter(|u| u.0 == way) {
            *left -= metres;
        }
        self.unseen.take_if(|u| u.1 < 0.0);
    }

    /// The moving tool is at `depth` m.
    pub(super) fn reaches(&mut self, depth: f64) {
        if self.cut_seen {
            self.reached = (self.reached.0.min(depth), self.reached.1.max(depth));
        }
    }

    /// Usual drag, N.
    pub(super) fn mean(&self, way: Motionless) -> f64 {
        self.of(way).mean
    }

    /// How far a pull may exceed it while the tool goes on, N.
    pub(super) fn margin(&self, way: Motionless) -> f64 {
        self.of(way).margin()
    }

    /// Drag beyond the usual that a moving tool at `depth` m may need, N: the cutter may be out
    /// before any stroke has shown what it drags.
    pub(super) fn may_add(&self, way: Motionless, depth: f64) -> f64 {
        let (top, bottom) = self.interval;
        if depth < top - BEYOND_M || depth > bottom + BEYOND_M {
            0.0
        } else if !self.cut_seen {
            FIRST_PASS_DOUBT * self.first_pass
        } else if self.unseen.is_some_and(|u| u.0 == way) {
            let seen = match way {
                Motionless::Up => &self.down,
                _ => &self.up,
            };
            (OTHER_WAY_DOUBT * seen.mean).max(self.at_ends(depth))
        } else {
            self.at_ends(depth)
        }
    }

    /// Where strokes end by chance, some wheels stand on wall that few passes have cut: the drag that
    /// may add at `depth` m, N.
    pub(super) fn at_ends(&self, depth: f64) -> f64 {
        let (top, bottom) = self.reached;
        if top < bottom && (depth < top + END_M || depth > bottom - END_M) {
            END_PART * self.first_pass
        } else {
            0.0
        }
    }

    fn of(&self, way: Motionless) -> &Usual {
        match way {
            Motionless::Up => &self.up,
            _ => &self.down,
        }
    }
}
