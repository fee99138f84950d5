//! Steps of the load cell's zero in words, for summary, report and result.

use crate::units_shown::clock;
use kerfwatch::result::ZeroStep;
use kerfwatch::units::NEWTONS_PER_LBF;

/// What is to be said of each step.
pub(crate) fn told(steps: &[ZeroStep]) -> impl Iterator<Item = String> {
    steps.iter().map(|step| {
        let more = if step.by_n < 0.0 { "less" } else { "more" };
        let newtons = step.by_n.abs();
        format!(
            "from {} on the load cell reads {newtons:.0} N ({:.0} lbf) {more} than before, up and down alike: its zero, \
             the tool's weight or the well's pressure has changed; taken out of drag and groove, but not of line \
             tension, and its limit may be that much off",
            clock(step.at_s),
            newtons / NEWTONS_PER_LBF
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_told_with_its_time_size_and_sense() {
        let step = ZeroStep {
            at_s: 3480.0,
            by_n: -240.4,
        };
        let words: Vec<String> = told(&[step]).collect();
        assert!(
            words[0]
                .starts_with("from 0:58:00 on the load cell reads 240 N (54 lbf) less than before"),
            "{words:?}"
        );
    }
}
