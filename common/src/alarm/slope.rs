//! Slope of a signal over the last second, robust against single bad readings.
//!
//! *Input*: readings at any rate, in order of time (older ones are ignored). *Output*: median of
//! the slopes between all pairs of 50 ms means (Theil 1950, Sen 1968, from memory): up to 29 % of
//! the means may be wrong. *Limits*: no allocation; below 20 readings per second each reading is a
//! mean of its own, and the window grows until it holds four of them. The median costs about a
//! microsecond, so it is only worked out when asked for, once for each new mean;
//! [`RobustSlope::rough`] is there for all other times.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// Means kept.
const MEANS: usize = 20;
/// Time of one mean.
const WIDTH: Nanos = 50_000_000;
/// Pairs of means.
const PAIRS: usize = MEANS * (MEANS - 1) / 2;

/// See the module doc.
#[derive(Debug, Clone)]
pub struct RobustSlope {
    /// Ring of (time, value); `next` is the oldest once it is full.
    means: [(Nanos, f64); MEANS],
    filled: usize,
    next: usize,
    /// The mean under way: start, sum of offsets from it, sum of values, readings.
    start: Nanos,
    offsets: f64,
    values: f64,
    count: u32,
    newest: Nanos,
    slow: Cached,
    fast: Cached,
    /// Asked for at every reading, so worked out with each mean.
    rough: Option<f64>,
}

/// A slope worked out since the last mean, or not yet.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cached {
    Stale,
    Known(Option<f64>),
}

impl Default for RobustSlope {
    fn default() -> Self {
        Self {
            means: [(0, 0.0); MEANS],
            filled: 0,
            next: 0,
            start: 0,
            offsets: 0.0,
            values: 0.0,
            count: 0,
            newest: Nanos::MIN,
            slow: Cached::Stale,
            fast: Cached::Stale,
            rough: None,
        }
    }
}

impl RobustSlope {
    /// Takes one reading; `true` when a mean was completed, so that the slopes are new.
    #[inline]
    pub fn push(&mut self, at: Nanos, value: f64) -> bool {
        if at < self.newest || !value.is_finite() {
            return false;
        }
        // After a silence the old readings say nothing about the slope now.
        if self.filled > 0 && at.saturating_sub(self.newest) > 3 * NANOS_PER_SECOND {
            self.forget();
        }
        self.newest = at;
        let mut completed = false;
        if self.count > 0 && at.saturating_sub(self.start) >= WIDTH {
            self.complete();
            completed = true;
        }
        if self.count == 0 {
            self.start = at;
        }
        self.offsets += at.saturating_sub(self.start) as f64;
        self.values += value;
        self.count += 1;
        completed
    }

    #[cold]
    fn forget(&mut self) {
        *self = Self::default();
    }

    #[inline(never)]
    fn complete(&mut self) {
        let n = f64::from(self.count);
        let at = self.start.saturating_add((self.offsets / n) as Nanos);
        let value = self.values / n;
        self.means[self.next] = (at, value);
        self.next = if self.next + 1 < MEANS {
            self.next + 1
        } else {
            0
        };
        self.filled = (self.filled + 1).min(MEANS);
        self.offsets = 0.0;
        self.values = 0.0;
        self.count = 0;
        self.slow = Cached::Stale;
        self.fast = Cached::Stale;
        self.rough = self.plain_slope(at, value);
    }

    /// The `back`-th newest mean, 0 being the newest.
    fn mean(&self, back: usize) -> (Nanos, f64) {
        let place = self.next + MEANS - 1 - back;
        self.means[if place < MEANS { place } else { place - MEANS }]
    }

