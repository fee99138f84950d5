//! Why the friction of a run is that of its job: a figure that was not found must not pass for one that was.

use kerfwatch::infer::friction::Learned;
use kerfwatch::job::{Job, SurveyStation};

/// A line in a well that leans no more presses on the pipe by less than its weights scatter.
const VERTICAL_DEG: f64 = 1.0;

/// Why friction of line and tool is still that of the job; `None` where the run has taught another. Passes of one way
/// only do, mixed with weight.
pub(crate) fn not_learned(job: &Job, learned: Option<&Learned>) -> Option<&'static str> {
    let leans = |s: &SurveyStation| s.inc.si().to_degrees() > VERTICAL_DEG;
    match learned {
        _ if !job.survey.iter().any(leans) => {
            Some("the well is vertical by its survey, so line and tool hardly lie on the pipe")
        }
        None => Some("the tool did not run free, with the cutter in, for long enough"),
        Some(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::units::Radians;

    #[test]
    fn friction_is_not_learned_in_a_vertical_well_nor_without_free_passes() {
        let mut job = read_job(print_default_job(), "job.toml").unwrap().job;
        let learned = Learned {
            up: 0.2,
            down: 0.2,
            tool: 0.15,
            weight: 1.0,
            offset: 0.0,
            line_fluid: 0.0,
            tool_fluid: 0.0,
            surface: 0.0,
            means: 40,
            both_ways: true,
        };
        assert_eq!(not_learned(&job, Some(&learned)), None);
        let none = not_learned(&job, None);
        assert!(none.unwrap().contains("did not run free"), "{none:?}");
        for station in &mut job.survey {
            station.inc = Radians(0.0);
        }
        let vertical = not_learned(&job, Some(&learned));
        assert!(vertical.unwrap().contains("vertical"), "{vertical:?}");
    }
}
