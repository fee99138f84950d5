//! Ends of a joint that the strokes hardly reach: they alone decide how many strokes it still takes.
//!
//! A place that one stroke in fifty passes would want thousands more at that pace. Read as what the joint needs,
//! that figure misleads: a turning point has to move.

use crate::summary::bins_of;
use crate::units_shown::{Units, counted};
use kerfwatch::result::{GrooveBin, Joint, RunResult};

/// A place is hardly reached when fewer than one in so many strokes pass it, of those that pass the place of the joint
/// passed most: it wants so many times the strokes that it would if the tool turned beyond it. (Of a joint near a turning
/// point the better part may be hardly reached: its median bin tells nothing.)
const ONE_IN: u32 = 5;
/// Fewer strokes than that into a joint none of its places can be told from the others yet.
const FEW: u32 = 10;

/// A depth counter may be off by so much and nobody knows it, m (common practice, no source).
const COUNTER_OFF_M: f64 = 1.0;

/// What strokes hardly reach of a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardlyReached {
    /// Length from the top of the joint; 0: reached.
    pub top_m: f64,
    /// Length from its bottom.
    pub bottom_m: f64,
    /// Strokes over the part of it passed most.
    pub passes: u32,
    /// Strokes over the place of the joint passed most.
    pub of: u32,
}

/// Places of a joint that are not split and hardly reached, from its bins; `None` where strokes reach all that is left.
pub fn hardly_reached(result: &RunResult, joint: &Joint) -> Option<HardlyReached> {
    let busiest = bins_of(result, joint).max_by_key(|bin| bin.passes)?;
    let of = busiest.passes;
    if of < FEW {
        return None;
    }
    let is_seldom = |bin: &&GrooveBin| !bin.through && bin.passes.saturating_mul(ONE_IN) < of;
    let mut found: Option<HardlyReached> = None;
    for bin in bins_of(result, joint).filter(is_seldom) {
        let known = found.get_or_insert(HardlyReached {
            top_m: 0.0,
            bottom_m: 0.0,
            passes: 0,
            of,
        });
        known.passes = known.passes.max(bin.passes);
        if bin.top_m < busiest.top_m {
            known.top_m = known.top_m.max(bin.bottom_m - joint.top_m);
        } else {
            known.bottom_m = known.bottom_m.max(joint.bottom_m - bin.top_m);
        }
    }
    found
}

impl HardlyReached {
    /// "strokes hardly reach its top 0.6 m (1 stroke, against 97 elsewhere) ..."
    fn sentence(&self, units: Units) -> String {
        let depth = units.depth();
        let parts: Vec<String> = [("top", self.top_m), ("bottom", self.bottom_m)]
            .into_iter()
            .filter(|(_, length)| *length > 0.0)
            .map(|(end, length)| format!("{end} {}", depth.show(length)))
            .collect();
        let point = match parts.len() {
            1 => "a turning point",
            _ => "both turning points",
        };
        let unless = if self.top_m.max(self.bottom_m) <= COUNTER_OFF_M {
            " (unless the depth counter is off by as much: then the groove is there, and it wants the counter set)"
        } else {
            ""
        };
        format!(
            "strokes hardly reach its {} ({} there, up to {} elsewhere in it). That part alone makes its strokes left, \
             at the pace so far: it wants {point} moved, not so many strokes{unless}",
            parts.join(" and its "),
            counted(self.passes as usize, "stroke", "strokes"),
            self.of
        )
    }
}

/// One sentence for each joint that has such a place.
pub fn hardly_reached_sentences(result: &RunResult, units: Units) -> Vec<String> {
    let joints = result.joints.iter().enumerate();
    joints
        .filter_map(|(i, joint)| {
            let found = hardly_reached(result, joint)?;
            Some(format!("Joint {}: {}.", i + 1, found.sentence(units)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;

    /// A joint of bins of a metre, from 100 m, passed so often; split where passed 90 times or more.
    fn result(passes: &[u32]) -> RunResult {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.groove = passes
            .iter()
            .enumerate()
            .map(|(i, &passes)| GrooveBin {
                top_m: 100.0 + i as f64,
                bottom_m: 101.0 + i as f64,
                depth_mm: 1.0,
                low_mm: 0.5,
                high_mm: 1.5,
                wall_mm: 6.0,
                passes,
                through: passes >= 90,
                through_probability: 0.0,
                coupling: false,
            })
            .collect();
        result.joints = vec![Joint {
            top_m: 100.0,
            bottom_m: 100.0 + passes.len() as f64,
            split_fraction: 0.5,
            min_depth_mm: 1.0,
            strokes_left_p50: Some(2911.0),
            strokes_left_p90: Some(5690.0),
        }];
        result
    }

    #[test]
    fn the_end_that_few_strokes_pass_is_named() {
        // More than half of the joint lies beyond the turning point.
        let result = result(&[1, 1, 1, 1, 27, 69, 97]);
        let found = hardly_reached(&result, &result.joints[0]).unwrap();
        assert_eq!((found.top_m, found.bottom_m), (4.0, 0.0));
        let told = hardly_reached_sentences(&result, Units::Metric);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with(
                "Joint 1: strokes hardly reach its top 4.0 m (1 stroke there, up to 97 elsewhere in it)."
            ),
            "{told:?}"
        );
        assert!(told[0].contains("wants a turning point moved"), "{told:?}");
        assert!(!told[0].contains("unless"), "{told:?}");
    }

    #[test]
    fn a_short_end_may_be_the_counter_s_error() {
        let told = hardly_reached_sentences(&result(&[1, 27, 69, 97]), Units::Metric);
        assert!(
            told[0].contains("unless the depth counter is off"),
            "{told:?}"
        );
    }

    #[test]
    fn both_ends_may_be_out_of_reach() {
        let result = result(&[0, 100, 100, 50, 9, 9]);
        let found = hardly_reached(&result, &result.joints[0]).unwrap();
        assert_eq!((found.top_m, found.bottom_m, found.passes), (1.0, 2.0, 9));
    }

    #[test]
    fn places_that_strokes_reach_or_that_are_split_want_no_other_turning_point() {
        for passes in [&[40, 40, 60, 97][..], &[0, 0, 0], &[5, 6, 7], &[100, 1200]] {
            let result = result(passes);
            assert_eq!(
                hardly_reached(&result, &result.joints[0]),
                None,
                "{passes:?}"
            );
        }
    }
}
