//! Points for the charts: the last minutes in full, the whole run thinned.
//!
//! *Peaks stay*: a point carries the lowest and the highest tension since the point before it, and
//! wherever points are thinned, what is left spans those that went. A pull of a single reading is
//! there at any zoom.
//! *Memory*: fixed. 10 minutes at 50 points/s and 16 hours at one point a second take 4 MB.

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
    /// Lowest tension since the point before, N; NaN: there was no reading.
    pub tension_low_n: f32,
    /// Highest tension since the point before, N; NaN: there was no reading.
    pub tension_high_n: f32,
    /// Expected tension without cutting, N.
    pub expected_n: f32,
    /// Line paid out, m.
    pub line_m: f32,
    /// Depth of the wheels, m.
    pub tool_m: f32,
    /// Excess drag, N.
    pub drag_n: f32,
}

impl Point {
    /// Nothing is known.
    const UNKNOWN: Self = Self {
        at_s: f64::NEG_INFINITY,
        tension_n: f32::NAN,
        tension_low_n: f32::NAN,
        tension_high_n: f32::NAN,
        expected_n: f32::NAN,
        line_m: f32::NAN,
        tool_m: f32::NAN,
        drag_n: f32::NAN,
    };

    /// Takes the extremes of another point into this one.
    fn span(&mut self, other: &Self) {
        // `min` and `max` leave NaN aside.
        self.tension_low_n = self.tension_low_n.min(other.tension_low_n);
        self.tension_high_n = self.tension_high_n.max(other.tension_high_n);
    }
}

/// Columns of points: compact on the wire and ready for a chart.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Columns {
    /// Run time, s.
    pub at_s: Vec<f64>,
    /// Line tension, N.
    pub tension_n: Vec<Option<f32>>,
    /// Lowest tension since the point before, N.
    pub tension_low_n: Vec<Option<f32>>,
    /// Highest tension since the point before, N.
    pub tension_high_n: Vec<Option<f32>>,
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
#[derive(Debug)]
pub struct History {
    fine: VecDeque<Point>,
    coarse: VecDeque<Point>,
    first_fine_s: f64,
}

impl Default for History {
    fn default() -> Self {
        // All of it at once, and written to: growing by doubling would leave holes of a megabyte in the heap, and
        // what a run takes after sixteen hours it takes from the start.
        let room = |points| {
            let mut room = VecDeque::from(vec![Point::UNKNOWN; points]);
            room.clear();
            room
        };
        Self {
            fine: room(FINE_POINTS),
            coarse: room(COARSE_POINTS),
            first_fine_s: 0.0,
        }
    }
}

impl History {
    /// Without room at the start: for the minutes until another takes its place.
    pub fn for_a_while() -> Self {
        Self {
            fine: VecDeque::new(),
            coarse: VecDeque::new(),
            first_fine_s: 0.0,
        }
    }

    /// Adds the newest point; one that is not newer than the last adds nothing.
    pub fn push(&mut self, point: Point) {
        if point.at_s <= self.newest_s() {
            return;
        }
        match self.coarse.back_mut() {
            Some(last) if point.at_s - last.at_s < COARSE_STEP_S => last.span(&point),
            _ => {
                if self.coarse.len() >= COARSE_POINTS {
                    self.coarse.pop_front();
                }
                self.coarse.push_back(point);
            }
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

    /// All points newer than `since_s`, oldest first, at most `points_max` (each then stands for
    /// several): fine ones as far back as they reach, thinned ones before that.
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
        let mut standing: Option<Point> = None;
        // Counted from the newest backwards, so that the newest point is always there.
        for (left, point) in old.chain(new).enumerate().map(|(n, p)| (count - 1 - n, p)) {
            let mut point = *point;
            if let Some(before) = standing {
                point.span(&before);
            }
            if left % step == 0 {
                columns.push(&point);
                standing = None;
            } else {
                standing = Some(point);
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
        self.tension_low_n.push(known(point.tension_low_n));
        self.tension_high_n.push(known(point.tension_high_n));
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
            tension_low_n: at_s as f32,
            tension_high_n: at_s as f32,
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

    #[test]
    fn a_pull_of_one_reading_is_there_at_any_zoom_and_after_hours() {
        let mut history = History::default();
        for n in 0..200_000_u32 {
            let mut one = point(f64::from(n) / 50.0);
            (one.tension_n, one.tension_low_n, one.tension_high_n) = (1000.0, 990.0, 1010.0);
            if n == 100 || n == 199_003 {
                one.tension_high_n = 5000.0;
            }
            if n == 199_500 {
                (one.tension_low_n, one.tension_high_n) = (f32::NAN, f32::NAN);
            }
            history.push(one);
        }
        for points in [50, 777, 6000, 60_000] {
            let columns = history.since(-1.0, points);
            let high = columns.tension_high_n.iter().flatten();
            let peaks = high.filter(|n| **n == 5000.0).count();
            assert_eq!(peaks, 2, "{points} points");
            let all_low = columns.tension_low_n.iter().flatten();
            assert!(all_low.clone().all(|n| *n == 990.0) && all_low.count() > 40);
        }
    }
}
