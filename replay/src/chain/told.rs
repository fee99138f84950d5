//! How the runs were joined, for people and as JSON.

use super::feed::Fed;
use super::jobs;
use crate::run_folder::RunFolder;
use crate::summary::{mean_depth_mm, split_length};
use crate::units_shown::{Units, clock, duration};
use kerfwatch::job::{Difference, listed};
use kerfwatch::time::seconds;
use serde::Serialize;
use std::fmt::Write as _;

/// Measured shifts up to this, m, stand in the text only: a bin of the groove is no longer.
const WORTH_SAYING_M: f64 = 0.1;

/// Where the depth of a run comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Origin {
    /// The first run: all others are brought into its depth.
    First,
    /// Measured by the drag over the groove of the runs before, and corrected for.
    Measured,
    /// By hand.
    Given,
    /// The data cannot tell: as counted.
    Unknown,
}

/// Depth of one run against the first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Link {
    pub(super) origin: Origin,
    pub(super) shift_m: f64,
    /// 90 % interval of a measured one.
    pub(super) interval_m: Option<(f64, f64)>,
    pub(super) why: &'static str,
}

impl Link {
    fn new(origin: Origin, shift_m: f64) -> Self {
        Self {
            origin,
            shift_m,
            interval_m: None,
            why: "",
        }
    }

    pub(super) fn first() -> Self {
        Self::new(Origin::First, 0.0)
    }

    pub(super) fn given(shift_m: f64) -> Self {
        Self::new(Origin::Given, shift_m)
    }

    pub(super) fn measured(shift_m: f64, low_m: f64, high_m: f64) -> Self {
        Self {
            interval_m: Some((low_m, high_m)),
            ..Self::new(Origin::Measured, shift_m)
        }
    }

    pub(super) fn unknown(why: &'static str) -> Self {
        Self {
            why,
            ..Self::new(Origin::Unknown, 0.0)
        }
    }
}

/// One run of the chain.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Part {
    /// Run id.
    run: String,
    /// Its start, since that of the first run.
    start_s: f64,
    /// Time between the end of the run before and its start, where the runs know it.
    pause_s: Option<f64>,
    /// What the estimate took it for.
    pause_taken_s: Option<f64>,
    /// Strokes of this run.
    strokes: usize,
    /// Length split at its end, each place counted by its probability.
    split_m: f64,
    /// Mean groove at its end, couplings left out.
    mean_depth_mm: Option<f64>,
    /// Where its depth comes from.
    pub(super) depth: Origin,
    /// So much deeper than counted; this is applied.
    shift_m: f64,
    /// 90 % interval of a measured shift.
    shift_low_m: Option<f64>,
    /// Likewise.
    shift_high_m: Option<f64>,
    /// Why it is unknown.
    #[serde(skip_serializing_if = "str::is_empty")]
    why: &'static str,
    /// What one of its strokes counts against one of the last run's, by what their jobs say of the cutter.
    stroke_counts: f64,
    /// Values of its job that are not those of the last run's.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    job_differs: Vec<Difference>,
}

pub(super) fn parts(folders: &[RunFolder], fed: &Fed, links: &[Link]) -> Vec<Part> {
    folders
        .iter()
        .zip(links)
        .zip(jobs::against_used(folders))
        .enumerate()
        .map(|(k, ((folder, link), job_differs))| {
            let result = &fed.at_end[k];
            let pause = fed.placed[k].pause;
            Part {
                run: folder.id.clone(),
                start_s: seconds(fed.placed[k].truly),
                pause_s: pause.and_then(|p| p.true_ns).map(seconds),
                pause_taken_s: pause.map(|p| seconds(p.joined_ns)),
                strokes: fed.rows[k].len(),
                split_m: split_length(result).expected,
                mean_depth_mm: mean_depth_mm(result),
                depth: link.origin,
                shift_m: link.shift_m,
                shift_low_m: link.interval_m.map(|i| i.0),
                shift_high_m: link.interval_m.map(|i| i.1),
                why: link.why,
                stroke_counts: fed.stroke_counts[k],
                job_differs,
            }
        })
        .collect()
}

