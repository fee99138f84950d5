//! How the runs were joined, for people and as JSON.

use super::feed::Fed;
use crate::run_folder::RunFolder;
use crate::summary::split_length_m;
use crate::units_shown::{Units, clock};
use serde::Serialize;
use std::fmt::Write as _;

/// Where the depth of a run comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Origin {
    /// The first run: all others are brought into its depth.
    First,
    /// As counted; the drag suggests another depth, which a person must confirm.
    Suggested,
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
    /// What the drag suggests, with its 90 % interval.
    pub(super) suggested_m: Option<(f64, f64, f64)>,
    pub(super) why: &'static str,
}

impl Link {
    fn new(origin: Origin, shift_m: f64) -> Self {
        Self {
            origin,
            shift_m,
            suggested_m: None,
            why: "",
        }
    }

    pub(super) fn first() -> Self {
        Self::new(Origin::First, 0.0)
    }

    pub(super) fn given(shift_m: f64) -> Self {
        Self::new(Origin::Given, shift_m)
    }

    pub(super) fn suggested(shift_m: f64, low_m: f64, high_m: f64) -> Self {
        Self {
            suggested_m: Some((shift_m, low_m, high_m)),
            ..Self::new(Origin::Suggested, 0.0)
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
    /// Its start in the time of the chain.
    start_s: f64,
    /// Strokes of this run.
    strokes: usize,
    /// Length taken as split at its end.
    split_m: f64,
    /// Mean groove at its end, couplings left out.
    mean_depth_mm: Option<f64>,
    /// Where its depth comes from.
    pub(super) depth: Origin,
    /// So much deeper than counted.
    shift_m: f64,
    /// What the drag suggests instead, where it does.
    suggested_m: Option<f64>,
    /// Its 90 % interval.
    suggested_low_m: Option<f64>,
    /// Likewise.
    suggested_high_m: Option<f64>,
    /// Why it is unknown.
    #[serde(skip_serializing_if = "str::is_empty")]
    why: &'static str,
}

pub(super) fn parts(folders: &[RunFolder], fed: &Fed, links: &[Link]) -> Vec<Part> {
    folders
        .iter()
        .zip(links)
        .enumerate()
        .map(|(k, (folder, link))| {
            let result = &fed.at_end[k];
            let bins = result.groove.iter().filter(|b| !b.coupling);
            let depths: Vec<f64> = bins.map(|b| b.depth_mm).collect();
            Part {
                run: folder.id.clone(),
                start_s: fed.start_s[k],
                strokes: fed.rows[k].len(),
                split_m: split_length_m(result).0,
                mean_depth_mm: (!depths.is_empty())
                    .then(|| depths.iter().sum::<f64>() / depths.len() as f64),
                depth: link.origin,
                shift_m: link.shift_m,
                suggested_m: link.suggested_m.map(|s| s.0),
                suggested_low_m: link.suggested_m.map(|s| s.1),
                suggested_high_m: link.suggested_m.map(|s| s.2),
                why: link.why,
            }
        })
        .collect()
}

impl Part {
    /// The depth of the run in words.
    fn depth_text(&self, units: Units) -> String {
        match self.depth {
            Origin::First => "depth as counted".to_owned(),
            Origin::Given => format!("{} than counted, as given", way(self.shift_m, units)),
            Origin::Unknown => "depth against earlier runs unknown: as counted".to_owned(),
            Origin::Suggested => format!(
                "depth as counted; the drag suggests {} than that",
                way(self.suggested_m.unwrap_or(0.0), units)
            ),
        }
    }

    /// What to do about a depth that is not sure.
    pub(super) fn warning(&self, units: Units) -> Option<String> {
        let depth = units.fine_depth();
        match (self.depth, self.suggested_m) {
            (Origin::Suggested, Some(shift)) => Some(format!(
                "run {}: the drag over the old groove suggests that it is {} than counted (90 %: {} to \
                 {}). This is not applied: compare it with the tally, then give --shift \"{}\" if it \
                 is right",
                self.run,
                way(shift, units),
                depth.bare(self.suggested_low_m.unwrap_or(shift)),
                depth.show(self.suggested_high_m.unwrap_or(shift)),
                depth.show(shift),
            )),
            (Origin::Unknown, _) => Some(format!(
                "run {}: its depth against the earlier runs is unknown ({}); taken as counted. If you \
                 know it, give --shift, e.g. --shift \"{}\"",
                self.run,
                self.why,
                depth.show(0.4)
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
        let _ = writeln!(text, "    {}", part.depth_text(units));
    }
    text.push('\n');
    text
}

/// "0.80 m shallower"
fn way(shift_m: f64, units: Units) -> String {
    let way = if shift_m < 0.0 { "shallower" } else { "deeper" };
    format!("{} {way}", units.fine_depth().show(shift_m.abs()))
}
