//! Single readings that stand out from both neighbours.
//!
//! *Input*: values in order of arrival. *Output*: for each, whether it is a spike, at once when it
//! is near the one before, else when the next has come. *Limits*: one value is held back at most.
//!
//! A value is a spike when it lies off its predecessor by more than a limit, and the next value
//! comes most of the way back. The limit is [`JUMPS`] times the median of recent steps between
//! neighbours, never less than a floor. The median is followed by small multiplicative steps up or
//! down, so one outlier moves it by a tenth at most, however far out it lies.

/// Limit in medians of the recent steps. For normal noise this is about 7.6 standard deviations
/// of one value: below one in 10^13.
pub const JUMPS: f64 = 8.0;

/// Steps before anything is judged.
const WARM_UP: u32 = 8;

/// What the newest value made known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The newest value is no spike; nothing was held.
    Plain,
    /// The newest value is held until the next one.
    Held,
    /// The held value was a spike; the newest is none.
    HeldWasSpike,
    /// The held value was no spike, and neither is the newest.
    HeldWasPlain,
    /// The held value was no spike; the newest is now held.
    HeldWasPlainNewestHeld,
}

/// The judge of one channel.
#[derive(Debug, Clone)]
pub struct SpikeFilter {
    floor: f64,
    median_step: f64,
    steps: u32,
    /// Newest value that is not a spike.
    last: Option<f64>,
    held: Option<f64>,
}

impl SpikeFilter {
    /// `floor`: jumps below it are never spikes; positive, in the unit of the values.
    pub fn new(floor: f64) -> Self {
        Self {
            floor,
            median_step: 0.0,
            steps: 0,
            last: None,
            held: None,
        }
    }

    /// Takes the next value.
    pub fn push(&mut self, value: f64) -> Verdict {
        let Some(last) = self.last else {
            self.last = Some(value);
            return Verdict::Plain;
        };
        let limit = self.limit();
        let Some(held) = self.held.take() else {
            return if self.jumps(last, value, limit) {
                self.held = Some(value);
                Verdict::Held
            } else {
                self.accept(last, value);
                Verdict::Plain
            };
        };
        let (out, back) = (held - last, held - value);
        // Back by at least three quarters of the way out, and not far beyond.
        if out * back > 0.0 && (value - last).abs() <= (out.abs() / 4.0).max(limit) {
            self.accept(last, value);
            return Verdict::HeldWasSpike;
        }
        self.accept(last, held);
        if self.jumps(held, value, self.limit()) {
            self.held = Some(value);
            Verdict::HeldWasPlainNewestHeld
        } else {
            self.accept(held, value);
            Verdict::HeldWasPlain
        }
    }

    /// Gives up waiting (silence, or end of data): the held value counts as no spike. Returns
    /// whether one was held.
    pub fn release(&mut self) -> bool {
        match self.held.take() {
            Some(value) => {
                self.last = Some(value);
                true
            }
            None => false,
        }
    }

    /// What came before is no neighbour of what comes next.
    pub fn restart(&mut self) {
        self.last = None;
        self.held = None;
    }

    fn limit(&self) -> f64 {
        (JUMPS * self.median_step).max(self.floor)
    }

    fn jumps(&self, from: f64, to: f64, limit: f64) -> bool {
        self.steps >= WARM_UP && (to - from).abs() > limit
    }

    fn accept(&mut self, from: f64, to: f64) {
        let step = (to - from).abs();
        self.last = Some(to);
        if self.steps < WARM_UP {
            self.steps += 1;
            self.median_step = self.median_step.max(step.min(self.floor));
        } else if step > self.median_step {
            self.median_step = (self.median_step * 1.1).max(self.floor * 1e-3);
        } else {
            self.median_step /= 1.1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Spikes by index, in a run of values.
    fn spikes(values: &[f64]) -> Vec<usize> {
        let mut filter = SpikeFilter::new(50.0);
        let mut found = Vec::new();
        for (index, &value) in values.iter().enumerate() {
            if filter.push(value) == Verdict::HeldWasSpike {
                found.push(index - 1);
            }
        }
        found
    }

    fn noise(count: usize) -> Vec<f64> {
        // A fixed sequence between -1 and 1 (multiplicative congruence), no randomness.
        let mut state = 12_345_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
        };
        (0..count).map(|_| 2000.0 + 20.0 * next()).collect()
    }

    #[test]
    fn lone_outlier_is_a_spike_and_a_step_is_not() {
        let mut values = noise(200);
        values[60] += 900.0;
        values[90] -= 700.0;
        for value in &mut values[120..] {
            *value += 900.0;
        }
        assert_eq!(spikes(&values), [60, 90]);
    }

    #[test]
    fn two_readings_of_a_real_pull_are_no_spike() {
        let mut values = noise(100);
        values[50] += 900.0;
        values[51] += 850.0;
        assert!(spikes(&values).is_empty());
    }

    #[test]
    fn spike_within_a_ramp_is_found_and_the_ramp_is_kept() {
        let mut values: Vec<f64> = noise(100);
        for (index, value) in values.iter_mut().enumerate() {
            *value += 15.0 * index as f64;
        }
        values[70] += 2000.0;
        assert_eq!(spikes(&values), [70]);
    }

    #[test]
    fn pure_noise_holds_no_spike() {
        assert!(spikes(&noise(200_000)).is_empty());
    }

    #[test]
    fn held_value_is_released_in_silence() {
        let mut filter = SpikeFilter::new(50.0);
        for value in noise(20) {
            filter.push(value);
        }
        assert_eq!(filter.push(9000.0), Verdict::Held);
        assert!(filter.release());
        assert_eq!(filter.push(9001.0), Verdict::Plain);
    }
}
