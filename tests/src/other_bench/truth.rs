//! What really happened: kept while a run goes on, told as strokes, states, groove and overpulls afterwards.
//!
//! [`strokes`] and [`states`] define the words the estimator is held to; [`json`] writes them.

pub mod json;
pub mod states;
pub mod strokes;

use super::pipe::Grid;
use super::wire::chain::Held;

/// Time between moments kept, s.
pub const EVERY: f64 = 0.05;
/// An overpull is over below this share of the limit.
const CLEARED_BELOW: f64 = 0.98;

/// The run at one time.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    /// s
    pub time: f64,
    /// Middle of the wheels, m.
    pub tool: f64,
    /// Plastic work so far, J.
    pub work: f64,
    /// Force of cutting now, N.
    pub cutting: f32,
    /// Tension at the rope socket, N.
    pub tension: f32,
    /// Speed of the line, m/s, down positive.
    pub winch: f32,
    /// What held the tool since the moment before.
    pub held: Held,
}

/// The groove at one time.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// s
    pub time: f64,
    /// Depth by bin, mm.
    pub depth_mm: Vec<f64>,
    /// Share split by bin.
    pub split: Vec<f64>,
}

/// Tension above the limit.
#[derive(Debug, Clone, Copy)]
pub struct Overpull {
    /// s
    pub raised: f64,
    /// s; `None` when the run ended first.
    pub cleared: Option<f64>,
    /// N
    pub peak: f64,
}

/// Keeps what happens.
#[derive(Debug, Clone, Default)]
pub struct Keeper {
    /// Moments, [`EVERY`] from 0 on.
    pub moments: Vec<Moment>,
    /// Groove every ten strokes.
    pub history: Vec<Snapshot>,
    /// Overpulls.
    pub overpulls: Vec<Overpull>,
    held: Held,
    pulls_over: bool,
}

impl Keeper {
    /// Keeps the moments up to `now.time`; of what held the tool, all since the last.
    pub fn keep(&mut self, now: Moment) {
        self.held.up |= now.held.up;
        self.held.down |= now.held.down;
        while self.moments.len() as f64 * EVERY <= now.time {
            self.moments.push(Moment {
                time: self.moments.len() as f64 * EVERY,
                held: std::mem::take(&mut self.held),
                ..now
            });
        }
    }

    /// Keeps the groove.
    pub fn keep_groove(&mut self, time: f64, pipe: &Grid) {
        let bins = || (0..pipe.bins()).map(|bin| pipe.bin(bin));
        let depth = |bin: super::pipe::Bin| {
            if !bin.coupling && bin.split >= 0.5 {
                bin.wall_mm
            } else {
                bin.depth_mm
            }
        };
        self.history.push(Snapshot {
            time,
            depth_mm: bins().map(depth).collect(),
            split: bins().map(|bin| bin.split).collect(),
        });
    }

    /// Watches the limit.
    pub fn watch(&mut self, time: f64, tension: f64, limit: f64) {
        if !self.pulls_over && tension > limit {
            self.pulls_over = true;
            self.overpulls.push(Overpull {
                raised: time,
                cleared: None,
                peak: tension,
            });
        }
        if let (true, Some(last)) = (self.pulls_over, self.overpulls.last_mut()) {
            last.peak = last.peak.max(tension);
            if tension < CLEARED_BELOW * limit {
                last.cleared = Some(time);
                self.pulls_over = false;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_overpull_lasts_until_well_below_the_limit() {
        let mut keeper = Keeper::default();
        for (time, tension) in [(1.0, 900.0), (2.0, 1010.0), (3.0, 1200.0), (4.0, 990.0)] {
            keeper.watch(time, tension, 1000.0);
        }
        assert_eq!(keeper.overpulls.len(), 1);
        assert_eq!(keeper.overpulls[0].cleared, None);
        keeper.watch(5.0, 970.0, 1000.0);
        assert_eq!(keeper.overpulls[0].cleared, Some(5.0));
        assert_eq!(keeper.overpulls[0].peak, 1200.0);
    }
}
