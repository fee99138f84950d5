//! What is told of a joint: its groove, what of it is split, the strokes it still takes.

use kerfwatch::result::{GrooveBin, Joint, RunResult};

/// Groove bins that belong to a joint, couplings left out.
pub fn bins_of<'r>(
    result: &'r RunResult,
    joint: &'r Joint,
) -> impl Iterator<Item = &'r GrooveBin> + 'r {
    result.groove.iter().filter(|bin| {
        let middle = 0.5 * (bin.top_m + bin.bottom_m);
        !bin.coupling && middle >= joint.top_m && middle <= joint.bottom_m
    })
}

/// Groove of a joint in one line: mean, least and most depth with their 90 % interval, passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointGroove {
    /// Mean of the bin estimates, mm.
    pub mean_mm: f64,
    /// Estimate of the shallowest bin, mm.
    pub least_mm: f64,
    /// Estimate of the deepest bin, mm.
    pub most_mm: f64,
    /// Interval of the shallowest bin, mm.
    pub least_low_mm: f64,
    /// Interval of the shallowest bin, mm.
    pub least_high_mm: f64,
    /// Wall, mm.
    pub wall_mm: f64,
    /// Least and most wall left, mm: a place taken as split has none. `None`: all places are.
    pub wall_left_mm: Option<(f64, f64)>,
    /// Least passes over a bin.
    pub passes_min: u32,
    /// Most passes over a bin.
    pub passes_max: u32,
}

/// The groove of a joint; `None` when no bin outside couplings belongs to it.
pub fn joint_groove(result: &RunResult, joint: &Joint) -> Option<JointGroove> {
    let bins: Vec<&GrooveBin> = bins_of(result, joint).collect();
    let least = bins
        .iter()
        .min_by(|a, b| a.depth_mm.total_cmp(&b.depth_mm))?;
    Some(JointGroove {
        mean_mm: bins.iter().map(|b| b.depth_mm).sum::<f64>() / bins.len() as f64,
        least_mm: least.depth_mm,
        most_mm: bins.iter().map(|b| b.depth_mm).fold(0.0, f64::max),
        least_low_mm: least.low_mm,
        least_high_mm: least.high_mm,
        wall_mm: least.wall_mm,
        wall_left_mm: wall_left_mm(&bins),
        passes_min: bins.iter().map(|b| b.passes).min().unwrap_or(0),
        passes_max: bins.iter().map(|b| b.passes).max().unwrap_or(0),
    })
}

fn wall_left_mm(bins: &[&GrooveBin]) -> Option<(f64, f64)> {
    let left = |bin: &&GrooveBin| match bin.through {
        true => 0.0,
        false => (bin.wall_mm - bin.depth_mm).max(0.0),
    };
    let least = bins.iter().map(left).fold(f64::INFINITY, f64::min);
    let most = bins.iter().map(left).fold(0.0, f64::max);
    bins.iter().any(|bin| !bin.through).then_some((least, most))
}

/// Part of a joint's length that is taken as split, couplings left out: places likelier split than not count whole, unlike
/// in [`Joint::split_fraction`], which all outputs give.
pub fn split_part(result: &RunResult, joint: &Joint) -> f64 {
    let (split, bins) = bins_of(result, joint).fold((0_u32, 0_u32), |(split, bins), bin| {
        (split + u32::from(bin.through), bins + 1)
    });
    f64::from(split) / f64::from(bins.max(1))
}

/// Strokes left in words: `12 to 18` (median to 90 %), `done`, `unknown`. A joint that is told as split all along may
/// still want strokes, since one of its many places may hold: `5, to be sure 18`, or `none, to be sure 18`.
pub fn strokes_left(result: &RunResult, joint: &Joint) -> String {
    match (joint.strokes_left_p50, joint.strokes_left_p90) {
        (Some(a), Some(b)) if b < 0.5 && a < 0.5 => "done".to_owned(),
        (Some(a), Some(b)) if split_part(result, joint) == 1.0 => {
            let even_chance = if a < 0.5 {
                "none".to_owned()
            } else {
                format!("{:.0}", a.ceil())
            };
            format!("{even_chance}, to be sure {:.0}", b.ceil())
        }
        (Some(a), Some(b)) => format!("{:.0} to {:.0}", a.ceil(), b.ceil()),
        (Some(a), None) => format!("{:.0} or more", a.ceil()),
        _ => "unknown".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;

    /// A joint of two bins, the second split or not.
    fn result(second_split: bool, strokes_left_p50: f64) -> RunResult {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let bin = |top_m: f64, through| GrooveBin {
            top_m,
            bottom_m: top_m + 0.1,
            depth_mm: 6.74,
            low_mm: 6.0,
            high_mm: 6.88,
            wall_mm: 6.88,
            passes: 100,
            through,
            through_probability: if through { 0.95 } else { 0.3 },
            coupling: false,
        };
        result.groove = vec![bin(100.0, true), bin(100.1, second_split)];
        result.joints = vec![Joint {
            top_m: 100.0,
            bottom_m: 100.2,
            split_fraction: 0.95,
            min_depth_mm: 6.74,
            strokes_left_p50: Some(strokes_left_p50),
            strokes_left_p90: Some(85.0),
        }];
        result
    }

    #[test]
    fn strokes_left_are_those_of_the_exports_also_where_all_is_told_as_split() {
        let told = |split, p50| {
            let result = result(split, p50);
            strokes_left(&result, &result.joints[0])
        };
        assert_eq!(told(true, 21.0), "21, to be sure 85");
        assert_eq!(told(true, 0.0), "none, to be sure 85");
        assert_eq!(told(false, 21.0), "21 to 85");
    }

    #[test]
    fn a_split_place_has_no_wall_left() {
        let left = |split| {
            let result = result(split, 0.0);
            joint_groove(&result, &result.joints[0]).and_then(|g| g.wall_left_mm)
        };
        assert_eq!(left(true), None);
        let (least, most) = left(false).unwrap();
        assert_eq!(least, 0.0);
        assert!((most - 0.14).abs() < 1e-9);
    }
}
