//! A value that does not change although the other channel shows that it should.
//!
//! *Input*: raw values of one channel, values of the other (N or m). *Output*: whether the first is frozen.
//! *Limits*: a line at rest must never look so. The load is still while the line is. The depth is still for hours
//! while the tool hangs, and tension creeps meanwhile; so it takes several moves of the load to and fro, each far
//! beyond what a resting line does, and beyond what pulling on a held tool does within two steps of a coarse
//! counter. Moves are those of its mean over a second: neither spikes nor a loose contact count.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// So many moves of the load to and fro.
const MOVES: usize = 4;
/// Within this time.
const MOVES_WITHIN: Nanos = 300 * NANOS_PER_SECOND;
/// A shorter line counts as this long, m.
const LINE_MIN: f64 = 20.0;

/// What the other channel does that a value should follow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Movement {
    /// It has moved so far in all: the line, m.
    Range(f64),
    /// It moves to and fro by so much: the load, N; more where the line is short, by its stiffness `EA`, N.
    Swings {
        /// At least so much, N.
        least_n: f64,
        /// `EA`, N.
        ea_n: f64,
    },
}

/// Since when a value has not changed, and what the other channel has done since.
#[derive(Debug, Clone)]
pub struct Stillness {
    value: f64,
    since: Nanos,
    low: f64,
    high: f64,
    swings: Swings,
}

impl Stillness {
    /// The value has just changed to `value`. `swing`: a move of the load from this size on counts, N.
    pub fn new(value: f64, since: Nanos, swing: f64) -> Self {
        Self {
            value,
            since,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            swings: Swings::new(swing),
        }
    }

    /// The value that does not change.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Since when it does not.
    pub fn since(&self) -> Nanos {
        self.since
    }

    /// What the other channel reads.
    pub fn other_reads(&mut self, at: Nanos, value: f64) {
        self.low = self.low.min(value);
        self.high = self.high.max(value);
        self.swings.push(at, value);
    }

    /// Whether the value should have changed, after so long a time at least.
    pub fn is_frozen(&self, at: Nanos, after: Nanos, movement: Movement) -> bool {
        at - self.since >= after
            && match movement {
                Movement::Range(least) => self.high - self.low >= least,
                Movement::Swings { .. } => self.swings.are_many(),
            }
    }
}

impl Movement {
    /// Size of a move that counts where the line paid out is `line_m` and the counter steps by `step_m`.
    pub fn swing(&self, line_m: f64, step_m: f64) -> f64 {
        match *self {
            Self::Range(_) => f64::INFINITY,
            Self::Swings { least_n, ea_n } => {
                least_n.max(2.0 * step_m * ea_n / line_m.abs().max(LINE_MIN))
            }
        }
    }
}

/// Moves to and fro of the mean over a second.
#[derive(Debug, Clone)]
struct Swings {
    size: f64,
    second: Nanos,
    sum: f64,
    count: u32,
    /// Farthest mean on the present way.
    extreme: Option<f64>,
    is_up: bool,
    /// When the last moves were made, newest first.
    moves: [Option<Nanos>; MOVES],
}

impl Swings {
    fn new(size: f64) -> Self {
        Self {
            size,
            second: 0,
            sum: 0.0,
            count: 0,
            extreme: None,
            is_up: true,
            moves: [None; MOVES],
        }
    }

    fn push(&mut self, at: Nanos, value: f64) {
        let second = at.div_euclid(NANOS_PER_SECOND);
        if second != self.second && self.count > 0 {
            self.mean(at, self.sum / f64::from(self.count));
            (self.sum, self.count) = (0.0, 0);
        }
        self.second = second;
        self.sum += value;
        self.count += 1;
    }

    fn mean(&mut self, at: Nanos, mean: f64) {
        let extreme = *self.extreme.get_or_insert(mean);
        let onwards = if self.is_up {
            mean - extreme
        } else {
            extreme - mean
        };
        if onwards >= 0.0 {
            self.extreme = Some(mean);
        } else if -onwards >= self.size {
            self.extreme = Some(mean);
            self.is_up = !self.is_up;
            self.moves.rotate_right(1);
            self.moves[0] = Some(at);
        }
    }

    fn are_many(&self) -> bool {
        match (self.moves[0], self.moves[MOVES - 1]) {
            (Some(newest), Some(oldest)) => newest - oldest <= MOVES_WITHIN,
            _ => false,
        }
    }
}
