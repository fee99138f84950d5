//! `chain`: several runs of one well as one: the crew re-entered the same groove, and progress adds up.
//!
//! The runs are fed to one pipeline in the order given, each shifted in time to start after the one
//! before: by the universal times where both runs know theirs, else by `PAUSE_S`. What is told is in true time
//! (`times.rs`), however short the pauses were made for the pipeline. Between two runs the
//! counter starts anew, and its zero need not be the same: how much deeper a later run is than it
//! counted is measured against the groove of the earlier ones (`depth_shift.rs`) and corrected for where
//! that is sure; what a person gives by hand goes first; else it stays as counted, and that is said. So
//! groove, friction and depth carry on, and the result is that of one long run. The job is that of the
//! last run (it holds the newest knowledge) unless `--job` says otherwise; strokes of other runs count by their own cutters,
//! what else they have otherwise is told, and another tubular refused (`jobs.rs`).

mod depth_shift;
mod feed;
mod fit;
mod jobs;
mod likelihood;
mod passes;
mod times;
mod told;
mod trace;

pub use crate::args::ChainArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::JobChanges;
use crate::other_wheels;
use crate::output_file::write_json;
use crate::run_folder::RunFolder;
use crate::summary::{MARKS_TURNED, summary};
use crate::units_shown::Units;
use crate::wrapped::labelled;
use depth_shift::{Cut, Found};
pub(crate) use feed::Fed;
use feed::feed_all;
pub(crate) use jobs::counts_by_run;
use kerfwatch::groove::first_pass_drag;
use kerfwatch::job::{Dimension, Job, parse_quantity};
use kerfwatch::result::RunResult;
use serde::Serialize;
use std::path::PathBuf;
use told::Link;
use trace::Trace;

/// Runs it.
///
/// # Errors
/// Runs of different wells, unusable jobs, or an output that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let Joined {
        folders,
        mut fed,
        links,
        job,
        exit,
    } = joined(&args.runs, &args.shift, &args.changes, console)?;
    for change in folders.iter().flat_map(|folder| &folder.what_if) {
        if !fed.result.run.what_if.contains(change) {
            fed.result.run.what_if.push(change.clone());
        }
    }
    let report = Chained {
        result: &fed.result,
        chain: told::parts(&folders, &fed, &links),
    };
    let units = args.units.unwrap_or(job.info.display.into());
    for part in &report.chain {
        for warning in part.warnings(units) {
            console.warn(warning);
        }
    }
    let to_stdout = write_json(&report, args.json.as_deref(), console)?;
    if !to_stdout {
        for change in &fed.result.run.what_if {
            console.line(format_args!("What-if: {change}"))?;
        }
        console.data(told::text(&report.chain, units).as_bytes())?;
        for wheels in other_wheels::told(&fed.result.other_wheels) {
            console.line(labelled("Wheels", &wheels))?;
        }
        let missing: Vec<String> = (folders.iter())
            .flat_map(RunFolder::missing_segments)
            .collect();
        fed.result.intervals = times::recorded(&fed.result.intervals, &fed.placed);
        console.data(summary(&job, &fed.result, &missing, &fed.marks_read, units).as_bytes())?;
    }
    if fed.marks_read.turned {
        console.warn(MARKS_TURNED);
    }
    Ok(exit)
}

/// Runs joined into one.
#[derive(Debug)]
pub(crate) struct Joined {
    pub(crate) folders: Vec<RunFolder>,
    pub(crate) fed: Fed,
    links: Vec<Link>,
    /// The job used for all.
    pub(crate) job: Job,
    /// Whether a recording was damaged.
    pub(crate) exit: Exit,
}

/// Opens runs, oldest first, and feeds them to one pipeline. `shift`: as of `--shift`.
pub(crate) fn joined(
    runs: &[PathBuf],
    shift: &[String],
    changes: &JobChanges,
    console: &mut Console<'_>,
) -> Result<Joined, Failure> {
    let given = given_shifts(shift, runs.len())?;
    let mut folders = Vec::new();
    for path in runs {
        folders.push(RunFolder::open(path, changes, console)?);
    }
    check_order(&folders)?;
    jobs::refuse_other_tubular(&folders)?;
    let Some(last) = folders.last() else {
        return Err(Finding::new("command line", "no runs given", "name run folders").into());
    };
    let job = last.job.job.clone();
    let marks = feed::missing_marks(&mut folders);
    let as_counted = vec![0.0; folders.len()];
    let first = feed_all(&mut folders, &job, &as_counted, &marks, console);
    let links = link(&first, &given, &job);
    let shifts: Vec<f64> = links.iter().map(|l| l.shift_m).collect();
    let fed = if shifts == as_counted {
        first
    } else {
        feed_all(&mut folders, &job, &shifts, &marks, console)
    };
    let mut exit = Exit::Well;
    for folder in &folders {
        let damage = folder.reader.damage();
        exit = exit.and(folder.tell_damage(&damage, console));
    }
    Ok(Joined {
        folders,
        fed,
        links,
        job,
        exit,
    })
}

