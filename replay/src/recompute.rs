//! `recompute`: the record once more through the core, for people and as JSON.

pub use crate::args::RecomputeArgs as Args;
use crate::console::Console;
use crate::explain;
use crate::failure::{Exit, Failure};
use crate::friction::not_learned;
use crate::highest_tension;
use crate::output_file::write_json;
use crate::run_doubts;
use crate::run_folder::RunFolder;
use crate::summary::{MARKS_TURNED, MarksRead, summary};
use crate::units_shown::count;
use crate::wrapped::labelled;
use kerfwatch::pipeline::Pipeline;

/// Runs it.
///
/// # Errors
/// No run, no usable job, or an output that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let explain_at = args
        .explain
        .as_deref()
        .map(explain::read_depth)
        .transpose()?;
    let mut folder = RunFolder::open(&args.run, &args.changes, console)?;
    let pipeline = Pipeline::new(&folder.job.job);
    let (done, pipeline) = folder.recompute_with(pipeline, console);
    let job = &folder.job.job;
    let units = args.units.unwrap_or(job.info.display.into());
    let to_stdout = write_json(&done.result, args.json.as_deref(), console)?;
    if !to_stdout {
        for change in &folder.what_if {
            console.line(format_args!("What-if: {change}"))?;
        }
        let marks = MarksRead::of(&pipeline);
        let text = summary(job, &done.result, &done.missing, &marks, units);
        console.data(text.as_bytes())?;
    }
    let highest = highest_tension::told(job, pipeline.highest_tension(), units);
    if let Some(highest) = highest.filter(|_| !to_stdout) {
        console.line(labelled("Tension", &format!("highest {highest}")))?;
    }
    let unlearned = not_learned(job, pipeline.learned().as_ref());
    if let Some(why) = unlearned.filter(|_| !to_stdout) {
        console.line(format_args!(
            "Friction    that of the job, for it could not be learned: {why}"
        ))?;
    }
    for doubt in run_doubts::told(&pipeline, &done.result) {
        if to_stdout {
            console.warn(doubt.alone());
        } else {
            console.line(labelled(doubt.label, &doubt.words))?;
        }
    }
    if pipeline.marks_turned() {
        console.warn(MARKS_TURNED);
    }
    if let Some(depth_m) = explain_at {
        let evidence = pipeline.evidence(depth_m);
        let text = explain::explain(job, &done.result, evidence.as_ref(), depth_m, units)?;
        if to_stdout {
            console.talk(text);
        } else {
            console.data(text.as_bytes())?;
        }
    }
    if args.timing {
        let seconds = done.took.as_secs_f64();
        let busy = done.on_processor.as_secs_f64();
        let samples = done.result.run.samples.max(done.inputs);
        console.talk(format_args!(
            "{} readings in {seconds:.3} s: {:.2} million readings/s, one thread, disk to result; \
             {busy:.3} s of this on a processor: {:.2} million readings/s",
            count(samples),
            samples as f64 / seconds.max(1e-9) / 1e6,
            samples as f64 / busy.max(1e-9) / 1e6
        ));
    }
    Ok(done.exit)
}
