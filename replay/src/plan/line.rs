//! What another run makes of the line: bends so far and to come, of the section that is bent most.

use super::choices::pull_of_last;
use super::stretches::{Known, Stretch};
use crate::forecast::bends::{self, Tension};
use crate::forecast::weights::Hang;
use kerfwatch::job::Job;
use kerfwatch::model::Motion;
use serde::Serialize;

/// The section that is bent most by the coming strokes, if the line is not cut back between the runs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct LineLeft {
    /// From the rope socket up the line.
    pub(super) from_m: f64,
    pub(super) to_m: f64,
    /// Bends so far, of the metre of it that has most.
    pub(super) bends: u32,
    /// Bends of one stroke.
    pub(super) bends_per_stroke: u32,
    /// Part of its bending life used so far, and used by one stroke; absent where the job gives none.
    pub(super) life_used: Option<f64>,
    pub(super) life_per_stroke: Option<f64>,
    /// Most bends so far of any metre, and where it begins.
    pub(super) most_bends: u32,
    pub(super) most_from_m: f64,
    /// Strokes until the alarm of line life.
    pub(super) strokes_to_alarm: Option<f64>,
}

/// `None` without sheaves in the job.
pub(super) fn left(known: &Known, coming: &Job, hang: &Hang, whole: &Stretch) -> Option<LineLeft> {
    let pull = pull_of_last(&known.result.strokes);
    let tension = |depth_m| Tension {
        up_n: pull.unwrap_or_else(|| hang.weight_n(depth_m, Motion::Up, 0.0)),
        down_n: hang.weight_n(depth_m, Motion::Down, 0.0),
    };
    let sections = bends::sections(coming, (whole.top_m, whole.bottom_m), &tension);
    let worst = bends::worst(&sections)?;
    let here = || {
        let wear = known.result.line_wear.iter();
        wear.filter(|w| w.to_m > worst.from_m && w.from_m < worst.to_m)
    };
    let bends = here().map(|w| w.bends).max().unwrap_or(0);
    let life_used = here().filter_map(|w| w.life_used).reduce(f64::max);
    let most = known.result.line_wear.iter().max_by_key(|w| w.bends)?;
    let left = life_used.zip(worst.life_per_stroke);
    Some(LineLeft {
        from_m: worst.from_m,
        to_m: worst.to_m,
        bends,
        bends_per_stroke: worst.bends_per_stroke,
        life_used,
        life_per_stroke: worst.life_per_stroke,
        most_bends: most.bends,
        most_from_m: most.from_m,
        strokes_to_alarm: left
            .map(|(used, each)| ((coming.alarm.line_life - used) / each).max(0.0)),
    })
}
