//! Rainflow counting of tension cycles, one reading at a time.
//!
//! *Input -> output*: a series of values (tension, N, or any other) -> cycles `(range, mean, count)`
//! with count 1 or 1/2. *Formula*: ASTM E1049-85, 5.4.4 (three points: a range is counted when the
//! next one is at least as large; ranges that contain the start count one half). *Limits*: turning
//! points closer than `gate` are taken as noise and passed over; the memory for open ranges grows
//! with the span of the data over `gate`, so give a gate for noisy data. *Source*: ASTM E1049-85.

/// One counted cycle or half cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Highest less lowest value.
    pub range: f64,
    /// Middle between them.
    pub mean: f64,
    /// 1 or 0.5.
    pub count: f64,
}

impl Cycle {
    fn between(a: f64, b: f64, count: f64) -> Self {
        Self {
            range: (a - b).abs(),
            mean: 0.5 * (a + b),
            count,
        }
    }
}

/// Counter; see the module doc.
///
/// ```
/// use kerfwatch::model::rainflow::Rainflow;
/// let mut counter = Rainflow::new(0.0);
/// let mut total = 0.0;
/// for value in [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0] {
///     counter.push(value, |cycle| total += cycle.count);
/// }
/// counter.finish(|cycle| total += cycle.count);
/// assert_eq!(total, 4.0);
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rainflow {
    gate: f64,
    /// Turning points of ranges not yet counted; the first one is the start of the series.
    open: Vec<f64>,
    /// Extreme since the last turning point: may still move on.
    candidate: Option<f64>,
    /// First value, until the series has left it by the gate.
    started: bool,
}

impl Rainflow {
    /// A counter that passes over turning points closer than `gate` (same unit as the data; 0: none).
    pub fn new(gate: f64) -> Self {
        Self {
            gate,
            ..Self::default()
        }
    }

    /// Takes the next value; calls `emit` for each cycle that is now complete. Values that are not
    /// finite are passed over.
    pub fn push(&mut self, value: f64, mut emit: impl FnMut(Cycle)) {
        if !value.is_finite() {
            return;
        }
        if !self.started {
            self.started = true;
            self.open.push(value);
            return;
        }
        let last = self.open[self.open.len() - 1];
        let Some(extreme) = self.candidate else {
            if (value - last).abs() > self.gate {
                self.candidate = Some(value);
            }
            return;
        };
        let rising = extreme > last;
        if (value > extreme) == rising && value != extreme {
            self.candidate = Some(value);
        } else if (value - extreme).abs() > self.gate {
            self.turn(extreme, &mut emit);
            self.candidate = Some(value);
        }
    }

    /// The series has ended: the last point turns, all open ranges count one half. The counter is
    /// then as new.
    pub fn finish(&mut self, mut emit: impl FnMut(Cycle)) {
        if let Some(extreme) = self.candidate.take() {
            self.turn(extreme, &mut emit);
        }
        for pair in self.open.windows(2) {
            emit(Cycle::between(pair[0], pair[1], 0.5));
        }
        self.open.clear();
        self.started = false;
    }

