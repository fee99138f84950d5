//! Drag of one stroke by depth: what the groove estimate is fed with.
//!
//! Cells while the line is still settling (the first echoes after a change of speed) say nothing
//! about drag and are left out; each other cell is spread over the depth it covered.

use crate::align::CELL_S;
use crate::motion::Moment;
use crate::result::Direction;
use crate::rounding::floor;
use std::collections::VecDeque;

/// Slowest movement that counts for drag, m/s.
pub(super) const SPEED_MIN: f64 = 0.04;
/// Most bins of a profile: a run-in from surface must not fill memory.
const BINS_MAX: usize = 4000;

/// Drag by depth bin. Bin `i` covers `origin + i*bin .. origin + (i+1)*bin`.
#[derive(Debug, Clone)]
pub struct StrokeProfile {
    bin: f64,
    origin: f64,
    first: i64,
    /// Sum of drag x metres, N m, and metres, by bin.
    sums: VecDeque<(f32, f32)>,
    /// Sum of speed x metres and metres over the stroke.
    speed_sum: f64,
    metres: f64,
}

impl StrokeProfile {
    /// Empty; length of a bin and depth where bin 0 begins, m.
    pub fn new(bin: f64, origin: f64) -> Self {
        Self {
            bin,
            origin,
            first: 0,
            sums: VecDeque::new(),
            speed_sum: 0.0,
            metres: 0.0,
        }
    }

    /// Adds a moment of a stroke going `direction`.
    pub fn add(&mut self, m: &Moment, direction: Direction) {
        let moved = match direction {
            Direction::Up => -m.speed,
            Direction::Down => m.speed,
        };
        if moved < SPEED_MIN || m.after_gap {
            return;
        }
        let drag = match direction {
            Direction::Up => m.drag_up,
            Direction::Down => m.drag_down,
        };
        let half = 0.5 * moved * CELL_S;
        let at = m.depth - self.origin;
        let (a, b) = (at - half, at + half);
        let (i, j) = (floor(a / self.bin), floor(b / self.bin));
        for bin in i..=j {
            let low = a.max(bin as f64 * self.bin);
            let high = b.min((bin + 1) as f64 * self.bin);
            if high > low {
                self.add_to(bin, drag, high - low);
            }
        }
        self.speed_sum += moved * (b - a);
        self.metres += b - a;
    }

    fn add_to(&mut self, bin: i64, drag: f64, metres: f64) {
        if self.sums.is_empty() {
            self.first = bin;
        }
        while bin < self.first {
            if self.sums.len() >= BINS_MAX {
                // Going up out of the window: drop what lies deepest.
                self.sums.pop_back();
            }
            self.sums.push_front((0.0, 0.0));
            self.first -= 1;
        }
        let mut at = (bin - self.first) as usize;
        if at >= BINS_MAX {
            let drop = (at + 1 - BINS_MAX).min(self.sums.len());
            self.sums.drain(..drop);
            self.first += drop as i64;
            if self.sums.is_empty() {
                self.first = bin;
            }
            at = (bin - self.first) as usize;
        }
        if at >= self.sums.len() {
            self.sums.resize(at + 1, (0.0, 0.0));
        }
        let slot = &mut self.sums[at];
        slot.0 += (drag * metres) as f32;
        slot.1 += metres as f32;
    }

    /// Mean drag in the bin, N, and metres covered; `None` where the tool did not move through.
    pub fn drag(&self, bin: i64) -> Option<(f64, f64)> {
        let (sum, metres) = *self.sums.get(usize::try_from(bin - self.first).ok()?)?;
        (metres > 1e-4).then(|| (f64::from(sum) / f64::from(metres), f64::from(metres)))
    }

    /// First and one past the last bin.
    pub fn bins(&self) -> (i64, i64) {
        (self.first, self.first + self.sums.len() as i64)
    }

    /// Mean speed while moving, m/s.
    pub fn mean_speed(&self) -> f64 {
        if self.metres > 0.0 {
            self.speed_sum / self.metres
        } else {
            0.0
        }
    }
}
