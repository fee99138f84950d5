//! `plan`: after a run, or several in one groove: what is left to cut, and what another run takes with these wheels or
//! with others.
//!
//! *Input*: the runs, and the job of the coming run (that of the last one unless given). *Output*: stretches that are not
//! surely split, with strokes and hours; a choice of wheels with strokes, pull and what is left of the limit; bending of
//! the line. *Way*: the estimate at the end of the last run, and its forecast ([`kerfwatch::groove::next_run`]). Metal, law
//! and friction stay as the runs showed them; wheels are as those of the last strokes, but for what the job of the coming
//! run has otherwise: a stroke counts by number of wheels, force, radius and edge angle.

mod choices;
mod line;
mod page;
mod stretches;
mod text;

use crate::args::JobChanges;
pub use crate::args::PlanArgs as Args;
use crate::chain::{self, Joined};
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::forecast::weights::Hang;
use crate::job_source::{self, JobInUse};
use crate::output_file::{write_file, write_json};
use crate::run_folder::RunFolder;
use crate::units_shown::Units;
use choices::Choice;
use kerfwatch::groove::pass_counts;
use kerfwatch::job::{Job, Tubular, differences, listed};
use kerfwatch::result::OtherWheels;
use line::LineLeft;
use serde::Serialize;
use std::ops::Range;
use stretches::{Pace, Stretch};

/// The plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Plan {
    /// Version of this JSON.
    format: u32,
    /// Runs that it follows on, oldest first: ids and folders.
    runs: Vec<String>,
    folders: Vec<String>,
    /// Their well.
    well: String,
    /// What a stroke of the coming run counts against one of the last.
    stroke_counts: f64,
    /// What the drag says of wheels in the runs.
    other_wheels: Vec<OtherWheels>,
    /// The whole interval with wheels as they were before the last of these changes, where they bit more than the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    with_fresh_wheels: Option<Stretch>,
    /// What a reader must know of runs and job.
    warnings: Vec<String>,
    /// Speed over the pipe and time lost at each turn, as of the strokes so far.
    speed_m_s: f64,
    turn_s: f64,
    /// The whole interval.
    whole: Stretch,
    /// What of it is not surely split, top down; each as if worked on alone.
    stretches: Vec<Stretch>,
    /// Wheels and radial force.
    choices: Vec<Choice>,
    /// Highest line tension of the first strokes up of the runs, over metal not yet cut; `null` where none is known.
    first_pull_n: Option<f64>,
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
    let units = args.units.unwrap_or(coming.job.info.display.into());
    let plan = plan(&joined, &coming, units)?;
    for warning in &plan.warnings {
        console.warn(warning);
    }
    if let Some(path) = &args.html {
        let page = page::page(&plan, &coming.job, &joined.fed.result, units);
        write_file(path, |out| out.write_all(page.as_bytes()))?;
        console.talk(format_args!("page written to {}", path.display()));
    }
    if !write_json(&plan, args.json.as_deref(), console)? {
        console.data(text::text(&plan, &coming.job, units).as_bytes())?;
    }
    Ok(joined.exit)
}

/// Job of the coming run: that of the last one unless another is given, with changes.
fn coming_job(
    args: &Args,
    joined: &Joined,
    console: &mut Console<'_>,
) -> Result<JobInUse, Failure> {
    let of_last = joined.folders.last().map(|folder| &folder.job);
    let coming = match (&args.job, of_last) {
        (Some(file), _) => job_source::read_job_file(file, &args.set, console)?,
        (None, Some(last)) if args.set.is_empty() => last.clone(),
        (None, last) => {
            let text = last.map_or("", |last| last.text.as_str());
            job_source::read_text(text, "job of the last run", &args.set, console)?
        }
    };
    let refused = |problem: String, remedy: &str| {
        Err(Finding::new("job of the coming run", problem, remedy).into())
    };
    let (here, there) = (&coming.job, &joined.job);
    if here.info.well != there.info.well {
        return refused(
            format!(
                "its well is {}, that of the runs {}",
                here.info.well, there.info.well
            ),
            "give a job of the same well",
        );
    }
    let pipe = |t: &Tubular| (t.od, t.wall);
    if pipe(&here.tubular) != pipe(&there.tubular) {
        return refused(
            "its tubular is not that of the runs, so it would not go on in their groove".into(),
            "give [tubular] od and wall as in the runs",
        );
    }
    if planned_m(here, there).is_empty() {
        return refused(
            "nothing of its interval lies in that of the runs".into(),
            "plan pipe that was not cut yet with kerfwatch-replay forecast",
        );
    }
    Ok(coming)
}