    fn median_slope(&self, most: usize, window: Nanos) -> Option<f64> {
        let newest = self.mean(0).0;
        let mut used = 0;
        while used < self.filled.min(most)
            && (used < 4 || newest.saturating_sub(self.mean(used).0) <= window)
        {
            used += 1;
        }
        if used < 3 {
            return None;
        }
        let mut slopes = [0.0; PAIRS];
        let mut pairs = 0;
        for later in 0..used {
            for earlier in later + 1..used {
                let (t1, v1) = self.mean(later);
                let (t0, v0) = self.mean(earlier);
                if t1 > t0 {
                    slopes[pairs] = (v1 - v0) / (t1.saturating_sub(t0) as f64 * 1e-9);
                    pairs += 1;
                }
            }
        }
        let slopes = &mut slopes[..pairs];
        if slopes.is_empty() {
            return None;
        }
        let middle = slopes.len() / 2;
        let (_, median, _) = slopes.select_nth_unstable_by(middle, f64::total_cmp);
        Some(*median)
    }

    /// Slope over the last second, 1/s.
    pub fn slow(&mut self) -> Option<f64> {
        if self.slow == Cached::Stale {
            self.slow = Cached::Known(self.median_slope(MEANS, NANOS_PER_SECOND));
        }
        match self.slow {
            Cached::Known(slope) => slope,
            Cached::Stale => None,
        }
    }

    /// Slope over the last 0.3 s, 1/s: sooner, with more noise.
    pub fn fast(&mut self) -> Option<f64> {
        if self.fast == Cached::Stale {
            self.fast = Cached::Known(self.median_slope(6, 3 * NANOS_PER_SECOND / 10));
        }
        match self.fast {
            Cached::Known(slope) => slope,
            Cached::Stale => None,
        }
    }

    /// Slope between the newest mean and that of about half a second before, 1/s: not robust.
    pub fn rough(&self) -> Option<f64> {
        self.rough
    }

    /// To the newest mean, of `v1` at `t1`.
    fn plain_slope(&self, t1: Nanos, v1: f64) -> Option<f64> {
        let back = self.filled.min(MEANS / 2 + 1).checked_sub(1)?;
        let (t0, v0) = self.mean(back);
        (t1 > t0).then(|| (v1 - v0) / (t1.saturating_sub(t0) as f64 * 1e-9))
    }

    /// The newest mean.
    pub fn level(&self) -> Option<f64> {
        (self.filled > 0).then(|| self.mean(0).1)
    }

    /// Time of the newest reading.
    pub fn newest(&self) -> Option<Nanos> {
        (self.newest != Nanos::MIN).then_some(self.newest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(rate_hz: i64, slope: f64, spike_every: i64) -> RobustSlope {
        let mut found = RobustSlope::default();
        for n in 0..3 * rate_hz {
            let at = n * NANOS_PER_SECOND / rate_hz;
            let spike = if spike_every > 0 && n % spike_every == 0 {
                1e5
            } else {
                0.0
            };
            found.push(at, slope * at as f64 * 1e-9 + spike);
        }
        found
    }

    #[test]
    fn the_slope_of_a_ramp_is_found_at_every_rate() {
        for rate in [2, 10, 50, 1000, 2000] {
            let found = ramp(rate, 177.0, 0).slow().expect("slope");
            assert!((found - 177.0).abs() < 1e-6, "{rate} Hz: {found}");
            let rough = ramp(rate, 177.0, 0).rough().expect("slope");
            assert!((rough - 177.0).abs() < 1e-6, "{rate} Hz: {rough}");
        }
    }

    #[test]
    fn one_bad_reading_in_ten_does_not_disturb_it() {
        let found = ramp(20, 177.0, 10).slow().expect("slope");
        assert!((found - 177.0).abs() < 1.0, "{found}");
    }

    #[test]
    fn old_readings_and_such_that_are_no_number_are_ignored() {
        let mut found = ramp(50, 100.0, 0);
        let before = found.slow();
        assert!(!found.push(0, 1e9) && !found.push(4 * NANOS_PER_SECOND, f64::NAN));
        assert_eq!(found.slow(), before);
    }
}
