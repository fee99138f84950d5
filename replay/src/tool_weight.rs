//! A tool that does not weigh what the job says: a slip in `[tool] mass` spoils friction, drag and groove, and every
//! figure looks sound.

use kerfwatch::infer::friction::Learned;

/// Weight learned over that of the job may be off by so much: twice what weighing and fluid leave open.
const USUAL: f64 = 0.1;
/// The core takes it a quarter off and no further.
const AT_BOUND: f64 = 0.2499;

/// What is to be said of the weight learned from the free strokes of a run; `None` where it fits the job, or where strokes
/// of one way only leave weight and friction mixed.
pub(crate) fn told(learned: Option<&Learned>) -> Option<String> {
    let learned = learned.filter(|l| l.both_ways && (l.weight - 1.0).abs() > USUAL)?;
    let bound = match learned.weight - 1.0 {
        off if off > AT_BOUND => " or more",
        off if off < -AT_BOUND => " or less",
        _ => "",
    };
    Some(format!(
        "the tool hangs with {:.2} times its weight in the job{bound}: check [tool] mass (in air, all below the rope \
         socket), zero and span of the load cell; friction, drag and groove are off until then",
        learned.weight
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told_of(weight: f64, both_ways: bool) -> Option<String> {
        told(Some(&Learned {
            up: 0.2,
            down: 0.2,
            tool: 0.15,
            weight,
            offset: 0.0,
            line_fluid: 0.0,
            tool_fluid: 0.0,
            surface: 0.0,
            means: 40,
            both_ways,
        }))
    }

    #[test]
    fn a_weight_that_is_not_that_of_the_job_is_told_with_its_bound() {
        assert_eq!(told_of(1.05, true), None);
        assert_eq!(told_of(1.25, false), None);
        assert_eq!(told(None), None);
        let heavy = told_of(1.25, true).unwrap();
        assert!(
            heavy.starts_with(
                "the tool hangs with 1.25 times its weight in the job or more: check [tool] mass"
            ),
            "{heavy}"
        );
        let light = told_of(0.75, true).unwrap();
        assert!(
            light.contains("0.75 times its weight in the job or less:"),
            "{light}"
        );
        let between = told_of(1.15, true).unwrap();
        assert!(
            between.contains("1.15 times its weight in the job: check"),
            "{between}"
        );
    }
}
