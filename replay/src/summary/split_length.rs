//! How much of the interval is split: what is to be expected, what is sure, what is possible.

use kerfwatch::result::{GrooveBin, RunResult, in_interval};

/// Groove bins of the interval, couplings left out.
pub(crate) fn tube_bins(result: &RunResult) -> impl Iterator<Item = &GrooveBin> {
    in_interval(&result.groove, &result.joints)
        .iter()
        .filter(|bin| !bin.coupling)
}

/// What is split of the interval, couplings left out, lengths in m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SplitLength {
    /// All of it.
    pub whole: f64,
    /// To be expected: every place counts by its probability.
    pub expected: f64,
    /// Split with a probability of 90 % or more.
    pub sure: f64,
    /// With 10 to 90 %: it cannot be told.
    pub doubtful: f64,
}

/// What is split, by the probability of each place. What is taken as split, place by place, may be all of it or nothing
/// where all places are about as likely ([`kerfwatch::groove::SAID_THROUGH`]); this does not leap.
pub fn split_length(result: &RunResult) -> SplitLength {
    let length = |part: &dyn Fn(&GrooveBin) -> f64| -> f64 {
        tube_bins(result)
            .map(|bin| part(bin) * (bin.bottom_m - bin.top_m))
            .sum()
    };
    let from = |p: f64| length(&|bin| f64::from(u8::from(bin.through_probability >= p)));
    let sure = from(0.9);
    SplitLength {
        whole: length(&|_| 1.0),
        expected: length(&|bin| bin.through_probability),
        sure,
        doubtful: from(0.1) - sure,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;

    #[test]
    fn places_about_as_likely_do_not_make_all_or_nothing_of_it() {
        let of = |probabilities: &[f64]| {
            let bins = probabilities.iter().enumerate().map(|(k, &p)| GrooveBin {
                top_m: k as f64,
                bottom_m: k as f64 + 1.0,
                depth_mm: 5.0,
                low_mm: 3.0,
                high_mm: 6.0,
                wall_mm: 6.0,
                passes: 10,
                through: p >= kerfwatch::groove::SAID_THROUGH,
                through_probability: p,
                coupling: false,
            });
            let job = read_job(print_default_job(), "job.toml").unwrap().job;
            let mut result = Pipeline::new(&job).result("run");
            result.groove = bins.collect();
            result.joints = Vec::new();
            split_length(&result)
        };
        let (a, b) = (of(&[0.56; 10]), of(&[0.54; 10]));
        assert!((a.expected - b.expected - 0.2).abs() < 1e-9);
        assert_eq!((a.sure, a.doubtful, a.whole), (0.0, 10.0, 10.0));
        let mixed = of(&[0.95, 0.5, 0.02]);
        assert_eq!((mixed.sure, mixed.doubtful), (1.0, 1.0));
    }
}
