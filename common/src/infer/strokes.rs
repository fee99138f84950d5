//! Strokes of the tool, not of the drum.
//!
//! *Input*: [`Moment`]s. *Output*: [`FoundStroke`]s, one per turn of the tool. A stroke starts when
//! the tool has left its turning point by 5 cm, ends when it comes within 5 cm of where it turns,
//! and has at least 0.5 m of tool travel; a smaller movement back is part of the stroke it
//! interrupts. Pauses, weight checks and jitter therefore never split or invent strokes.
//!
//! A stroke is known to have ended once the tool has come back by [`TRAVEL_MIN`].

use super::turning::{self, LINE_MOVES, MARGIN, Turn, along};
use crate::infer::profile::{SPEED_MIN, StrokeProfile};
use crate::motion::Moment;
use crate::result::Direction;
use std::collections::VecDeque;

/// Least tool travel of a stroke, m.
pub const TRAVEL_MIN: f64 = 0.5;

/// Line that went into stretch, not into travel, may by this part have been told as travel: a stroke has to be longer.
const STRETCH_DOUBT: f64 = 0.05;

/// A tool that has come back while the line went on by this much was not pulled back, m: stretch was told wrong.
const AGAINST_MIN: f64 = 0.2;
/// So near its turning point again, the tool has not begun the stroke, m.
const VOID_MAX: f64 = 0.2;
/// The tool may run on for this long after the line stopped, s.
const COAST_S: f64 = 0.8;

/// So many moments are held back at most (20 min), and the last of them (a minute) whatever they are: a tool parked
/// short of its turning point overnight must not fill memory.
const TAIL_MAX: usize = 12_000;
const TAIL_LATE: usize = 600;

/// A stroke as the motion shows it.
#[derive(Debug, Clone)]
pub struct FoundStroke {
    /// Which way the tool went.
    pub direction: Direction,
    /// Start, s.
    pub start: f64,
    /// End, s.
    pub end: f64,
    /// Turning points, m, in order of time.
    pub from: f64,
    /// Where it turned.
    pub to: f64,
    /// Highest line tension, N.
    pub peak_tension: f64,
    /// Drag by depth.
    pub profile: StrokeProfile,
}

impl FoundStroke {
    /// Shallow and deep end, m.
    pub fn range(&self) -> (f64, f64) {
        (self.from.min(self.to), self.from.max(self.to))
    }
}

/// Finds strokes in a stream of moments.
#[derive(Debug, Clone)]
pub struct StrokeFinder {
    bin: f64,
    origin: f64,
    /// Direction of the stroke under way; `None` before the first half metre.
    direction: Option<Direction>,
    /// Where the stroke under way began.
    from: Turn,
    /// Time when the tool had left `from` by the margin.
    start: f64,
    /// Farthest point of the stroke under way.
    farthest: Turn,
    /// The last decimetre before `farthest`.
    approach: VecDeque<Turn>,
    /// The line drove the tool on until then, s.
    driven_until: f64,
    peak: f64,
    profile: StrokeProfile,
    /// What came after `farthest`: belongs to the next stroke if the tool goes on that way.
    tail: Vec<Moment>,
    tail_start: f64,
    tail_peak: f64,
    last: Option<Turn>,
    /// Both extremes before the first stroke.
    shallow: Turn,
    deep: Turn,
    started: bool,
}

impl StrokeFinder {
    /// Length of a depth bin of the profiles and depth where bin 0 begins, m.
    pub fn new(bin: f64, origin: f64) -> Self {
        let zero = Turn {
            t: 0.0,
            depth: 0.0,
            line: 0.0,
        };
        Self {
            bin,
            origin,
            direction: None,
            from: zero,
            start: 0.0,
            farthest: zero,
            approach: VecDeque::new(),
            driven_until: f64::MAX,
            peak: f64::MIN,
            profile: StrokeProfile::new(bin, origin),
            tail: Vec::new(),
            tail_start: 0.0,
            tail_peak: f64::MIN,
            last: None,
            shallow: zero,
            deep: zero,
            started: false,
        }
    }

    /// Direction of the stroke under way.
    pub fn direction(&self) -> Option<Direction> {
        self.direction
    }

    /// All depths turn out to be `by` m deeper than told: what is under way moves with it.
    pub fn shift(&mut self, by: f64) {
        for turn in [
            &mut self.from,
            &mut self.farthest,
            &mut self.shallow,
            &mut self.deep,
        ] {
            turn.depth += by;
        }
        for turn in self.approach.iter_mut().chain(&mut self.last) {
            turn.depth += by;
        }
        for m in &mut self.tail {
            m.depth += by;
        }
        self.profile = StrokeProfile::new(self.bin, self.origin);
    }

