//! All runs of a chain through one pipeline, one after the other.

use super::times::{Pause, Placed, put_right, true_s};
use crate::console::Console;
use crate::run_folder::RunFolder;
use crate::summary::MarksRead;
use kerfwatch::groove::ledger::{Bins, Row};
use kerfwatch::groove::pass_counts;
use kerfwatch::input::{Event, Input, Mark, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::time_of;
use kerfwatch::result::{Quality, RunResult};
use kerfwatch::snapshot::MarkDoubt;
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, nanos, seconds};

/// Time put between two runs that do not know their universal times, and the least between any two.
const PAUSE_S: i64 = 60;
/// A longer pause tells the core nothing more, and would only fill its memory with empty time.
const PAUSE_MAX_S: i64 = 3600;

/// What a pass over all runs gave.
#[derive(Debug)]
pub(crate) struct Fed {
    /// As of one long run, in true time.
    pub(crate) result: RunResult,
    /// Results at the end of each run.
    pub(super) at_end: Vec<RunResult>,
    /// When each run was.
    pub(super) placed: Vec<Placed>,
    /// What is made of the marks, in true time.
    pub(super) marks_read: MarksRead,
    /// Strokes by run, with whether the cutter was out.
    pub(super) rows: Vec<Vec<(Row, bool)>>,
    pub(super) bins: Bins,
    /// By run, what one of its strokes counts by what its job says of the cutter.
    pub(super) stroke_counts: Vec<f64>,
    /// As it is after the last run.
    pub(crate) pipeline: Pipeline,
}

/// Marks to be put in, by run, in the time of the run.
pub(super) type Marks = Vec<Vec<(Nanos, MarkKind)>>;

/// Marks of the cutter for runs that have none while others do: told from the drag of that run alone.
/// Where no run has marks the core finds all of them itself. A run starts with the cutter in, whatever
/// the last mark of the run before; of the first one nothing is put in that its crew did not say.
pub(super) fn missing_marks(folders: &mut [RunFolder]) -> Marks {
    let first = |folder: &RunFolder| {
        let mut kinds = folder.notes().into_iter().map(|n| n.kind);
        kinds.find(|k| matches!(k, MarkKind::CutterOut | MarkKind::CutterIn))
    };
    let any = folders.iter().any(|f| first(f).is_some());
    folders
        .iter_mut()
        .enumerate()
        .map(|(k, folder)| match first(folder) {
            None if any => marks_from_drag(folder),
            Some(MarkKind::CutterOut) if k > 0 => vec![(0, MarkKind::CutterIn)],
            _ => Vec::new(),
        })
        .collect()
}

fn marks_from_drag(folder: &mut RunFolder) -> Vec<(Nanos, MarkKind)> {
    let mut pipeline = Pipeline::new(&folder.job.job);
    let mut events = Vec::new();
    folder.reader.for_each_run(|run| {
        run.for_each(|input| pipeline.push(input, &mut events));
        events.clear();
    });
    pipeline.finish(&mut events);
    let out = pipeline.estimate().engaged;
    let rows = &pipeline.ledger().rows;
    let mut marks = vec![(0, MarkKind::CutterIn)];
    let mut now = false;
    for (row, out) in rows.iter().zip(out).filter(|(r, _)| !r.drag.is_empty()) {
        if out != now {
            let kind = if out {
                MarkKind::CutterOut
            } else {
                MarkKind::CutterIn
            };
            marks.push((nanos(row.start).unwrap_or(0), kind));
            now = out;
        }
    }
    marks
}

/// Feeds everything; `deeper_m` by run is added to the depth that its counter gives.
pub(super) fn feed_all(
    folders: &mut [RunFolder],
    job: &Job,
    deeper_m: &[f64],
    marks: &Marks,
    console: &Console<'_>,
) -> Fed {
    let total = folders.iter().map(|f| f.reader.raw_end()).sum();
    let bar = console.progress(total, "chaining");
    let mut pipeline = Pipeline::new(job);
    let mut events = Vec::new();
    let mut placed: Vec<Placed> = Vec::new();
    let mut end_utc = None;
    let mut carried = Quality::default();
    let mut ids: Vec<String> = Vec::new();
    let (mut at_end, mut ends) = (Vec::new(), Vec::new());
    let mut stroke_counts = Vec::new();
    let runs = folders.len();
    for (k, folder) in folders.iter_mut().enumerate() {
        let mut run = after(placed.last(), end_utc, folder.start_utc_ns);
        ids.push(folder.id.clone());
        let counts = pass_counts(&folder.job.job, job);
        pipeline.take_cutter(counts);
        stroke_counts.push(counts);
        let fed = one(folder, run.joined, &marks[k], &mut pipeline, &mut events);
        (run.length, run.recorded) = fed;
        end_utc = folder
            .start_utc_ns
            .map(|utc| utc.saturating_add(run.length));
        placed.push(run);
        bar.inc(folder.reader.raw_end());
        carried.lost_blocks += folder.reader.lost_blocks();
        if k + 1 < runs {
            // The instruments are set up anew: what they had counted is kept here.
            let before = pipeline.snapshot().quality;
            pipeline.next_run(deeper_m[k + 1], &mut events);
            let after = pipeline.snapshot().quality;
            carried = combined(
                &carried,
                &combined(&before, &after, u64::saturating_sub),
                |a, b| a + b,
            );
        } else {
            pipeline.finish(&mut events);
        }
        events.clear();
        at_end.push(pipeline.result(&ids.join("+")));
        ends.push(pipeline.ledger().rows.len());
    }
    bar.finish_and_clear();
    let mut result = pipeline.result(&ids.join("+"));
    result.quality = combined(&result.quality, &carried, |a, b| a + b);
    put_right(&mut result, &placed);
    let marks_read = marks_read(&pipeline, &placed);
    let engaged = pipeline.estimate().engaged;
    let ledger = pipeline.ledger();
    let mut from = 0;
    let mut rows = Vec::new();
    for end in ends {
        let part = (from..end).map(|i| (ledger.rows[i].clone(), engaged[i]));
        rows.push(part.collect());
        from = end;
    }
    Fed {
        result,
        at_end,
        placed,
        marks_read,
        rows,
        bins: ledger.bins,
        stroke_counts,
        pipeline,
    }
}

