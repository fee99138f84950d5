//! A load that repeats one value at rest, where it never did so before.
//!
//! A gateway that hangs repeats the last value of load and depth alike, and a line at rest looks the same; but the cell
//! of a line at rest goes on to flicker by steps of its converter. So the channel learns from standstills how long one
//! value lasts there; one that then lasts far longer is frozen.
//!
//! *Input*: raw loads, depths (m). *Output*: whether the load is frozen. *Limits*: says nothing before the line has
//! rested for a while, nor of an indicator whose readings stand at rest, or flicker between two neighbours only: drift
//! takes those off the edge between two steps, and then they stand by rights.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// The line rests where it has not moved by more than this, m, for this long: a filter has settled then.
const REST_M: f64 = 0.05;
const SETTLED: Nanos = 20 * NANOS_PER_SECOND;
/// Time at rest and changes there before anything is said.
const LEARNED: Nanos = 60 * NANOS_PER_SECOND;
const CHANGES_MIN: u32 = 50;
/// Of their changes, one in so many must be by more than a step.
const OVER_A_STEP: u32 = 10;
/// A value that lasts at least so long, and so many times longer than the longest before, is frozen.
const LASTS: Nanos = 60 * NANOS_PER_SECOND;
const LONGER: i64 = 20;

/// What was seen of the load at rest, and of the value that it has now.
#[derive(Debug, Clone, Default)]
pub struct Repeats {
    /// Where the line lies since when.
    line: Option<(f64, Nanos)>,
    /// Value now, and since when at rest.
    value: Option<(f64, Nanos)>,
    /// Time at rest so far, changes in it, and those over a step.
    rested: Nanos,
    changes: u32,
    over_a_step: u32,
    /// Smallest change seen at rest.
    step: f64,
    /// Longest time for which a value lasted at rest.
    longest: Nanos,
}

impl Repeats {
    /// The line paid out is `depth` m.
    pub fn line_reads(&mut self, at: Nanos, depth: f64) {
        if self
            .line
            .is_none_or(|(place, _)| (depth - place).abs() > REST_M)
        {
            self.line = Some((depth, at));
            // What lasted while the line moved is the business of `stillness`.
            self.value = None;
        }
    }

    /// The load reads `raw`; whether it is frozen.
    pub fn load_reads(&mut self, at: Nanos, raw: f64) -> bool {
        if self.line.is_none_or(|(_, since)| at - since < SETTLED) {
            return false;
        }
        let (value, since) = *self.value.get_or_insert((raw, at));
        if value == raw {
            return self.is_frozen(at - since);
        }
        // A time in which it was frozen teaches nothing of how it lives.
        if !self.is_frozen(at - since) {
            self.learn((raw - value).abs(), at - since);
        }
        self.value = Some((raw, at));
        false
    }

    fn is_frozen(&self, lasts: Nanos) -> bool {
        self.rested >= LEARNED
            && self.changes >= CHANGES_MIN
            && self.over_a_step >= self.changes / OVER_A_STEP
            && lasts >= LASTS.max(LONGER.saturating_mul(self.longest))
    }

    fn learn(&mut self, change: f64, lasted: Nanos) {
        if self.step == 0.0 || change < self.step {
            self.step = change;
        }
        self.rested = self.rested.saturating_add(lasted);
        self.changes = self.changes.saturating_add(1);
        // A step and a half: between one and two, whatever rounding left.
        self.over_a_step += u32::from(change > 1.5 * self.step);
        self.longest = self.longest.max(lasted);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HZ: i64 = 10;

    /// Load at rest with noise over some steps, and at last one value for ever: when it was found frozen, in s since it
    /// stood, over `hang_s`.
    fn found(noise: impl Fn(u64) -> f64, quiet_s: i64, hang_s: i64) -> Option<i64> {
        let mut repeats = Repeats::default();
        for k in 0..quiet_s * HZ {
            let at = k * NANOS_PER_SECOND / HZ;
            repeats.line_reads(at, 1500.0);
            assert!(!repeats.load_reads(at, noise(k as u64)), "at {k}");
        }
        let first = (0..hang_s * HZ).find(|k| {
            let at = (quiet_s * HZ + k) * NANOS_PER_SECOND / HZ;
            repeats.line_reads(at, 1500.0);
            repeats.load_reads(at, 777.0)
        });
        first.map(|k| k / HZ)
    }

    fn dice(k: u64) -> u64 {
        (k + 1).wrapping_mul(6_364_136_223_846_793_005) >> 33
    }

    #[test]
    fn a_cell_that_flickered_at_rest_and_stands_is_frozen() {
        assert_eq!(found(|k| 900.0 + (dice(k) % 9) as f64, 120, 300), Some(60));
    }

    #[test]
    fn nothing_is_said_before_the_line_has_rested_for_a_while() {
        assert_eq!(found(|k| 900.0 + (dice(k) % 9) as f64, 70, 900), None);
    }

    #[test]
    fn a_coarse_indicator_may_stand_for_hours() {
        // Creeps by a step now and then; flickers between two neighbours.
        assert_eq!(found(|k| (900 + k / 200) as f64, 600, 400), None);
        assert_eq!(found(|k| 900.0 + (dice(k) % 2) as f64, 600, 7200), None);
    }

    #[test]
    fn a_moving_line_is_no_rest() {
        let mut repeats = Repeats::default();
        for k in 0..20_000 {
            let at = k * NANOS_PER_SECOND / HZ;
            let hangs = k > 6000;
            repeats.line_reads(at, if hangs { 0.02 * k as f64 } else { 120.0 });
            let load = if hangs { 777 } else { 900 + dice(k as u64) % 9 };
            assert!(!repeats.load_reads(at, load as f64));
        }
    }
}
