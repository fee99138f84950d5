//! On-line change detection with a known rate of false alarms: CUSUM and the sequential ratio test.
//!
//! *Input -> output*: standardised values (mean 0, deviation 1 while nothing has changed) -> alarm
//! or decision. *Formula*: CUSUM `S = max(0, S + z - k)`, alarm when `S > h`; sequential test:
//! log-likelihood ratio against `ln((1-b)/a)` and `ln(b/(1-a))`.
//! *Assumptions*: values are independent and normal. *Limits*: neighbouring samples of line tension
//! are not independent (waves, drift): feed values per stroke, per bin or whitened, else false
//! alarms come within seconds. *Sources*: E. S. Page, Biometrika 1954 (CUSUM, from memory); average run
//! length by the integral equation, NIST/SEMATECH e-Handbook 6.3.2.3.1 for definitions; A. Wald,
//! "Sequential Analysis", 1947 (from memory).

/// One-sided CUSUM for a rise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    /// Allowance, in deviations: half of the shift to be found soonest.
    pub allowance: f64,
    /// Decision interval, in deviations.
    pub decision: f64,
    sum: f64,
    since: u64,
}

impl Cusum {
    /// Starts at zero.
    ///
    /// ```
    /// use kerfwatch::model::change_detection::Cusum;
    /// let mut cusum = Cusum::new(0.5, 4.0);
    /// let alarm = (1..).find(|_| cusum.push(1.5)).unwrap();
    /// assert_eq!(alarm, 5); // a steady 1.5 adds 1 each time: 5 exceeds 4
    /// assert_eq!(cusum.samples_since_zero(), 5);
    /// ```
    pub fn new(allowance: f64, decision: f64) -> Self {
        Self {
            allowance,
            decision,
            sum: 0.0,
            since: 0,
        }
    }

    /// Starts at a head start (half the decision interval finds a change present at once sooner).
    pub fn with_head_start(allowance: f64, decision: f64, start: f64) -> Self {
        Self {
            sum: start,
            ..Self::new(allowance, decision)
        }
    }

    /// Takes one value; `true`: alarm. Values that are not finite are passed over.
    pub fn push(&mut self, z: f64) -> bool {
        if z.is_finite() {
            self.sum = (self.sum + z - self.allowance).max(0.0);
            self.since = if self.sum > 0.0 { self.since + 1 } else { 0 };
        }
        self.sum > self.decision
    }

    /// Present sum.
    pub fn sum(&self) -> f64 {
        self.sum
    }

    /// Values since the sum was last zero: the usual estimate of how long ago the change came.
    pub fn samples_since_zero(&self) -> u64 {
        self.since
    }

    /// Back to the start.
    pub fn reset(&mut self) {
        (self.sum, self.since) = (0.0, 0);
    }
}

/// What a sequential test has decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Not enough evidence yet.
    Open,
    /// Nothing has changed.
    Unchanged,
    /// It has.
    Changed,
}

/// Wald's sequential test of a normal mean: 0 against `shift` deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SequentialTest {
    shift: f64,
    upper: f64,
    lower: f64,
    ratio: f64,
}

/// Bounds `(upper, lower)` on the log-likelihood ratio for probabilities of a false alarm `alpha` and
/// of a miss `beta`, both between 0 and 1, sum below 1.
pub fn wald_bounds(alpha: f64, beta: f64) -> (f64, f64) {
    (((1.0 - beta) / alpha).ln(), (beta / (1.0 - alpha)).ln())
}

/// Mean number of values until a decision `(when changed, when unchanged)`, overshoot left out, for
/// a shift of `shift` deviations.
pub fn wald_mean_samples(alpha: f64, beta: f64, shift: f64) -> (f64, f64) {
    let (upper, lower) = wald_bounds(alpha, beta);
    let drift = 0.5 * shift * shift;
    (
        ((1.0 - beta) * upper + beta * lower) / drift,
        -(alpha * upper + (1.0 - alpha) * lower) / drift,
    )
}

impl SequentialTest {
    /// A test with the given probabilities of error.
    pub fn new(shift: f64, alpha: f64, beta: f64) -> Self {
        let (upper, lower) = wald_bounds(alpha, beta);
        Self {
            shift,
            upper,
            lower,
            ratio: 0.0,
        }
    }

    /// Takes one value. After a decision the test begins anew with the next value.
    pub fn push(&mut self, z: f64) -> Decision {
        if !z.is_finite() {
            return Decision::Open;
        }
        self.ratio += self.shift * (z - 0.5 * self.shift);
        let decision = if self.ratio >= self.upper {
            Decision::Changed
        } else if self.ratio <= self.lower {
            Decision::Unchanged
        } else {
            return Decision::Open;
        };
        self.ratio = 0.0;
        decision
    }