/// Doubts in marks that the crew has set, not in those put in at the start of a run.
fn marks_read(pipeline: &Pipeline, placed: &[Placed]) -> MarksRead {
    let mut read = MarksRead::of(pipeline);
    let starts = |doubt: &MarkDoubt| {
        let mut runs = placed.iter();
        runs.any(|run| (seconds(run.joined) - doubt.mark_s).abs() < 0.5e-3)
    };
    read.doubts.retain(|doubt| !starts(doubt));
    for doubt in &mut read.doubts {
        for at in [&mut doubt.mark_s, &mut doubt.from_s, &mut doubt.until_s] {
            *at = true_s(placed, *at);
        }
    }
    read
}

/// Feeds one run, later by `shift`; gives its last time, and the time from its first reading to its last.
fn one(
    folder: &mut RunFolder,
    shift: Nanos,
    marks: &[(Nanos, MarkKind)],
    pipeline: &mut Pipeline,
    events: &mut Vec<Event>,
) -> (Nanos, Nanos) {
    let mut last = 0;
    let mut heard: Option<(Nanos, Nanos)> = None;
    let mut marks = marks.iter().peekable();
    folder.reader.for_each_run(|run| {
        run.for_each(|input| {
            let at = time_of(input);
            last = last.max(at);
            if matches!(input, Input::Received { .. } | Input::Reading { .. }) {
                heard = Some(heard.map_or((at, at), |(from, to)| (from.min(at), to.max(at))));
            }
            while let Some((at, kind)) = marks.next_if(|(mark, _)| *mark <= at) {
                let mark = Mark {
                    kind: kind.clone(),
                    author: "drag".into(),
                };
                let at = at.saturating_add(shift);
                pipeline.push(&Input::Mark { at, mark }, events);
            }
            pipeline.push(&shifted(input, shift), events);
        });
        events.clear();
    });
    (last, heard.map_or(0, |(from, to)| to.saturating_sub(from)))
}

/// Where a run begins that comes after `before`, which ended at `end_utc`.
fn after(before: Option<&Placed>, end_utc: Option<i64>, start_utc: Option<i64>) -> Placed {
    let pause = before.map(|_| pause(end_utc, start_utc));
    let (joined, truly) =
        before
            .zip(pause)
            .map_or((0, 0), |(run, Pause { true_ns, joined_ns })| {
                (
                    run.joined + run.length + joined_ns,
                    run.truly + run.length + true_ns.unwrap_or(joined_ns),
                )
            });
    Placed {
        pause,
        joined,
        truly,
        length: 0,
        recorded: 0,
    }
}

/// Time between the end of a run and the start of the next.
fn pause(end_utc: Option<i64>, start_utc: Option<i64>) -> Pause {
    let known = end_utc
        .zip(start_utc)
        // Clocks that disagree do not turn the order round.
        .map(|(end, start)| start.saturating_sub(end).max(0));
    Pause {
        true_ns: known,
        joined_ns: known
            .unwrap_or(PAUSE_S * NANOS_PER_SECOND)
            .clamp(PAUSE_S * NANOS_PER_SECOND, PAUSE_MAX_S * NANOS_PER_SECOND),
    }
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

fn combined(a: &Quality, b: &Quality, with: impl Fn(u64, u64) -> u64) -> Quality {
    Quality {
        bad_frames: with(a.bad_frames, b.bad_frames),
        gaps: with(a.gaps, b.gaps),
        late: with(a.late, b.late),
        lost_blocks: with(a.lost_blocks, b.lost_blocks),
        out_of_range: with(a.out_of_range, b.out_of_range),
        spikes: with(a.spikes, b.spikes),
        counter_leaps: with(a.counter_leaps, b.counter_leaps),
        // Not counted anew in each run.
        leaps: a.leaps.clone(),
        zero_steps: a.zero_steps.clone(),
        // Those of the last run alone would pass for those of all.
        channels: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pause_follows_universal_time_within_bounds() {
        let s = NANOS_PER_SECOND;
        let of = |end, start| {
            let Pause { true_ns, joined_ns } = pause(end, start);
            (true_ns, joined_ns)
        };
        assert_eq!(of(None, Some(5)), (None, 60 * s));
        assert_eq!(of(Some(1000 * s), Some(1900 * s)), (Some(900 * s), 900 * s));
        assert_eq!(of(Some(1000 * s), Some(1001 * s)), (Some(s), 60 * s));
        assert_eq!(of(Some(0), Some(90_000 * s)), (Some(90_000 * s), 3600 * s));
        assert_eq!(of(Some(9 * s), Some(5 * s)), (Some(0), 60 * s));
    }
}
