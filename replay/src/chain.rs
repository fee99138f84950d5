//! `chain`: several runs of one well as one: the crew re-entered the same groove, and progress adds up.
//!
//! The runs are fed to one pipeline in the order given, each shifted in time to start after the one
//! before: by the universal times where both runs know theirs, else by `PAUSE_S`. So groove, friction
//! and depth correlation carry on, and the result is that of one long run. The job is that of the last
//! run (it holds the newest knowledge) unless `--job` says otherwise.

use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::JobChanges;
use crate::output_file::write_file;
use crate::recompute::write_json;
use crate::run_folder::RunFolder;
use crate::summary::summary;
use crate::units_shown::{Units, clock};
use kerfwatch::input::Input;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Run, time_of};
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, seconds};
use std::path::PathBuf;

/// `chain`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay chain runs/monday runs/tuesday
  kerfwatch-replay chain RUN1 RUN2 RUN3 --json progress.json

Give the runs in the order in which they were made. Times of the result count from the start of the
first run.")]
pub struct Args {
    /// Run folders of one well, oldest first
    #[arg(required = true, num_args = 2..)]
    pub runs: Vec<PathBuf>,
    /// Write the result as JSON; '-' for standard output (then without the summary)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
    /// Units of the summary; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
}

/// Time put between two runs that do not know their universal times, and the least between any two.
const PAUSE_S: i64 = 60;
/// A longer pause tells the core nothing more, and would only fill the result with empty time.
const PAUSE_MAX_S: i64 = 3600;

/// Runs it.
///
/// # Errors
/// Runs of different wells, unusable jobs, or an output that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let mut folders = Vec::new();
    for path in &args.runs {
        folders.push(RunFolder::open(path, &args.changes, console)?);
    }
    check_order(&folders)?;
    let Some(last) = folders.last() else {
        return Err(Finding::new("chain", "no runs given", "give two or more").into());
    };
    let job = last.job.job.clone();
    let mut pipeline = Pipeline::new(&job);
    let mut events = Vec::new();
    let mut ids = Vec::new();
    let mut lost = 0;
    let mut exit = Exit::Well;
    let mut end: Option<Nanos> = None;
    let mut end_utc: Option<i64> = None;
    for folder in &mut folders {
        let shift = end.map_or(0, |end| end + pause(end_utc, folder.start_utc_ns));
        if end.is_some() {
            console.talk(format_args!(
                "run {} starts at {}",
                folder.id,
                clock(seconds(shift))
            ));
        }
        let mut last = 0;
        folder.reader.for_each_run(|run| match run {
            Run::One(input) => {
                last = last.max(time_of(input));
                pipeline.push(&shifted(input, shift), &mut events);
                events.clear();
            }
            Run::Readings { channel, at, value } => {
                for ((&channel, &at), &value) in channel.iter().zip(at).zip(value) {
                    last = last.max(at);
                    let at = at.saturating_add(shift);
                    pipeline.push(&Input::Reading { channel, at, value }, &mut events);
                }
                events.clear();
            }
        });
        lost += folder.reader.lost_blocks();
        let damage = folder.reader.damage();
        exit = exit.and(folder.tell_damage(&damage, console));
        end = Some(shift.saturating_add(last));
        end_utc = folder.start_utc_ns.map(|start| start.saturating_add(last));
        ids.push(folder.id.clone());
    }
    pipeline.finish(&mut events);
    let mut result = pipeline.result(&ids.join("+"));
    result.quality.lost_blocks += lost;
    let to_stdout = args.json.as_deref().is_some_and(|p| p.as_os_str() == "-");
    match &args.json {
        Some(_) if to_stdout => {
            let mut bytes = Vec::new();
            write_json(&result, &mut bytes).map_err(|e| Failure::write("JSON", e))?;
            console.data(&bytes)?;
        }
        Some(path) => write_file(path, |out| write_json(&result, out))?,
        None => {}
    }
    if !to_stdout {
        let units = args.units.unwrap_or(job.info.display.into());
        console.line(format_args!("Chain of {} runs", ids.len()))?;
        console.data(summary(&job, &result, units).as_bytes())?;
    }
    Ok(exit)
}

/// Time between the end of a run and the start of the next.
fn pause(end_utc: Option<i64>, start_utc: Option<i64>) -> Nanos {
    let known = end_utc
        .zip(start_utc)
        .map(|(end, start)| start.saturating_sub(end));
    known
        .unwrap_or(PAUSE_S * NANOS_PER_SECOND)
        .clamp(PAUSE_S * NANOS_PER_SECOND, PAUSE_MAX_S * NANOS_PER_SECOND)
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

/// The same input, later.
fn shifted(input: &Input, by: Nanos) -> Input {
    let mut input = input.clone();
    match &mut input {
        Input::Received { at, .. }
        | Input::Sent { at, .. }
        | Input::Reading { at, .. }
        | Input::Mark { at, .. }
        | Input::Port { at, .. }
        | Input::Tick { at } => *at = at.saturating_add(by),
    }
    input
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pause_follows_universal_time_within_bounds() {
        let s = NANOS_PER_SECOND;
        assert_eq!(pause(None, Some(5)), 60 * s);
        assert_eq!(pause(Some(1000 * s), Some(1900 * s)), 900 * s);
        assert_eq!(pause(Some(1000 * s), Some(1001 * s)), 60 * s);
        assert_eq!(pause(Some(0), Some(90_000 * s)), 3600 * s);
    }
}
