//! `forecast`: the evening before. Weights, margins, strokes, hours, line bending, and what limits,
//! from the job file alone.

mod assumptions;
pub mod bends;
pub(crate) mod chance;
pub mod cut;
pub mod outlook;
pub mod sweep;
mod text;
pub mod unknowns;
pub(crate) use text::{GIVEN_LIMIT_SHARED, limit_sentence};
pub mod weights;

pub use crate::args::ForecastArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::read_job_file;
use crate::output_file::{write_file, write_json};
use assumptions::assumptions;
use bends::{BentSection, SheaveStress, Tension};
use cut::{CutterPlan, Quantiles};
use kerfwatch::job::{Dimension, Job, parse_quantity};
use kerfwatch::model::Motion;
use kerfwatch::model::groove_law::UniversalSequence;
use outlook::{FirstStrokes, StageDrag};
use serde::Serialize;
use sweep::{Choice, Limit};
use unknowns::Draw;
use weights::{Hang, Weights};

/// A joint of the interval and its forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JointForecast {
    /// Top.
    pub top_m: f64,
    /// Bottom.
    pub bottom_m: f64,
    /// Strokes until its first place gives way.
    pub opens: Quantiles,
    /// Strokes until it is split over its whole length.
    pub strokes: Quantiles,
    /// Hours of stroking until then.
    pub hours: Quantiles,
}

/// Bending budget of the line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LineBudget {
    /// Sheaves and their stress.
    pub sheaves: Vec<SheaveStress>,
    /// Sections bent by each stroke.
    pub sections: Vec<BentSection>,
    /// Strokes until the worst section has used the alarm fraction of its life.
    pub strokes_to_cut_back: Option<f64>,
    /// Line to cut off at the rope socket then, so that strokes at the same interval bend line that strokes have not bent.
    pub cut_back_m: Option<f64>,
    /// Line to cut off to be rid of the bent line altogether.
    pub take_off_m: Option<f64>,
    /// Bends of the worst section over the median job.
    pub bends_p50: Option<f64>,
}

/// The whole forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Forecast {
    /// Version of this JSON.
    pub format: u32,
    /// Job name.
    pub job: String,
    /// Well.
    pub well: String,
    /// Interval along hole.
    pub interval_m: (f64, f64),
    /// Line speed assumed.
    pub speed_m_s: f64,
    /// Time of one stroke.
    pub stroke_s: f64,
    /// Weights by depth, shallow to deep.
    pub weights: Vec<Weights>,
    /// Drag by stage.
    pub drag: Vec<StageDrag>,
    /// Work through the wall, J per metre of groove.
    pub work_through_j_m: f64,
    /// Passes of one wheel through the nominal wall, nothing unknown.
    pub passes_nominal: f64,
    /// Joints, top down.
    pub joints: Vec<JointForecast>,
    /// Strokes until all joints are split.
    pub strokes: Quantiles,
    /// Hours until then.
    pub hours: Quantiles,
    /// Bending of the line.
    pub line: LineBudget,
    /// What limits the tool string of the job first.
    pub limit: Limit,
    /// All that does: what cures the first may leave the others.
    pub limits: Vec<Limit>,
    /// Forces of the first strokes, at the bottom of the interval.
    pub first: FirstStrokes,
    /// Choices of tool string.
    pub sweep: Vec<Choice>,
    /// What was assumed, in sentences.
    pub assumptions: Vec<String>,
}

impl Forecast {
    /// Line sizes of the sweep, thin to thick; it goes through all of them for each choice of wheels
    /// and force.
    pub fn line_sizes_m(&self) -> Vec<f64> {
        let same = |c: &&Choice| {
            self.sweep.first().is_some_and(|first| {
                c.wheels == first.wheels && c.radial_force_n == first.radial_force_n
            })
        };
        self.sweep
            .iter()
            .take_while(same)
            .map(|c| c.line_m)
            .collect()
    }
}

/// Runs it.
///
/// # Errors
/// Unusable job or flags, or a file that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let speed = parse_quantity(&args.speed, Dimension::Speed)
        .ok()
        .filter(|v| *v > 0.0)
        .ok_or_else(|| {
            Finding::new(
                "--speed",
                format!("`{}` is no speed", args.speed),
                "write e.g. 0.3 m/s",
            )
        })?;
    if !(args.turn >= 0.0 && args.turn.is_finite()) {
        return Err(Finding::new("--turn", "it must be 0 or more", "give seconds").into());
    }
    let job = read_job_file(&args.job, &args.set, console)?.job;
    let forecast = forecast(&job, speed, args.turn, args.seed)?;
    let units = args.units.unwrap_or(job.info.display.into());
    let to_stdout = write_json(&forecast, args.json.as_deref(), console)?;
    if let Some(path) = &args.html {
        let page = crate::report::forecast_page(&job, &forecast, units);
        write_file(path, |out| out.write_all(page.as_bytes()))?;
        console.talk(format_args!("page written to {}", path.display()));
    }
    if !to_stdout {
        console.data(text::text(&job, &forecast, units, args.sweep).as_bytes())?;
    }
    Ok(Exit::Well)
}