    /// Takes a moment; gives the stroke that is now known to have ended.
    pub fn push(&mut self, m: &Moment) -> Option<FoundStroke> {
        let here = Turn {
            t: m.t,
            depth: m.depth,
            line: m.counted,
        };
        if !self.started {
            self.started = true;
            (self.from, self.farthest, self.shallow, self.deep) = (here, here, here, here);
            self.start = m.t;
            self.tail_start = m.t;
            self.last = Some(here);
            self.peak = m.tension_max;
            return None;
        }
        let Some(direction) = self.direction else {
            self.first_stroke(m, here);
            self.last = Some(here);
            return None;
        };
        let ahead = along(direction, here.depth - self.farthest.depth);
        let mut found = None;
        if ahead >= 0.0 {
            self.take_tail(m, here, direction);
        } else if along(direction, self.farthest.depth - self.from.depth) < MARGIN {
            // It has not begun yet.
            self.begin_again(here);
        } else if -ahead >= travel_min(self.farthest, here) && self.is_against_line(here, direction)
        {
            self.push_tail(m, here);
            if along(direction, here.depth - self.from.depth) < VOID_MAX {
                self.begin_again(here);
            }
        } else if -ahead >= travel_min(self.farthest, here) {
            self.push_tail(m, here);
            found = Some(self.turn(direction));
        } else {
            self.push_tail(m, here);
        }
        self.last = Some(here);
        found
    }

    /// The run has ended: the stroke under way, if it is one.
    pub fn finish(&mut self) -> Option<FoundStroke> {
        let direction = self.direction?;
        let travel = (self.farthest.depth - self.from.depth).abs();
        (travel >= travel_min(self.from, self.farthest)).then(|| self.turn(direction))
    }

    /// Seen from the farthest point the tool seems to have come back, but the line went on: nothing has pulled it.
    fn is_against_line(&self, here: Turn, direction: Direction) -> bool {
        along(direction, here.line - self.farthest.line) > AGAINST_MIN
    }

    /// The tool is back where the stroke under way began, which it therefore has not.
    fn begin_again(&mut self, here: Turn) {
        self.from = here;
        self.farthest = here;
        self.start = here.t;
        self.tail_start = here.t;
        self.peak = self.tail_peak;
        self.tail.clear();
        self.approach.clear();
        self.profile = StrokeProfile::new(self.bin, self.origin);
    }

    /// Progress: what was held back belongs to this stroke after all.
    fn take_tail(&mut self, m: &Moment, here: Turn, direction: Direction) {
        let mut tail = std::mem::take(&mut self.tail);
        for earlier in tail.drain(..) {
            self.profile.add(&earlier, direction);
        }
        self.tail = tail;
        self.peak = self.peak.max(self.tail_peak).max(m.tension_max);
        self.tail_peak = f64::MIN;
        self.profile.add(m, direction);
        self.farthest = here;
        self.tail_start = m.t;
        if (here.depth - self.from.depth).abs() < MARGIN {
            self.start = m.t;
        }
        // What creeps on while the line rests or goes back already is the model's error in
        // stretch, not the tool: it moves the turning point but not the time of arrival.
        if along(direction, m.line_speed) > LINE_MOVES {
            self.driven_until = m.t + COAST_S;
        }
        if m.t > self.driven_until {
            return;
        }
        self.approach.push_back(here);
        while self.approach.len() > 2 && (here.depth - self.approach[1].depth).abs() > MARGIN {
            self.approach.pop_front();
        }
    }

    /// Not farther than before: near the turning point nothing is kept but the peak.
    fn push_tail(&mut self, m: &Moment, here: Turn) {
        self.tail_peak = self.tail_peak.max(m.tension_max);
        if (here.depth - self.farthest.depth).abs() < MARGIN {
            self.tail.clear();
            self.tail_start = here.t;
        } else {
            if self.tail.is_empty() {
                self.tail_start = self.crossing(here, self.farthest.depth);
            }
            self.tail.push(*m);
            if self.tail.len() >= TAIL_MAX {
                self.thin_tail();
            }
        }
    }