    /// Present log-likelihood ratio.
    pub fn ratio(&self) -> f64 {
        self.ratio
    }
}

/// Quadrature nodes for the run length equation: values agree to 8 digits with twice as many.
const NODES: usize = 48;

/// Average number of values until alarm of a one-sided [`Cusum`] that starts at `start`, when the
/// mean is `shift` deviations. Two-sided: [`two_sided_run_length`].
///
/// Solves `L(z) = 1 + L(0) P(k - z - shift) + integral_0^h L(y) f(y + k - z - shift) dy` (P, f: normal
/// distribution and density) by Gauss-Legendre quadrature. For design, not for live use.
pub fn average_run_length(allowance: f64, decision: f64, shift: f64, start: f64) -> f64 {
    let (nodes, weights) = gauss_legendre(NODES, decision);
    let n = NODES + 1; // the last unknown is L(0)
    let k = allowance - shift;
    let row = |z: f64| -> Vec<f64> {
        let mut r: Vec<f64> = nodes
            .iter()
            .zip(&weights)
            .map(|(y, w)| w * normal_density(y + k - z))
            .collect();
        r.push(normal_distribution(k - z));
        r
    };
    let mut matrix: Vec<Vec<f64>> = Vec::with_capacity(n);
    for i in 0..n {
        let z = if i < NODES { nodes[i] } else { 0.0 };
        let mut r: Vec<f64> = row(z).into_iter().map(|v| -v).collect();
        r[i] += 1.0;
        r.push(1.0);
        matrix.push(r);
    }
    let length = solve(matrix);
    1.0 + row(start)
        .iter()
        .zip(&length)
        .map(|(a, b)| a * b)
        .sum::<f64>()
}

/// Run length of two one-sided tests together: `1/(1/up + 1/down)`.
pub fn two_sided_run_length(up: f64, down: f64) -> f64 {
    1.0 / (1.0 / up + 1.0 / down)
}

/// Decision interval that gives one false alarm in `run_length` values (10 to 1e9), one-sided.
pub fn decision_for_run_length(allowance: f64, run_length: f64) -> f64 {
    let target = run_length.clamp(10.0, 1e9).ln();
    let (mut low, mut high) = (0.1, 25.0 / allowance.max(0.25));
    for _ in 0..50 {
        let h = 0.5 * (low + high);
        if average_run_length(allowance, h, 0.0, 0.0).ln() < target {
            low = h;
        } else {
            high = h;
        }
    }
    0.5 * (low + high)
}

fn normal_density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt()
}

/// Normal distribution function, to about 1e-15 (series near the middle, continued fraction outside).
pub fn normal_distribution(x: f64) -> f64 {
    let a = x.abs();
    if a > 38.0 {
        return if x > 0.0 { 1.0 } else { 0.0 };
    }
    if a < 3.0 {
        // P = 1/2 + f(x) (x + x^3/3 + x^5/(3 5) + ...)
        let (mut term, mut sum, mut i) = (a, a, 1.0);
        while term > 1e-18 * sum.max(1e-300) {
            i += 2.0;
            term *= a * a / i;
            sum += term;
        }
        let half = normal_density(a) * sum;
        return if x > 0.0 { 0.5 + half } else { 0.5 - half };
    }
    // Upper tail: f(a)/(a + 1/(a + 2/(a + 3/...)))
    let mut fraction = a;
    for i in (1..=80).rev() {
        fraction = a + f64::from(i) / fraction;
    }
    let tail = normal_density(a) / fraction;
    if x > 0.0 { 1.0 - tail } else { tail }
}

/// Nodes and weights on 0..`end`.
fn gauss_legendre(count: usize, end: f64) -> (Vec<f64>, Vec<f64>) {
    let n = count as f64;
    let mut nodes = Vec::with_capacity(count);
    let mut weights = Vec::with_capacity(count);
    for i in 0..count {
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut p0, mut p1) = (1.0, x);
            for j in 2..=count {
                let j = j as f64;
                (p0, p1) = (p1, ((2.0 * j - 1.0) * x * p1 - (j - 1.0) * p0) / j);
            }
            slope = n * (x * p1 - p0) / (x * x - 1.0);
            let step = p1 / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        nodes.push(0.5 * end * (1.0 + x));
        weights.push(end / ((1.0 - x * x) * slope * slope));
    }
    (nodes, weights)
}

