//! `report`: one self-contained page per run, for people who were not there. No scripts, nothing
//! loaded from elsewhere, prints well. The forecast page is made of the same parts.

mod close_ups;
mod figures;
mod forecast_page;
mod happenings;
pub(crate) mod page;
mod scale;
mod sections;
pub(crate) mod svg;
mod tension_cycles;
mod traces;

pub(crate) use figures::groove as groove_figure;
pub use forecast_page::forecast_page;

pub use crate::args::ReportArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure};
use crate::output_file::write_file;
use crate::run_folder::RunFolder;
use crate::summary::MarksRead;
use crate::units_shown::{Units, duration};
use kerfwatch::input::MarkKind;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::time::NANOS_PER_SECOND;
use page::Page;
use sections::Source;

/// Runs it.
///
/// # Errors
/// No run, no usable job, or a page that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let mut folder = RunFolder::open(&args.run, &args.changes, console)?;
    let (text, exit) = report_page(&mut folder, args.units, console)?;
    write_file(&args.out, |out| out.write_all(text.as_bytes()))?;
    console.talk(format_args!("report written to {}", args.out.display()));
    Ok(exit)
}

/// The page of a run; exit code 3 when the recording is damaged.
///
/// # Errors
/// A job whose instruments cannot be set up.
pub fn report_page(
    folder: &mut RunFolder,
    units: Option<Units>,
    console: &mut Console<'_>,
) -> Result<(String, Exit), Failure> {
    let pipeline = Pipeline::new(&folder.job.job);
    let (done, pipeline) = folder.recompute_with(pipeline, console);
    let estimate = pipeline.estimate();
    let traces = traces::gather(folder, &done.result, &estimate.engaged)?;
    let verified = folder.reader.verify(2 * NANOS_PER_SECOND);
    let info = &folder.job.job.info;
    let units = units.unwrap_or(info.display.into());
    let start = folder.start_utc_ns.map_or_else(
        || "at a time that was not recorded".to_owned(),
        |ns| {
            jiff::Timestamp::from_nanosecond(i128::from(ns)).map_or_else(
                |_| "at a time that cannot be read".to_owned(),
                |t| t.strftime("%Y-%m-%d %H:%M UTC").to_string(),
            )
        },
    );
    let subtitle = format!(
        "Well {}. Run {}, started {start}, {} of record. Times count from its start, as h:mm:ss.",
        info.well,
        folder.id,
        duration(done.result.run.duration_s)
    );
    let mut page = Page::new(&format!("Cut report: {}", info.name), &subtitle);
    let source = Source {
        folder,
        done: &done,
        traces: &traces,
        verified: &verified,
        units,
        learned: pipeline.learned(),
        highest: pipeline.highest_tension(),
        with_cutter_out: estimate.engaged.iter().filter(|out| **out).count(),
        rolling_n: estimate.fit.map(|fit| fit.base),
        marks: MarksRead::of(&pipeline),
    };
    sections::outcome(&mut page, &source);
    sections::groove(&mut page, &source);
    sections::tension_and_strokes(&mut page, &source);
    sections::events(&mut page, &source);
    sections::line_wear(&mut page, &source);
    sections::calibration(&mut page, &source);
    sections::quality(&mut page, &source);
    sections::marks(&mut page, &source);
    sections::foundations(&mut page, &source);
    Ok((page.finish(), done.exit))
}

/// A mark in words.
pub(crate) fn mark_text(kind: &MarkKind) -> String {
    match kind {
        MarkKind::CutterOut => "cutter out".into(),
        MarkKind::CutterIn => "cutter in".into(),
        MarkKind::WeightCheck => "weight check".into(),
        MarkKind::Note(text) => text.clone(),
        MarkKind::Zero(m) => format!("depth counter set to {m:.2} m"),
        MarkKind::ReferenceDepth(m) => format!("wheels known to be at {m:.2} m"),
        MarkKind::Acknowledge(kind) => format!("alarm acknowledged: {kind}"),
        MarkKind::Shelve(kind, s) => format!("alarm shelved for {s:.0} s: {kind}"),
        MarkKind::Reset(kind) => format!("alarm reset: {kind}"),
        MarkKind::DaemonAlarm(_) => "the daemon's own alarms have changed".into(),
        MarkKind::AlarmsBefore(_) => "alarms taken over from the run before".into(),
    }
}
