//! `compare`: recomputations or results side by side: groove by depth, strokes, states, alarms.

mod page;
mod text;

pub use crate::args::CompareArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::JobChanges;
use crate::output_file::{write_file, write_json};
use crate::run_folder::RunFolder;
use crate::summary::{STATES, mean_depth_mm, split_length, strokes_left, time_in, times_in};
use kerfwatch::result::{Direction, GrooveBin, Joint, RunResult, State};
use serde::Serialize;
use std::path::Path;

/// One of the results compared, in figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Side {
    /// File or folder, with what was changed.
    pub label: String,
    /// Run id.
    pub run: String,
    /// Strokes up.
    pub strokes_up: usize,
    /// Strokes down.
    pub strokes_down: usize,
    /// Time in every state, in the order of [`STATES`].
    pub states: Vec<InState>,
    /// Alarms.
    pub alarms: usize,
    /// Work on the groove.
    pub work_j: f64,
    /// Highest tension in a stroke.
    pub peak_tension_n: f64,
    /// Length split, each place counted by its probability.
    pub split_m: f64,
    /// Mean groove depth, couplings left out.
    pub mean_depth_mm: Option<f64>,
    /// Joints, top down.
    pub joints: Vec<JointSide>,
    /// Everything but the run's identity equals the first.
    pub same_as_first: bool,
}

/// A joint of one side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JointSide {
    /// As in the result.
    #[serde(flatten)]
    pub joint: Joint,
    /// Strokes left, even chance and 90 %, in words.
    #[serde(skip)]
    pub strokes_left: String,
}

/// How often and how long a run was in a state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct InState {
    /// Which.
    pub state: State,
    /// Intervals.
    pub times: usize,
    /// All of them together.
    pub time_s: f64,
}

/// Groove of all sides in one bin of the first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BinRow {
    /// Top.
    pub top_m: f64,
    /// Bottom.
    pub bottom_m: f64,
    /// In a coupling of the first.
    pub coupling: bool,
    /// Estimates; `null` where a side has no bin, or a coupling there.
    pub depth_mm: Vec<Option<f64>>,
    /// Estimate less that of the first; `null` where either has none.
    pub difference_mm: Vec<Option<f64>>,
    /// Probability of being split.
    pub through_probability: Vec<Option<f64>>,
}

/// The comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Version of this JSON.
    pub format: u32,
    /// Nothing differs.
    pub same: bool,
    /// The sides, in the order given.
    pub sides: Vec<Side>,
    /// Groove by the bins of the first.
    pub groove: Vec<BinRow>,
}

/// Said instead of differences.
const NOTHING_IN_COMMON: &str =
    "No depth has a groove in A and in another: the grooves cannot be compared.";

impl Comparison {
    /// Some depth of the first has a groove in another too.
    fn has_common_depth(&self) -> bool {
        let others = self
            .groove
            .iter()
            .flat_map(|row| row.difference_mm.iter().skip(1));
        others.into_iter().any(Option::is_some)
    }
}

/// Runs it.
///
/// # Errors
/// An input that is neither run nor result, or a file that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let mut results = Vec::new();
    let mut damage = Exit::Well;
    for (i, path) in args.inputs.iter().enumerate() {
        let changes = if i == 0 {
            JobChanges::default()
        } else {
            args.changes.clone()
        };
        let (label, result, exit) = load(path, &changes, console)?;
        damage = damage.and(exit);
        results.push((label, result));
    }
    let comparison = compare(&results);
    let to_stdout = write_json(&comparison, args.json.as_deref(), console)?;
    if let Some(path) = &args.html {
        let page = page::page(&comparison, &results, args.units);
        write_file(path, |out| out.write_all(page.as_bytes()))?;
        console.talk(format_args!("page written to {}", path.display()));
    }
    if !to_stdout {
        console.data(text::text(&comparison, args.units).as_bytes())?;
    }
    let exit = if comparison.same {
        Exit::Well
    } else {
        Exit::Differences
    };
    Ok(exit.and(damage))
}

