//! A weight check that the crew has marked: the first movement up and the first one down after the mark are the
//! free tool's.
//!
//! *Input*: times of marks, and strokes as they end. *Output*: which strokes belong to a check, and when it has
//! shown both pick-up and slack-off weight. *Limits*: what comes later than `LASTS_S` after the mark is cutting
//! again; who marks a check without moving both ways has only half of it.

use crate::result::Direction;

/// A check is over so long after its mark, s: longer than a few metres up and down take with a look at the
/// gauge at each end.
const LASTS_S: f64 = 180.0;

/// The newest weight check.
#[derive(Debug, Clone, Copy, Default)]
pub struct WeightCheck {
    since: Option<f64>,
    up: bool,
    down: bool,
}

impl WeightCheck {
    /// The crew has marked one at `time` s.
    pub fn mark(&mut self, time: f64) {
        *self = Self {
            since: Some(time),
            ..Self::default()
        };
    }

    /// Whether a stroke that began at `start` s is part of it. To be asked once for each stroke.
    pub fn takes(&mut self, direction: Direction, start: f64) -> bool {
        let Some(since) = self.since else {
            return false;
        };
        let way = match direction {
            Direction::Up => &mut self.up,
            Direction::Down => &mut self.down,
        };
        start >= since && start < since + LASTS_S && !std::mem::replace(way, true)
    }

    /// When it was marked, s, once it has been shown both ways.
    pub fn shown_since(&self) -> Option<f64> {
        self.since.filter(|_| self.up && self.down)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_one_stroke_each_way_after_the_mark() {
        let mut check = WeightCheck::default();
        assert!(!check.takes(Direction::Up, 10.0));
        check.mark(100.0);
        assert!(!check.takes(Direction::Up, 90.0));
        assert!(check.takes(Direction::Up, 105.0));
        assert_eq!(check.shown_since(), None);
        assert!(check.takes(Direction::Down, 125.0));
        assert_eq!(check.shown_since(), Some(100.0));
        assert!(!check.takes(Direction::Up, 150.0));
    }

    #[test]
    fn is_over_after_a_while() {
        let mut check = WeightCheck::default();
        check.mark(100.0);
        assert!(!check.takes(Direction::Up, 100.0 + LASTS_S));
    }
}
