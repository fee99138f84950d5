//! Random numbers of the bench well: xoshiro256++ seeded by splitmix64.
//!
//! Own code of forty lines rather than a crate, because records must stay reproducible for years:
//! crates change their streams between major versions. Algorithms: Blackman and Vigna,
//! "Scrambled linear pseudorandom number generators", 2021; public domain by their authors.

/// A deterministic stream of random numbers.
#[derive(Debug, Clone)]
pub struct Rng {
    state: [u64; 4],
    spare: Option<f64>,
}

impl Rng {
    /// A stream for `seed`; `name` keeps streams for different purposes apart, so that changing
    /// the noise of one instrument does not change the well.
    pub fn new(seed: u64, name: &str) -> Self {
        let mut mixer = Self::seed(seed, name);
        let mut next = || {
            mixer = mixer.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = mixer;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        Self {
            state: [next(), next(), next(), next()],
            spare: None,
        }
    }

    /// A seed of its own for a named part.
    pub fn seed(seed: u64, name: &str) -> u64 {
        name.bytes().fold(seed, |mixer, byte| {
            (mixer ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
        })
    }

    fn next_u64(&mut self) -> u64 {
        let s = &mut self.state;
        let out = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        out
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// `true` with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Standard normal (Box-Muller).
    pub fn normal(&mut self) -> f64 {
        if let Some(value) = self.spare.take() {
            return value;
        }
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.unit()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }

    /// Standard normal values on a grid, correlated over `length` (first-order Markov).
    pub fn correlated(&mut self, count: usize, step: f64, length: f64) -> Vec<f64> {
        let keep = if length > 0.0 {
            (-step / length).exp()
        } else {
            0.0
        };
        let fresh = (1.0 - keep * keep).sqrt();
        let mut value = self.normal();
        (0..count)
            .map(|_| {
                let out = value;
                value = keep * value + fresh * self.normal();
                out
            })
            .collect()
    }
}

/// Distribution function of the standard normal, to 1.5e-7 (Abramowitz and Stegun 7.1.26, from
/// memory; a test checks it at the usual quantiles).
pub fn normal_cdf(x: f64) -> f64 {
    let z = x.abs() / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let erf = 1.0 - poly * (-z * z).exp();
    if x >= 0.0 {
        0.5 * (1.0 + erf)
    } else {
        0.5 * (1.0 - erf)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_seed_same_stream_and_names_part_streams() {
        let draw = |seed, name: &str| {
            let mut rng = Rng::new(seed, name);
            (0..8).map(|_| rng.unit()).collect::<Vec<_>>()
        };
        assert_eq!(draw(7, "pipe"), draw(7, "pipe"));
        assert_ne!(draw(7, "pipe"), draw(7, "cell"));
        assert_ne!(draw(7, "pipe"), draw(8, "pipe"));
    }

    #[test]
    fn normal_values_have_unit_variance_and_the_usual_quantiles() {
        let mut rng = Rng::new(1, "normal");
        let values: Vec<f64> = (0..200_000).map(|_| rng.normal()).collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.02);
        let below = values.iter().filter(|v| **v < 1.281_551_57).count() as f64 / n;
        assert!((below - 0.9).abs() < 0.003);
        for (x, p) in [(0.0, 0.5), (1.644_853_63, 0.95), (-1.281_551_57, 0.1)] {
            assert!((normal_cdf(x) - p).abs() < 1e-6);
        }
    }
}
