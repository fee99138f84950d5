//! Some of many values, evenly taken, for their quantiles in little memory.

/// Most values kept; half are dropped when full.
const KEPT: usize = 4096;

/// See the head of the file.
#[derive(Debug, Clone)]
pub(super) struct Thinned {
    kept: Vec<f64>,
    /// One in so many is kept.
    every: u64,
    seen: u64,
}

impl Default for Thinned {
    fn default() -> Self {
        Self {
            kept: Vec::new(),
            every: 1,
            seen: 0,
        }
    }
}

impl Thinned {
    /// `value` must be finite.
    pub(super) fn push(&mut self, value: f64) {
        if self.seen.is_multiple_of(self.every) {
            self.kept.push(value);
            if self.kept.len() == KEPT {
                let mut keep = false;
                self.kept.retain(|_| {
                    keep = !keep;
                    keep
                });
                self.every *= 2;
            }
        }
        self.seen += 1;
    }

    /// How many were pushed.
    pub(super) fn count(&self) -> u64 {
        self.seen
    }

    /// The value below which this part of all lies; `None` where there are none.
    pub(super) fn part(&self, part: f64) -> Option<f64> {
        let mut sorted = self.kept.clone();
        sorted.sort_by(f64::total_cmp);
        let last = sorted.len().checked_sub(1)?;
        sorted.get((part * last as f64).round() as usize).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_many_values_are_near_those_of_all() {
        let mut thinned = Thinned::default();
        assert_eq!(thinned.part(0.5), None);
        for i in 0..1_000_001 {
            thinned.push(f64::from(i));
        }
        assert_eq!(thinned.count(), 1_000_001);
        assert!(thinned.kept.len() < KEPT);
        for part in [0.01, 0.5, 0.99] {
            let found = thinned.part(part).unwrap();
            assert!((found / 1e6 - part).abs() < 1e-3, "{part}: {found}");
        }
    }
}
