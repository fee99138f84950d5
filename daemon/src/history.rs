//! Points for the charts: the last minutes in full, the whole run thinned.
//!
//! *Memory*: fixed. 10 minutes at 50 points/s and 16 hours at one point a second take 2 MB.

use serde::Serialize;
use std::collections::VecDeque;

const FINE_POINTS: usize = 30_000;
const COARSE_POINTS: usize = 16 * 3600;
const COARSE_STEP_S: f64 = 1.0;

/// One moment. Single precision is a thousandth of a newton and tenths of a millimetre here; it
/// is for pictures only.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Run time, s.
    pub at_s: f64,
    /// Line tension, N; NaN unknown.
    pub tension_n: f32,
    /// Expected tension without cutting, N.
    pub expected_n: f32,
    /// Line paid out, m.
    pub line_m: f32,
    /// Depth of the wheels, m.
    pub tool_m: f32,
    /// Excess drag, N.
    pub drag_n: f32,
}

/// Columns of points: compact on the wire and ready for a chart.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Columns {
    /// Run time, s.
    pub at_s: Vec<f64>,
    /// Line tension, N.
    pub tension_n: Vec<Option<f32>>,
    /// Expected tension, N.
    pub expected_n: Vec<Option<f32>>,
    /// Line paid out, m.
    pub line_m: Vec<Option<f32>>,
    /// Depth of the wheels, m.
    pub tool_m: Vec<Option<f32>>,
    /// Excess drag, N.
    pub drag_n: Vec<Option<f32>>,
}

/// Points kept.
#[derive(Debug, Default)]
pub struct History {
    fine: VecDeque<Point>,
    coarse: VecDeque<Point>,
    first_fine_s: f64,
}

impl History {
    /// Adds the newest point; one that is not newer than the last adds nothing.
    pub fn push(&mut self, point: Point) {
        if point.at_s <= self.newest_s() {
            return;
        }
        if self
            .coarse
            .back()
            .is_none_or(|last| point.at_s - last.at_s >= COARSE_STEP_S)
        {
            if self.coarse.len() >= COARSE_POINTS {
                self.coarse.pop_front();
            }
            self.coarse.push_back(point);
        }
        if self.fine.len() >= FINE_POINTS {
            self.fine.pop_front();
        }
        self.fine.push_back(point);
        self.first_fine_s = self.fine.front().map_or(0.0, |first| first.at_s);
    }

    /// Time of the newest point, s.
    pub fn newest_s(&self) -> f64 {
        self.fine.back().map_or(f64::NEG_INFINITY, |last| last.at_s)
    }

    /// All points newer than `since_s`, oldest first, at most `points_max` (every n-th then):
    /// fine ones as far back as they reach, thinned ones before that.
    pub fn since(&self, since_s: f64, points_max: usize) -> Columns {
        let old = self
            .coarse
            .iter()
            .skip(self.coarse.partition_point(|point| point.at_s <= since_s))
            .take_while(|point| point.at_s < self.first_fine_s);
        let new = self
            .fine
            .iter()
            .skip(self.fine.partition_point(|point| point.at_s <= since_s));
        let count = old.clone().count() + new.clone().count();
        let step = count.div_ceil(points_max.max(1)).max(1);
        let mut columns = Columns::default();
        // Counted from the newest backwards, so that the newest point is always there.
        for (left, point) in old.chain(new).enumerate().map(|(n, p)| (count - 1 - n, p)) {
            if left % step == 0 {
                columns.push(point);
            }
        }
        columns
    }
}

impl Columns {
    fn push(&mut self, point: &Point) {
        let known = |value: f32| value.is_finite().then_some(value);
        self.at_s.push(point.at_s);
        self.tension_n.push(known(point.tension_n));
        self.expected_n.push(known(point.expected_n));
        self.line_m.push(known(point.line_m));
        self.tool_m.push(known(point.tool_m));
        self.drag_n.push(known(point.drag_n));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(at_s: f64) -> Point {
        Point {
            at_s,
            tension_n: at_s as f32,
            expected_n: f32::NAN,
            line_m: 0.0,
            tool_m: 0.0,
            drag_n: 0.0,
        }
    }

    #[test]
    fn memory_is_bounded_over_any_run() {
        let mut history = History::default();
        for n in 0..2_000_000 {
            history.push(point(f64::from(n) / 10.0));
        }
        assert_eq!(history.fine.len(), FINE_POINTS);
        assert_eq!(history.coarse.len(), COARSE_POINTS);
    }

    #[test]
    fn a_gap_is_filled_from_where_the_reader_stopped() {
        let mut history = History::default();
        for n in 0..100_000 {
            history.push(point(f64::from(n) / 10.0));
        }
        let columns = history.since(9_990.0, 1000);
        assert_eq!(columns.at_s.len(), 99);
        let all = history.since(-1.0, 5000);
        assert!(all.at_s.len() <= 5000 && all.at_s.len() > 2500);
        assert!(all.at_s.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(all.at_s.last(), Some(&9_999.9));
        assert_eq!(all.expected_n[0], None);
    }
}