    fn turn(&mut self, point: f64, emit: &mut impl FnMut(Cycle)) {
        self.open.push(point);
        while self.open.len() >= 3 {
            let n = self.open.len();
            let (a, b, c) = (self.open[n - 3], self.open[n - 2], self.open[n - 1]);
            if (c - b).abs() < (b - a).abs() {
                break;
            }
            if n == 3 {
                emit(Cycle::between(a, b, 0.5));
                self.open.remove(0);
            } else {
                emit(Cycle::between(a, b, 1.0));
                self.open.truncate(n - 3);
                self.open.push(c);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn count(gate: f64, series: &[f64]) -> Vec<Cycle> {
        let mut counter = Rainflow::new(gate);
        let mut cycles = Vec::new();
        for &value in series {
            counter.push(value, |cycle| cycles.push(cycle));
        }
        counter.finish(|cycle| cycles.push(cycle));
        cycles
    }

    const EXAMPLE: [f64; 9] = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0];

    // ASTM E1049-85, example of 5.4.4.
    #[test]
    fn example_of_the_standard_is_counted_in_its_order() {
        let found: Vec<(f64, f64)> = count(0.0, &EXAMPLE)
            .iter()
            .map(|c| (c.range, c.count))
            .collect();
        let wanted = [
            (3.0, 0.5),
            (4.0, 0.5),
            (4.0, 1.0),
            (8.0, 0.5),
            (9.0, 0.5),
            (8.0, 0.5),
            (6.0, 0.5),
        ];
        assert_eq!(found, wanted);
        assert_eq!(found.iter().map(|c| c.1).sum::<f64>(), 4.0);
    }

    // Computed with the Python package rainflow 3.2.0.
    #[test]
    fn equivalent_range_and_miner_sum_of_the_example() {
        let cycles = count(0.0, &EXAMPLE);
        let sum: f64 = cycles.iter().map(|c| c.count * c.range.powi(5)).sum();
        assert_eq!(sum, 67_838.0);
        let total: f64 = cycles.iter().map(|c| c.count).sum();
        assert!(((sum / total).powf(0.2) - 7.012_657).abs() < 1e-6);
        let miner: f64 = cycles
            .iter()
            .map(|c| c.count / (1e6 * (10.0 / c.range).powi(5)))
            .sum();
        assert!((miner - 6.7838e-7).abs() < 1e-15);
    }

    // Computed with the Python package rainflow 3.2.0.
    #[test]
    fn second_series_counts_one_cycle_of_each_range() {
        let cycles = count(0.0, &[0.0, 10.0, 2.0, 8.0, 4.0, 9.0, 1.0, 7.0, 0.0]);
        for range in [4.0, 6.0, 7.0, 10.0] {
            let total: f64 = cycles
                .iter()
                .filter(|c| c.range == range)
                .map(|c| c.count)
                .sum();
            assert_eq!(total, 1.0, "range {range}");
        }
        assert_eq!(cycles.iter().map(|c| c.count).sum::<f64>(), 4.0);
    }

    #[test]
    fn points_between_turning_points_and_repeats_change_nothing() {
        let dense: Vec<f64> = EXAMPLE
            .windows(2)
            .flat_map(|w| {
                (0..10)
                    .map(|i| w[0] + (w[1] - w[0]) * f64::from(i) / 10.0)
                    .chain([w[1], w[1]])
            })
            .collect();
        assert_eq!(count(0.0, &dense), count(0.0, &EXAMPLE));
        let noisy: Vec<f64> = EXAMPLE.iter().flat_map(|&v| [v, v * 0.99, v]).collect();
        assert_eq!(count(0.5, &noisy), count(0.0, &EXAMPLE));
    }

    #[test]
    fn constant_empty_and_broken_series_count_nothing() {
        assert!(count(0.0, &[]).is_empty());
        assert!(count(0.0, &[5.0; 20]).is_empty());
        assert!(count(0.0, &[f64::NAN, f64::INFINITY]).is_empty());
    }

    proptest! {
        // Every range between neighbouring turning points is in exactly one cycle half.
        #[test]
        fn half_cycles_are_as_many_as_reversals(series in proptest::collection::vec(-100i32..100, 2..200)) {
            let values: Vec<f64> = series.iter().map(|&v| f64::from(v)).collect();
            let mut turns = 0usize;
            let mut clean: Vec<f64> = Vec::new();
            for &v in &values {
                if clean.last() != Some(&v) { clean.push(v); }
            }
            for w in clean.windows(3) {
                if (w[1] > w[0]) != (w[2] > w[1]) { turns += 1; }
            }
            let halves = if clean.len() < 2 { 0 } else { turns + 1 };
            let cycles = count(0.0, &values);
            let counted: f64 = cycles.iter().map(|c| 2.0 * c.count).sum();
            prop_assert_eq!(counted as usize, halves);
            // The largest range of the data is always found.
            if halves > 0 {
                let span = values.iter().copied().fold(f64::MIN, f64::max) - values.iter().copied().fold(f64::MAX, f64::min);
                prop_assert!(cycles.iter().any(|c| c.range == span));
            }
        }
    }
}
