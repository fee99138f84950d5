//! Leaps of the depth counter: more line than any winch could pay out in the time.
//!
//! *Input*: usable depths in order of arrival. *Output*: whether each is in doubt: a leap that waits for others to
//! confirm it, or any reading after one that was confirmed. *Limits*: which of the two is right, the counter before
//! the leap or after, only the crew can tell, by setting the counter; a counter that leaps back is believed again.
//! [`crate::align`] takes the same leaps out of the way of the tool.

use crate::align::{CONFIRMATIONS, LINE_STEP_MAX, line_within};
use crate::time::{Nanos, seconds};

/// Follows one counter.
#[derive(Debug, Clone, Default)]
pub struct LeapFinder {
    /// Newest depth as it would be without leaps, m.
    last: Option<(Nanos, f64)>,
    /// A leap that waits, and how many readings agree with it.
    waiting: Option<(Nanos, f64, u32)>,
    /// Sum of the leaps since the counter was set, m.
    leapt_m: f64,
    leaps: u64,
}

impl LeapFinder {
    /// Takes a depth, m: is it in doubt?
    pub fn is_in_doubt(&mut self, at: Nanos, depth_m: f64) -> bool {
        let value = depth_m - self.leapt_m;
        let Some((when, last)) = self.last else {
            self.last = Some((at, value));
            return false;
        };
        let is_near =
            |since, before: f64| (value - before).abs() <= line_within(seconds(at - since));
        if is_near(when, last) {
            self.waiting = None;
            self.last = Some((at, value));
            return self.leapt_m != 0.0;
        }
        let agree = match self.waiting {
            Some((since, before, agree)) if is_near(since, before) => agree + 1,
            _ => 1,
        };
        self.waiting = Some((at, value, agree));
        if agree >= CONFIRMATIONS {
            self.waiting = None;
            self.leaps += 1;
            self.leapt_m += value - last;
            self.last = Some((at, last));
            if self.leapt_m.abs() <= LINE_STEP_MAX {
                // Back where it was.
                self.last = Some((at, depth_m));
                self.leapt_m = 0.0;
            }
        }
        self.leapt_m != 0.0 || self.waiting.is_some()
    }

    /// The counter was set: what comes next is right.
    pub fn forget(&mut self) {
        (self.last, self.waiting, self.leapt_m) = (None, None, 0.0);
    }

    /// Leaps so far, those of a counter that has since been set included.
    pub fn leaps(&self) -> u64 {
        self.leaps
    }

    /// How far the counter is from where it would be without leaps, m; 0: it is believed.
    pub fn leapt_m(&self) -> f64 {
        self.leapt_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP: Nanos = 50_000_000;

    /// Whether each of these depths at 20 Hz is in doubt.
    fn doubts(finder: &mut LeapFinder, depths: impl IntoIterator<Item = f64>) -> Vec<bool> {
        (1..)
            .zip(depths)
            .map(|(n, depth)| finder.is_in_doubt(n * STEP, depth))
            .collect()
    }

    #[test]
    fn a_leap_is_in_doubt_at_once_and_until_the_counter_is_set() {
        let mut finder = LeapFinder::default();
        let after = (0..100).map(|n| 1193.0 + 0.02 * f64::from(n));
        let doubt = doubts(&mut finder, [2005.0; 20].into_iter().chain(after));
        assert!(doubt[..20].iter().all(|d| !d) && doubt[20..].iter().all(|d| *d));
        assert_eq!((finder.leaps(), finder.leapt_m()), (1, -812.0 + 0.06));
        finder.forget();
        assert_eq!(doubts(&mut finder, [2005.0; 5]), [false; 5]);
        assert_eq!((finder.leaps(), finder.leapt_m()), (1, 0.0));
    }

    #[test]
    fn a_counter_that_leaps_back_is_believed_again() {
        let mut finder = LeapFinder::default();
        let depths = [[2005.0; 10], [5.0; 10], [2005.2; 10]].concat();
        let doubt = doubts(&mut finder, depths);
        assert!(doubt[10..23].iter().all(|d| *d));
        assert!(doubt[23..].iter().all(|d| !d), "{doubt:?}");
        assert_eq!((finder.leaps(), finder.leapt_m()), (2, 0.0));
    }

    #[test]
    fn one_wrong_reading_and_a_fast_line_are_no_leaps() {
        let mut finder = LeapFinder::default();
        let depths =
            (0..200).map(|n| 2005.0 - 0.25 * f64::from(n) + if n == 100 { 500.0 } else { 0.0 });
        let doubt = doubts(&mut finder, depths);
        assert_eq!(doubt.iter().filter(|d| **d).count(), 1);
        assert_eq!(finder.leaps(), 0);
    }
}
