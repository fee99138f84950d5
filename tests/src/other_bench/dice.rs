//! Random numbers of the other bench: splitmix64, nothing else.
//!
//! Own code, so that records stay the same for years and no stream is shared with the first bench well. Algorithm: Steele,
//! Lea, Flood, "Fast splittable pseudorandom number generators", 2014, with the constants of Vigna's public-domain version.
//! Good enough to draw wells and noise, not for anything secret.

use std::f64::consts::TAU;

const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// A stream of random numbers that depends on its number only.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// The stream with this number.
    pub fn new(stream: u64) -> Self {
        let mut dice = Self(stream.wrapping_mul(STEP) ^ 0xD1B5_4A32_D192_ED03);
        // Streams with near numbers begin alike; a few steps part them.
        for _ in 0..5 {
            dice.next();
        }
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(STEP);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Its logarithm uniform between those of two positive values.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// Normal, mean 0, standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = self.unit().max(1e-300);
        let angle = self.unit();
        (-2.0 * radius.ln()).sqrt() * (TAU * angle).cos()
    }

    /// Normal, drawn again until it is no further than `most` from 0.
    pub fn normal_within(&mut self, most: f64) -> f64 {
        loop {
            let x = self.normal();
            if x.abs() <= most {
                return x;
            }
        }
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A whole number from `low` to `high`, both possible.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        low + (self.next() % ((high - low + 1) as u64)) as usize
    }

    /// One of a list that is not empty.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[(self.next() % list.len() as u64) as usize]
    }

    /// A factor within `most` of 1: how far off what the crew believes may be.
    pub fn belief(&mut self, most: f64) -> f64 {
        1.0 + self.between(-most, most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_repeats_itself_and_its_neighbour_differs() {
        let draw = |stream| {
            let mut dice = Dice::new(stream);
            (0..20).map(|_| dice.next()).collect::<Vec<_>>()
        };
        assert_eq!(draw(7), draw(7));
        assert_ne!(draw(7), draw(8));
    }

    #[test]
    fn draws_stay_in_their_range_and_have_the_moments_they_should() {
        let mut dice = Dice::new(1);
        let n = 20_000;
        let normal: Vec<f64> = (0..n).map(|_| dice.normal()).collect();
        let mean = normal.iter().sum::<f64>() / f64::from(n);
        let variance = normal.iter().map(|x| x * x).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 0.03 && (variance - 1.0).abs() < 0.05);
        for _ in 0..1000 {
            assert!((2.0..8.0).contains(&dice.log_between(2.0, 8.0)));
            assert!((3..=5).contains(&dice.whole(3, 5)));
            assert!(dice.normal_within(0.5).abs() <= 0.5);
        }
    }
}
