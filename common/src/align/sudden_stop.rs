//! A line that stops as no winch stops it: at full speed up to its last reading, then nothing.
//!
//! *Input*: times, s, and places, m, of a line that moves. *Output*: whether it came to its last place as fast as it had
//! moved before. *Limits*: it must have run at a fifth of a metre per second or more (common practice, no source: a winch
//! takes most of a second to stop).

use std::collections::VecDeque;

/// The last of the motion, s, and what it is held against.
const LAST: f64 = 0.3;
const BEFORE: f64 = 0.9;
/// Least speed before, m/s, and the part of it that was left in the last of the motion.
const SPEED_MIN: f64 = 0.2;
const PART: f64 = 0.8;
/// Places closer together in time are not kept, s.
const APART: f64 = 0.02;
/// Kept longer than needed, for readings that come seldom, s.
const SPARE: f64 = 0.5;

/// The way of the last second and a half.
#[derive(Debug, Clone, Default)]
pub(crate) struct Approach {
    /// Oldest first.
    way: VecDeque<(f64, f64)>,
}

impl Approach {
    /// The line has moved to `place`, m, by `t` s.
    pub(crate) fn moved(&mut self, t: f64, place: f64) {
        if self.way.back().is_none_or(|newest| t - newest.0 >= APART) {
            self.way.push_back((t, place));
        }
        let oldest = t - LAST - BEFORE - SPARE;
        while self.way.front().is_some_and(|first| first.0 < oldest) {
            self.way.pop_front();
        }
    }

    /// Whether the line came to `place` at `t` as fast as it had moved before.
    pub(crate) fn was_at_speed(&self, t: f64, place: f64) -> bool {
        let newest = |until: f64| self.way.iter().rfind(|(when, _)| *when <= until);
        let (Some(a), Some(b)) = (newest(t - LAST - BEFORE), newest(t - LAST)) else {
            return false;
        };
        let speed =
            |from: &(f64, f64), to: (f64, f64)| (to.1 - from.1).abs() / (to.0 - from.0).max(1e-3);
        let before = speed(a, *b);
        before >= SPEED_MIN && speed(b, (t, place)) >= PART * before
    }
}