/// What of the coming interval lies in that of the runs.
fn planned_m(coming: &Job, used: &Job) -> Range<f64> {
    let of = |job: &Job| (job.info.interval_top.si(), job.info.interval_bottom.si());
    let (here, there) = (of(coming), of(used));
    here.0.max(there.0)..here.1.min(there.1)
}

/// What a reader must know of the job of the coming run.
fn job_warnings(coming: &JobInUse, last: &JobInUse, units: Units) -> Vec<String> {
    let mut warnings = Vec::new();
    let interval = &coming.job.info;
    let planned = planned_m(&coming.job, &last.job);
    let beyond = (planned.start - interval.interval_top.si())
        + (interval.interval_bottom.si() - planned.end);
    if beyond > 0.05 {
        warnings.push(format!(
            "{} of the coming interval lie outside that of the runs and are not in this plan: kerfwatch-replay forecast \
             tells what pipe takes that was not cut yet",
            units.depth().show(beyond)
        ));
    }
    let mut unused = differences((&coming.job, &coming.text), (&last.job, &last.text));
    unused.retain(|difference| {
        let section = difference.key.split('.').next().unwrap_or_default();
        !chain::counts_by_run(&difference.key)
            && !["tool", "line", "fluid", "survey", "alarm", "job"].contains(&section)
    });
    if !unused.is_empty() {
        warnings.push(format!(
            "changes nothing here, where what the runs have shown goes first: {}",
            listed(&unused, "last run")
        ));
    }
    warnings
}

fn plan(joined: &Joined, coming: &JobInUse, units: Units) -> Result<Plan, Failure> {
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
    let mut warnings = joined.warnings(units);
    if let Some(last) = joined.folders.last() {
        warnings.extend(job_warnings(coming, &last.job, units));
    }
    if joined.exit != Exit::Well {
        warnings.push("a recording is damaged: this rests on what could be read of it".into());
    }
    let coming = &coming.job;
    let hang = |job: &Job| {
        Hang::new(job)
            .map_err(|e| Finding::new("[[survey]]", e.to_string(), "put the survey right"))
    };
    let hangs = choices::Hangs {
        coming: hang(coming)?,
        used: hang(&joined.job)?,
    };
    let interval = planned_m(coming, &joined.job);
    let known = stretches::Known {
        estimate: &estimate,
        ledger: pipeline.ledger(),
        job: &joined.job,
        result,
        pace: Pace::of(&result.strokes),
    };
    let counts = pass_counts(coming, &joined.job);
    let whole = known.stretch(interval.clone(), counts);
    let worse = estimate.other_wheels.last().filter(|w| w.counts < 1.0);
    let with_fresh_wheels = worse.map(|w| known.stretch(interval.clone(), counts / w.counts));
    let learned = pipeline.learned();
    let choices = choices::choices(&known, coming, &hangs, learned.as_ref(), &interval);
    let line = line::left(&known, coming, &hangs.coming, &whole);
    let of_folders = |of: &dyn Fn(&RunFolder) -> String| joined.folders.iter().map(of).collect();
    Ok(Plan {
        format: 1,
        runs: of_folders(&|folder| folder.id.clone()),
        folders: of_folders(&|folder| folder.path.display().to_string()),
        well: coming.info.well.clone(),
        stroke_counts: counts,
        other_wheels: estimate.other_wheels.clone(),
        with_fresh_wheels,
        warnings,
        speed_m_s: known.pace.speed_m_s,
        turn_s: known.pace.turn_s,
        stretches: known.open(&interval, counts),
        first_pull_n: choices::pull_of_first(&result.strokes),
        whole,
        choices,
        line,
    })
}