impl Joined {
    /// What a reader must know of jobs that are not used and of depths that are not as counted.
    pub(crate) fn warnings(&self, units: Units) -> Vec<String> {
        let parts = told::parts(&self.folders, &self.fed, &self.links);
        parts.iter().flat_map(|part| part.warnings(units)).collect()
    }
}

/// JSON of `chain`: the result as of `recompute`, and how the runs were joined.
#[derive(Debug, Serialize)]
struct Chained<'r> {
    #[serde(flatten)]
    result: &'r RunResult,
    chain: Vec<told::Part>,
}

/// `--shift` by run: `None` where the data are to say.
fn given_shifts(texts: &[String], runs: usize) -> Result<Vec<Option<f64>>, Failure> {
    let mut given = vec![None; runs];
    if texts.len() >= runs {
        return Err(Finding::new(
            "--shift",
            format!("{} shifts for {} later runs", texts.len(), runs - 1),
            "give one for each run after the first, in order",
        )
        .into());
    }
    for (text, place) in texts.iter().zip(&mut given[1..]) {
        if text == "auto" {
            continue;
        }
        if text.trim() == "0" {
            *place = Some(0.0);
            continue;
        }
        *place = Some(parse_quantity(text, Dimension::Length).map_err(|problem| {
            Finding::new(
                "--shift",
                problem,
                "write a length, e.g. \"0.4 m\", 0 for as counted, or auto",
            )
        })?);
    }
    Ok(given)
}

/// Depth shift of each run into the depth of the first, from a pass with all runs as counted.
fn link(fed: &Fed, given: &[Option<f64>], job: &Job) -> Vec<Link> {
    let bins = fed.bins;
    let cut = Cut {
        wheels: job.cutter.wheels,
        first_pass_n: first_pass_drag(job),
    };
    let traces = |run: usize| -> Vec<Trace> {
        let rows = fed.rows[run].iter();
        rows.map(|(row, out)| Trace::new(row, bins.top, bins.step, *out))
            .collect()
    };
    let mut links = vec![Link::first()];
    let mut earlier = traces(0);
    for run in 1..fed.rows.len() {
        let later = traces(run);
        let link = match given[run] {
            Some(shift_m) => Link::given(shift_m),
            None => match depth_shift::find(&earlier, &later, cut) {
                Found::Known {
                    shift_m,
                    low_m,
                    high_m,
                } => Link::measured(shift_m, low_m, high_m),
                Found::Unknown { why } => {
                    // What lies before an unknown shift says nothing about the runs after it.
                    earlier.clear();
                    Link::unknown(why)
                }
            },
        };
        earlier.extend(later.into_iter().map(|t| t.deeper(link.shift_m)));
        links.push(link);
    }
    links
}

/// Runs of another well, or in the wrong order, would give a groove that never was.
fn check_order(folders: &[RunFolder]) -> Result<(), Failure> {
    for pair in folders.windows(2) {
        let (a, b) = (&pair[0], &pair[1]);
        let name = b.path.display();
        if a.job.job.info.well != b.job.job.info.well {
            return Err(Finding::new(
                name,
                format!(
                    "well `{}` is not that of the run before, `{}`",
                    b.job.job.info.well, a.job.job.info.well
                ),
                "chain runs of one well only, or give one job for all with --job",
            )
            .into());
        }
        if a.id == b.id {
            return Err(Finding::new(
                name,
                "is the same run as the one before",
                "give each run once",
            )
            .into());
        }
        if let (Some(first), Some(second)) = (a.start_utc_ns, b.start_utc_ns)
            && second < first
        {
            return Err(Finding::new(
                name,
                "was started before the run that is given before it",
                "give the runs oldest first",
            )
            .into());
        }
    }
    Ok(())
}