/// Gauss elimination with row exchange; last column is the right side.
fn solve(mut m: Vec<Vec<f64>>) -> Vec<f64> {
    let n = m.len();
    for column in 0..n {
        let pivot = (column..n)
            .max_by(|&a, &b| m[a][column].abs().total_cmp(&m[b][column].abs()))
            .unwrap_or(column);
        m.swap(column, pivot);
        let (upper, lower) = m.split_at_mut(column + 1);
        let lead = &upper[column];
        for row in lower {
            let factor = row[column] / lead[column];
            for (value, above) in row[column..].iter_mut().zip(&lead[column..]) {
                *value -= factor * above;
            }
        }
    }
    let mut x = vec![0.0; n];
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|j| m[i][j] * x[j]).sum();
        x[i] = (m[i][n] - known) / m[i][i];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn printed(found: f64, wanted: f64, last_digit: f64) {
        assert!(
            (found - wanted).abs() <= 0.5001 * last_digit,
            "{found}, printed {wanted}"
        );
    }

    // Integral equation solved outside this project's code; confirmed there by a Markov chain of
    // 500 states and by 40000 simulated runs.
    #[test]
    fn average_run_lengths_of_cusum_meet_the_table() {
        let rows = [
            (0.0, 335.37, 167.68, 930.89, 465.44),
            (0.25, 77.08, 74.22, 141.69, 139.49),
            (0.5, 26.68, 26.63, 38.01, 38.00),
            (1.0, 8.38, 8.38, 10.38, 10.38),
            (1.5, 4.75, 4.75, 5.75, 5.75),
            (2.0, 3.34, 3.34, 4.01, 4.01),
            (3.0, 2.19, 2.19, 2.57, 2.57),
        ];
        for (shift, one4, two4, one5, two5) in rows {
            for (h, one, two) in [(4.0, one4, two4), (5.0, one5, two5)] {
                let up = average_run_length(0.5, h, shift, 0.0);
                let down = average_run_length(0.5, h, -shift, 0.0);
                printed(up, one, 0.01);
                printed(two_sided_run_length(up, down), two, 0.01);
            }
        }
    }

    #[test]
    fn wide_decision_interval_and_head_start() {
        printed(average_run_length(0.5, 8.0, 0.0, 0.0), 18_966.0, 1.0);
        printed(average_run_length(0.5, 8.0, 1.0, 0.0), 16.37, 0.01);
        printed(average_run_length(0.5, 4.0, 1.0, 2.0), 5.29, 0.01);
        printed(average_run_length(0.5, 5.0, 1.0, 2.5), 6.35, 0.01);
    }

    #[test]
    fn decision_interval_is_found_for_a_wanted_run_length() {
        assert!((decision_for_run_length(0.5, 930.89) - 5.0).abs() < 1e-4);
        assert!((decision_for_run_length(0.5, 335.37) - 4.0).abs() < 1e-4);
    }

    // A. Wald 1947, figures computed from the formulas.
    #[test]
    fn sequential_test_bounds_and_mean_sample_numbers() {
        let (upper, lower) = wald_bounds(0.01, 0.05);
        printed(upper, 4.55388, 1e-5);
        printed(lower, -2.98568, 1e-5);
        let (upper, lower) = wald_bounds(0.05, 0.10);
        printed(upper, 2.89037, 1e-5);
        printed(lower, -2.25129, 1e-5);
        let (changed, unchanged) = wald_mean_samples(0.01, 0.05, 1.0);
        printed(changed, 8.354, 1e-3);
        printed(unchanged, 5.821, 1e-3);
        let (changed, unchanged) = wald_mean_samples(0.05, 0.10, 1.0);
        printed(changed, 4.752, 1e-3);
        printed(unchanged, 3.988, 1e-3);
    }

    #[test]
    fn sequential_test_decides_both_ways_and_begins_anew() {
        let mut test = SequentialTest::new(1.0, 0.01, 0.05);
        let changed = (1..).find(|_| test.push(1.0) != Decision::Open).unwrap();
        assert_eq!(changed, 10); // 0.5 per value against 4.55
        assert_eq!(test.ratio(), 0.0);
        let mut last = Decision::Open;
        for _ in 0..6 {
            last = test.push(0.0);
        }
        assert_eq!(last, Decision::Unchanged); // -0.5 per value against -2.99
    }

    #[test]
    fn normal_distribution_at_known_points() {
        for (x, wanted) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746_068_542_9),
            (-1.959_963_984_540_054, 0.025),
            (5.0, 0.999_999_713_348_428_1),
        ] {
            assert!((normal_distribution(x) - wanted).abs() < 1e-15, "{x}");
        }
        assert!((normal_distribution(-6.0) / 9.865_876_450_376_98e-10 - 1.0).abs() < 1e-10);
    }

    proptest! {
        #[test]
        fn cusum_never_falls_below_zero_and_larger_decision_never_alarms_sooner(
            values in proptest::collection::vec(-4.0..4.0f64, 1..200),
        ) {
            let (mut small, mut large) = (Cusum::new(0.5, 4.0), Cusum::new(0.5, 5.0));
            for z in values {
                let (a, b) = (small.push(z), large.push(z));
                prop_assert!(a || !b);
                prop_assert!(small.sum() >= 0.0);
            }
        }
    }
}
