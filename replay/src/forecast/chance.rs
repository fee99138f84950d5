//! Seeded random numbers and quantiles: the same seed gives the same forecast on every machine.

/// SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
#[derive(Debug, Clone)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even between 0 (included) and 1 (excluded).
    pub(crate) fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Even between two numbers.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Standard normal (Box and Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// Quantile `q` of unsorted values by linear interpolation; values may be infinite; `None` if empty.
pub(crate) fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = q.clamp(0.0, 1.0) * last as f64;
    let (low, high) = (
        sorted[place.floor() as usize],
        sorted[place.ceil() as usize],
    );
    let part = place.fract();
    Some(if part == 0.0 || low == high {
        low
    } else {
        low + (high - low) * part
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_those_of_the_published_generator() {
        // First outputs of SplitMix64 for seed 1234567 as printed with the reference code (from
        // memory, widely repeated).
        let mut chance = Chance::new(1_234_567);
        assert_eq!(chance.next(), 6_457_827_717_110_365_317);
        assert_eq!(chance.next(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn normal_numbers_have_mean_nought_and_spread_one() {
        let mut chance = Chance::new(5);
        let n = 100_000;
        let values: Vec<f64> = (0..n).map(|_| chance.normal()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(n);
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((variance - 1.0).abs() < 0.02, "{variance}");
    }

    #[test]
    fn quantiles_survive_infinities() {
        let values = [1.0, 2.0, 3.0, f64::INFINITY];
        assert_eq!(quantile(&values, 0.5), Some(2.5));
        assert_eq!(quantile(&values, 1.0), Some(f64::INFINITY));
        assert_eq!(quantile(&[], 0.5), None);
    }
}