/// Parts of the interval between couplings, top down.
pub fn joints(job: &Job) -> Vec<(f64, f64)> {
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    let half = 0.5 * job.tubular.coupling_length.si();
    let mut start = top;
    let mut parts = Vec::new();
    for coupling in &job.couplings {
        let centre = coupling.si();
        if centre + half <= top || centre - half >= bottom {
            continue;
        }
        parts.push((start, (centre - half).min(bottom)));
        start = centre + half;
    }
    parts.push((start, bottom));
    parts.retain(|(a, b)| b - a > 1e-6);
    parts
}

/// Computes everything.
///
/// # Errors
/// A survey that makes no path.
pub fn forecast(job: &Job, speed: f64, turn_s: f64, seed: u64) -> Result<Forecast, Failure> {
    let hang = Hang::new(job)
        .map_err(|e| Finding::new("[[survey]]", e.to_string(), "put the survey right"))?;
    let sequence = UniversalSequence::new();
    let plan = CutterPlan::new(job);
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    let draws = outlook::draws(&plan, seed);
    let late = plan.drag(&Draw::middle(&plan.unknowns), 0.5 * plan.wall_m);
    let late = (late.up + late.rolling_up, late.down + late.rolling_down);
    let mut depths: Vec<f64> = (1..=12).map(|i| top * f64::from(i) / 12.0).collect();
    depths.push(0.5 * (top + bottom));
    depths.push(bottom);
    depths.retain(|d| *d > job.tool.cutter_offset.si());
    let weights: Vec<Weights> = depths.iter().map(|d| hang.at(*d, late.0, late.1)).collect();
    let at_bottom = hang.at(bottom, late.0, late.1);
    let tension = |depth_m| Tension {
        up_n: hang.weight_n(depth_m, Motion::Up, late.0),
        down_n: hang.weight_n(depth_m, Motion::Down, late.1),
    };
    // The line moves over the interval, and at each end its dead band.
    let stroke_s = (bottom - top + at_bottom.dead_band_m.max(0.0)) / speed + turn_s;
    let hours_per_stroke = stroke_s / 3600.0;
    let parts = joints(job);
    let lengths: Vec<f64> = parts.iter().map(|(a, b)| b - a).collect();
    let (by_joint, all) = plan.strokes(&lengths, cut::DRAWS, seed, &sequence);
    let first = outlook::first_strokes(&plan, &draws, &hang, &at_bottom);
    let limits = sweep::limits(&plan, &first, at_bottom.limited_by);
    Ok(Forecast {
        format: 1,
        job: job.info.name.clone(),
        well: job.info.well.clone(),
        interval_m: (top, bottom),
        speed_m_s: speed,
        stroke_s,
        drag: outlook::stages(&plan, &draws, at_bottom.gain_up),
        work_through_j_m: plan.work_through_j_m(),
        passes_nominal: plan.passes_nominal(&sequence),
        joints: parts
            .iter()
            .zip(by_joint)
            .map(|(&(top_m, bottom_m), strokes)| JointForecast {
                top_m,
                bottom_m,
                opens: strokes.opens,
                strokes: strokes.split,
                hours: strokes.split.times(hours_per_stroke),
            })
            .collect(),
        strokes: all,
        hours: all.times(hours_per_stroke),
        line: line_budget(job, (top, bottom), &tension, all.p50),
        limit: sweep::first_of(&limits),
        limits,
        first,
        sweep: sweep::sweep(job, &plan, all, &lengths, hours_per_stroke, seed, &sequence),
        assumptions: assumptions(job, &plan),
        weights,
    })
}

fn line_budget(
    job: &Job,
    interval_m: (f64, f64),
    tension: &dyn Fn(f64) -> Tension,
    strokes_p50: Option<f64>,
) -> LineBudget {
    let sections = bends::sections(job, interval_m, tension);
    let worst = bends::worst(&sections);
    LineBudget {
        strokes_to_cut_back: worst
            .and_then(|w| w.life_per_stroke)
            .map(|life| job.alarm.line_life / life),
        cut_back_m: bends::cut_back_after(&sections).map(|cut| cut.length_m),
        take_off_m: sections.last().map(|s| s.to_m),
        bends_p50: worst
            .zip(strokes_p50)
            .map(|(w, strokes)| f64::from(w.bends_per_stroke) * strokes),
        sheaves: bends::sheaves(job, tension(0.5 * (interval_m.0 + interval_m.1))),
        sections,
    }
}

#[cfg(test)]
mod tests;