impl Part {
    /// The pause before the run in words.
    fn pause_text(&self) -> Option<String> {
        let taken = self.pause_taken_s?;
        Some(match self.pause_s {
            None => format!(
                "pause before it unknown: taken as {}, and all later times with it",
                duration(taken)
            ),
            Some(pause) if (taken - pause).abs() > 0.5 => format!(
                "after a pause of {}; the estimate takes it as {}",
                duration(pause),
                duration(taken)
            ),
            Some(pause) => format!("after a pause of {}", duration(pause)),
        })
    }

    /// The depth of the run in words.
    fn depth_text(&self, units: Units) -> String {
        match self.depth {
            Origin::First => "depth as counted".to_owned(),
            Origin::Given if self.shift_m == 0.0 => "depth as counted, as given".to_owned(),
            Origin::Given => format!("{} than counted, as given", way(self.shift_m, units)),
            Origin::Unknown => "depth against earlier runs unknown: as counted".to_owned(),
            Origin::Measured => format!("{}, corrected for", self.measured(units)),
        }
    }

    /// "0.80 m shallower than counted, measured by the drag over the old groove (90 %: 0.6 to 1.0 m)"
    fn measured(&self, units: Units) -> String {
        let depth = units.fine_depth();
        let (low, high) = (
            self.shift_low_m.unwrap_or(self.shift_m),
            self.shift_high_m.unwrap_or(self.shift_m),
        );
        let interval = if low < 0.0 && high > 0.0 {
            format!("{} to {}", way(low, units), way(high, units))
        } else {
            let (least, most) = (low.abs().min(high.abs()), low.abs().max(high.abs()));
            format!("{} to {}", depth.bare(least), depth.show(most))
        };
        format!(
            "{} than counted, measured by the drag over the old groove (90 %: {interval})",
            way(self.shift_m, units)
        )
    }

    /// What a reader must know of a job that is not used, and of depth.
    pub(super) fn warnings(&self, units: Units) -> impl Iterator<Item = String> {
        let job = jobs::warning(&self.run, &self.job_differs);
        job.into_iter().chain(self.depth_warning(units))
    }

    /// What a reader must know of a depth that is not as counted, or not known.
    fn depth_warning(&self, units: Units) -> Option<String> {
        match self.depth {
            Origin::Measured if self.shift_m.abs() > WORTH_SAYING_M => Some(format!(
                "run {}: {}; all its depths are corrected for that. If the tally says otherwise, give \
                 --shift; --shift 0 leaves it as counted",
                self.run,
                self.measured(units)
            )),
            Origin::Unknown => Some(format!(
                "run {}: its depth against the earlier runs is unknown ({}); taken as counted. If you \
                 know it, give --shift, e.g. --shift \"{}\"",
                self.run,
                self.why,
                units.fine_depth().show(0.4)
            )),
            _ => None,
        }
    }
}

pub(super) fn text(parts: &[Part], units: Units) -> String {
    let mut text = format!("Chain of {} runs\n", parts.len());
    let (depth, mm) = (units.depth(), units.groove());
    for part in parts {
        let groove = part
            .mean_depth_mm
            .map_or_else(String::new, |d| format!(", mean groove {}", mm.show(d)));
        let _ = writeln!(text, "  {}", part.run);
        let _ = writeln!(
            text,
            "    from {}, {} strokes; at its end {} split{groove}",
            clock(part.start_s),
            part.strokes,
            depth.show(part.split_m)
        );
        if let Some(pause) = part.pause_text() {
            let _ = writeln!(text, "    {pause}");
        }
        let _ = writeln!(text, "    {}", part.depth_text(units));
        let (by_run, unused) = jobs::parted(&part.job_differs);
        if !by_run.is_empty() {
            let _ = writeln!(
                text,
                "    its own cutter, {}: one of its strokes counts {:.2} of the last run's",
                listed(&by_run, "last run"),
                part.stroke_counts
            );
        }
        if !unused.is_empty() {
            let differ = listed(&unused, "used");
            let _ = writeln!(text, "    its job is not used: {differ}");
        }
    }
    text.push_str("Times count from the start of the first run.\n\n");
    text
}

/// "0.80 m shallower"
fn way(shift_m: f64, units: Units) -> String {
    let way = if shift_m < 0.0 { "shallower" } else { "deeper" };
    format!("{} {way}", units.fine_depth().show(shift_m.abs()))
}