    /// Leaves out what tells nothing of drag; if the tool has moved about so long, what came first.
    fn thin_tail(&mut self) {
        let late = self.tail.len().saturating_sub(TAIL_LATE);
        let mut at = 0;
        self.tail.retain(|m| {
            at += 1;
            at > late || m.speed.abs() >= SPEED_MIN
        });
        let surplus = self.tail.len().saturating_sub(TAIL_MAX / 2);
        self.tail.drain(..surplus);
    }

    /// When the line from the last moment to this one left `turn` by the margin.
    fn crossing(&self, here: Turn, turn: f64) -> f64 {
        let Some(last) = self.last else { return here.t };
        let (a, b) = ((last.depth - turn).abs(), (here.depth - turn).abs());
        if b - a < 1e-9 {
            return here.t;
        }
        last.t + (here.t - last.t) * ((MARGIN - a) / (b - a)).clamp(0.0, 1.0)
    }

    fn turn(&mut self, direction: Direction) -> FoundStroke {
        let end = turning::arrival(&self.approach, self.farthest);
        let profile =
            std::mem::replace(&mut self.profile, StrokeProfile::new(self.bin, self.origin));
        let found = FoundStroke {
            direction,
            start: self.start,
            end: end.max(self.start),
            from: self.from.depth,
            to: self.farthest.depth,
            peak_tension: self.peak,
            profile,
        };
        let back = opposite(direction);
        self.direction = Some(back);
        self.from = self.farthest;
        self.start = turning::departure(&self.tail, self.farthest, back).unwrap_or(self.tail_start);
        self.peak = self.tail_peak;
        self.tail_peak = f64::MIN;
        self.approach.clear();
        let tail = std::mem::take(&mut self.tail);
        let mut farthest = self.from;
        for m in &tail {
            self.profile.add(m, back);
            if along(back, m.depth - farthest.depth) >= 0.0 {
                farthest = Turn {
                    t: m.t,
                    depth: m.depth,
                    line: m.counted,
                };
                self.approach.push_back(farthest);
            }
        }
        self.farthest = farthest;
        while self.approach.len() > 2 && (farthest.depth - self.approach[1].depth).abs() > MARGIN {
            self.approach.pop_front();
        }
        self.tail_start = farthest.t;
        self.driven_until = farthest.t + COAST_S;
        found
    }

    /// Before the first half metre the direction is open: both extremes are kept.
    fn first_stroke(&mut self, m: &Moment, here: Turn) {
        self.peak = self.peak.max(m.tension_max);
        for (extreme, direction) in [(self.shallow, Direction::Down), (self.deep, Direction::Up)] {
            let travel = along(direction, here.depth - extreme.depth);
            if travel >= travel_min(extreme, here) {
                self.direction = Some(direction);
                self.from = extreme;
                let mut farthest = extreme;
                for e in std::mem::take(&mut self.tail) {
                    if e.t > extreme.t {
                        self.profile.add(&e, direction);
                        if (e.depth - extreme.depth).abs() < MARGIN {
                            self.start = e.t;
                        }
                        if along(direction, e.depth - farthest.depth) >= 0.0 {
                            farthest = Turn {
                                t: e.t,
                                depth: e.depth,
                                line: e.counted,
                            };
                        }
                    }
                }
                self.start = self.start.max(extreme.t);
                self.profile.add(m, direction);
                self.farthest = here;
                self.approach.clear();
                self.approach.push_back(here);
                return;
            }
        }
        if here.depth <= self.shallow.depth {
            self.shallow = here;
        }
        if here.depth >= self.deep.depth {
            self.deep = here;
        }
        // An idle hour before the first stroke must not fill memory.
        let idle = self
            .tail
            .last()
            .is_some_and(|l| (l.depth - here.depth).abs() < 0.01);
        if idle {
            let l = self.tail.len() - 1;
            self.tail[l].t = m.t;
        } else {
            self.tail.push(*m);
            // Nor an hour of moves that are too short for a stroke.
            if self.tail.len() >= TAIL_MAX {
                self.thin_tail();
            }
        }
    }
}

/// Least travel from a turning point that is a stroke, m, given the line that moved meanwhile.
fn travel_min(from: Turn, here: Turn) -> f64 {
    let stretch = ((here.line - from.line).abs() - (here.depth - from.depth).abs()).max(0.0);
    TRAVEL_MIN + STRETCH_DOUBT * stretch
}

/// The other way.
pub fn opposite(direction: Direction) -> Direction {
    match direction {
        Direction::Up => Direction::Down,
        Direction::Down => Direction::Up,
    }
}

#[cfg(test)]
mod tests;
