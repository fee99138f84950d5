//! `plan`: after a run, or several in one groove: what is left to cut, and what another run takes with these wheels or
//! with others.
//!
//! *Input*: the runs, and the job of the coming run (that of the last one unless given). *Output*: stretches that are not
//! surely split, with strokes and hours; a choice of wheels with strokes, pull and what is left of the limit; bending of the line.
//! *Way*: the estimate at the end of the last run, and its forecast ([`kerfwatch::groove::next_run`]). Metal, law and
//! friction stay as the runs showed them; wheels are as those of the last strokes, but for what the job of the coming run
//! has otherwise: a stroke counts by number of wheels, force, radius and edge angle.

mod choices;
mod line;
mod stretches;
mod text;

use crate::args::JobChanges;
pub use crate::args::PlanArgs as Args;
use crate::chain::{self, Joined};
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::forecast::weights::Hang;
use crate::job_source;
use crate::output_file::write_json;
use choices::Choice;
use kerfwatch::groove::pass_counts;
use kerfwatch::job::{Job, Tubular};
use line::LineLeft;
use serde::Serialize;
use stretches::{Pace, Stretch};

/// The plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Plan {
    /// Version of this JSON.
    format: u32,
    /// Runs that it follows on, oldest first.
    runs: Vec<String>,
    /// Their well.
    well: String,
    /// What a stroke of the coming run counts against one of the last.
    stroke_counts: f64,
    /// Speed over the pipe and time lost at each turn, as of the strokes so far.
    speed_m_s: f64,
    turn_s: f64,
    /// The whole interval.
    whole: Stretch,
    /// What of it is not surely split, top down; each as if worked on alone.
    stretches: Vec<Stretch>,
    /// Wheels and radial force.
    choices: Vec<Choice>,
    /// Bending of the line; absent without sheaves in the job.
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<LineLeft>,
}

/// Runs it.
///
/// # Errors
/// Runs that do not belong together, an unusable job, nothing cut, or an output that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let joined = chain::joined(&args.runs, &args.shift, &JobChanges::default(), console)?;
    let coming = coming_job(args, &joined, console)?;
    let units = args.units.unwrap_or(coming.info.display.into());
    for warning in joined.warnings(units) {
        console.warn(warning);
    }
    let plan = plan(&joined, &coming)?;
    if !write_json(&plan, args.json.as_deref(), console)? {
        console.data(text::text(&plan, &coming, units).as_bytes())?;
    }
    Ok(joined.exit)
}

/// Job of the coming run: that of the last one unless another is given, with changes.
fn coming_job(args: &Args, joined: &Joined, console: &mut Console<'_>) -> Result<Job, Failure> {
    let of_last = joined.folders.last().map(|folder| &folder.job.text);
    let job = match (&args.job, of_last) {
        (Some(file), _) => job_source::read_job_file(file, &args.set, console)?.job,
        (None, Some(text)) if !args.set.is_empty() => {
            job_source::read_text(text, "job of the last run", &args.set, console)?.job
        }
        (None, _) => joined.job.clone(),
    };
    let pipe = |t: &Tubular| (t.od, t.wall);
    let (here, there) = (pipe(&job.tubular), pipe(&joined.job.tubular));
    if here != there {
        return Err(Finding::new(
            "job of the coming run",
            "its tubular is not that of the runs, so it would not go on in their groove",
            "give [tubular] od and wall as in the runs",
        )
        .into());
    }
    Ok(job)
}

fn plan(joined: &Joined, coming: &Job) -> Result<Plan, Failure> {
    let (pipeline, result) = (&joined.fed.pipeline, &joined.fed.result);
    let estimate = pipeline.estimate();
    if estimate.fit.is_none() {
        return Err(Finding::new(
            &result.run.id,
            "nothing was cut in it, or no drag is known of what was",
            "before anything is cut, use kerfwatch-replay forecast with the job file",
        )
        .into());
    }
    let hang = Hang::new(coming)
        .map_err(|e| Finding::new("[[survey]]", e.to_string(), "put the survey right"))?;
    let interval = coming.info.interval_top.si()..coming.info.interval_bottom.si();
    let known = stretches::Known {
        estimate: &estimate,
        ledger: pipeline.ledger(),
        job: &joined.job,
        result,
        pace: Pace::of(&result.strokes),
    };
    let counts = pass_counts(coming, &joined.job);
    let whole = known.stretch(interval.clone(), counts);
    let choices = choices::choices(
        &known,
        coming,
        &hang,
        pipeline.learned().as_ref(),
        &interval,
    );
    let line = line::left(&known, coming, &hang, &whole);
    Ok(Plan {
        format: 1,
        runs: joined
            .folders
            .iter()
            .map(|folder| folder.id.clone())
            .collect(),
        well: coming.info.well.clone(),
        stroke_counts: counts,
        speed_m_s: known.pace.speed_m_s,
        turn_s: known.pace.turn_s,
        stretches: known.open(&interval, counts),
        whole,
        choices,
        line,
    })
}