/// A run folder recomputed, or a result file read.
fn load(
    path: &Path,
    changes: &JobChanges,
    console: &mut Console<'_>,
) -> Result<(String, RunResult, Exit), Failure> {
    let mut label = path.display().to_string();
    if path.is_dir() {
        let mut folder = RunFolder::open(path, changes, console)?;
        let done = folder.recompute(console);
        label += &what_if_label(&done.result);
        return Ok((label, done.result, done.exit));
    }
    let bytes = std::fs::read(path).map_err(|e| Failure::read(path, e))?;
    let result: RunResult = serde_json::from_slice(&bytes).map_err(|e| {
        Finding::new(
            &label,
            format!("is no result: {e}"),
            "give a run folder, or a file written by recompute --json",
        )
        .at(e.line() as u64)
    })?;
    if result.format != kerfwatch::result::FORMAT {
        return Err(Finding::new(
            &label,
            format!(
                "has format {}, this program knows {}",
                result.format,
                kerfwatch::result::FORMAT
            ),
            "recompute it with this program",
        )
        .into());
    }
    label += &what_if_label(&result);
    Ok((label, result, Exit::Well))
}

/// What was changed against the job on record, to follow a file's name: two what-ifs of one run differ in nothing else.
fn what_if_label(result: &RunResult) -> String {
    let changes = result.run.what_if.iter();
    changes.map(|change| format!(", {change}")).collect()
}

/// Compares results with the first of them.
pub fn compare(results: &[(String, RunResult)]) -> Comparison {
    let Some((_, first)) = results.first() else {
        return Comparison {
            format: 1,
            same: true,
            sides: Vec::new(),
            groove: Vec::new(),
        };
    };
    let sides: Vec<Side> = results
        .iter()
        .map(|(label, r)| side(label, r, first))
        .collect();
    let groove = first
        .groove
        .iter()
        .map(|bin| {
            let matches: Vec<Option<&GrooveBin>> =
                results.iter().map(|(_, r)| tubing_at(r, bin)).collect();
            let depth_mm: Vec<Option<f64>> =
                matches.iter().map(|b| b.map(|b| b.depth_mm)).collect();
            BinRow {
                top_m: bin.top_m,
                bottom_m: bin.bottom_m,
                coupling: bin.coupling,
                difference_mm: depth_mm
                    .iter()
                    .map(|d| d.filter(|_| !bin.coupling).map(|d| d - bin.depth_mm))
                    .collect(),
                through_probability: matches
                    .iter()
                    .map(|b| b.map(|b| b.through_probability))
                    .collect(),
                depth_mm,
            }
        })
        .collect();
    Comparison {
        format: 1,
        same: sides.iter().all(|s| s.same_as_first),
        sides,
        groove,
    }
}

/// The bin that holds the middle of another; `None` where it lies in a coupling: no groove is told there, which is not
/// one of no depth.
fn tubing_at<'r>(result: &'r RunResult, like: &GrooveBin) -> Option<&'r GrooveBin> {
    let middle = 0.5 * (like.top_m + like.bottom_m);
    let after = result.groove.partition_point(|b| b.bottom_m <= middle);
    result
        .groove
        .get(after)
        .filter(|b| b.top_m <= middle && !b.coupling)
}

fn side(label: &str, r: &RunResult, first: &RunResult) -> Side {
    let up = r
        .strokes
        .iter()
        .filter(|s| s.direction == Direction::Up)
        .count();
    let like_first = RunResult {
        run: first.run.clone(),
        ..r.clone()
    };
    Side {
        label: label.to_owned(),
        run: r.run.id.clone(),
        strokes_up: up,
        strokes_down: r.strokes.len() - up,
        states: STATES
            .into_iter()
            .map(|state| InState {
                state,
                times: times_in(r, state),
                time_s: time_in(r, state),
            })
            .collect(),
        alarms: r.alarms.len(),
        work_j: r.strokes.iter().map(|s| s.cut_work_j).sum(),
        peak_tension_n: r
            .strokes
            .iter()
            .map(|s| s.peak_tension_n)
            .fold(0.0, f64::max),
        split_m: split_length(r).expected,
        mean_depth_mm: mean_depth_mm(r),
        joints: (r.joints.iter())
            .map(|joint| JointSide {
                joint: joint.clone(),
                strokes_left: strokes_left(r, joint),
            })
            .collect(),
        same_as_first: like_first == *first,
    }
}

#[cfg(test)]
mod tests;
