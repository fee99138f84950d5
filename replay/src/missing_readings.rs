//! Where a result rests on too few readings, in words: its figures would pass for those of a cut in which nothing
//! happened.

use crate::summary::{STATES, time_in};
use crate::units_shown::{count, duration};
use kerfwatch::job::Job;
use kerfwatch::result::{RunResult, State};
use kerfwatch::snapshot::Snapshot;

/// Readings left out beyond this part of all are told: they no longer are the odd spike.
const LEFT_OUT_TOLD: f64 = 0.01;
/// A shorter record is no run.
const RUN_MIN_S: f64 = 60.0;

/// What is missing of a run whose end is `end`; empty when the result rests on most of the record. `bytes`: it was
/// recorded as its instruments sent it, so that `job` says how it is read.
pub(crate) fn told(result: &RunResult, end: &Snapshot, job: &Job, bytes: bool) -> Vec<String> {
    let unread = [
        (end.tension_n.is_none() && job.load.is_none(), "[load]"),
        (end.line_m.is_none() && job.depth.is_none(), "[depth]"),
    ];
    let unread: Vec<&str> = (unread.into_iter())
        .filter(|(unread, _)| *unread && bytes)
        .map(|(_, section)| section)
        .collect();
    if !unread.is_empty() {
        let sections = unread.join(" and ");
        return vec![format!(
            "this job has no {sections}, so what the recording holds, bytes as the instruments sent them, cannot be \
             read: figures are those of a run in which nothing happened\n  remedy: copy {sections} from the job in \
             run.toml of this run into the job file, or leave --job out"
        )];
    }
    if result.run.samples == 0 {
        return vec![
            "the recording holds no usable reading: all figures are those of a run in which nothing happened"
                .to_owned(),
        ];
    }
    for (newest, what, section) in [
        (end.tension_n, "line tension", "load"),
        (end.line_m, "line paid out", "depth"),
    ] {
        if newest.is_none() {
            return vec![format!(
                "the recording holds no usable reading of {what}: strokes and groove cannot be worked out, and \
                 their figures are those of a run in which nothing happened\n  remedy: see `kerfwatch-replay verify`, \
                 and [{section}] of the job; of an imported table, the column of {what}"
            )];
        }
    }
    let quality = &result.quality;
    let left_out = quality.late + quality.out_of_range + quality.spikes;
    let mut told = Vec::new();
    let part = left_out as f64 / result.run.samples as f64;
    if part > LEFT_OUT_TOLD {
        // Bytes are stamped as they arrive; only the times of a table can go back.
        let remedy = match !bytes && 2 * quality.late > left_out {
            true => {
                "\n  remedy: times of the imported table go back (its clock was set back, or rows are out of order): put \
                 them right as `import` says, and import it again"
            }
            false => "",
        };
        told.push(format!(
            "{} of {} readings were left out (late, out of range or spikes), {:.0} %: figures rest on the others{remedy}",
            count(left_out),
            count(result.run.samples),
            100.0 * part
        ));
    }
    let known: f64 = STATES
        .iter()
        .filter(|state| **state != State::Unknown)
        .map(|state| time_in(result, *state))
        .sum();
    let length = result.run.duration_s;
    if length > RUN_MIN_S && known < 0.5 * length {
        told.push(format!(
            "what the tool did is known for {} of {} only: for the rest there are no readings of both line \
             tension and line paid out close enough in time",
            duration(known),
            duration(length)
        ));
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::input::ChannelId;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::time::nanos;

    /// Invented: readings each 0.1 s for two minutes, as `change` makes them of time, s, and channel.
    fn told_of(change: impl Fn(f64, ChannelId) -> Option<(f64, f64)>) -> String {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut pipeline = Pipeline::new(&job);
        let mut events = Vec::new();
        for i in 0..1200 {
            for channel in [ChannelId::Load, ChannelId::Depth] {
                if let Some((s, value)) = change(f64::from(i) * 0.1, channel) {
                    pipeline.reading(channel, nanos(s).unwrap(), value, &mut events);
                }
            }
        }
        pipeline.finish(&mut events);
        told(&pipeline.result("run"), &pipeline.snapshot(), &job, false).join("\n")
    }

    fn usual(t: f64, channel: ChannelId) -> (f64, f64) {
        match channel {
            ChannelId::Load => (t, 1300.0),
            ChannelId::Depth => (t, 2000.0 + 0.1 * t),
        }
    }

    #[test]
    fn a_whole_record_misses_nothing() {
        assert_eq!(told_of(|t, channel| Some(usual(t, channel))), "");
    }

    #[test]
    fn a_job_that_does_not_say_how_to_read_the_bytes_is_named() {
        let mut job = read_job(print_default_job(), "job.toml").unwrap().job;
        (job.load, job.depth) = (None, None);
        let pipeline = Pipeline::new(&job);
        let (result, end) = (pipeline.result("run"), pipeline.snapshot());
        let text = told(&result, &end, &job, true).join("\n");
        assert!(
            text.starts_with("this job has no [load] and [depth]"),
            "{text}"
        );
        assert!(text.contains("copy [load] and [depth] from"), "{text}");
        let text = told(&result, &end, &job, false).join("\n");
        assert!(text.contains("no usable reading:"), "{text}");
    }

    #[test]
    fn a_channel_without_readings_is_named() {
        assert!(told_of(|_, _| None).contains("no usable reading:"));
        let text = told_of(|t, c| (c == ChannelId::Depth).then(|| usual(t, c)));
        assert!(text.contains("no usable reading of line tension"), "{text}");
        let text = told_of(|t, c| (c == ChannelId::Load).then(|| usual(t, c)));
        assert!(
            text.contains("of line paid out") && text.contains("[depth]"),
            "{text}"
        );
    }

    #[test]
    fn readings_that_were_left_out_are_counted() {
        let text = told_of(|t, c| Some((usual(t, c).0, 9e9)));
        assert!(
            text.starts_with("2 400 of 2 400 readings were left out"),
            "{text}"
        );
        let text = told_of(|t, c| Some((1000.0 - t, usual(t, c).1)));
        assert!(text.contains("readings were left out (late"), "{text}");
        assert!(
            text.contains("times of the imported table go back"),
            "{text}"
        );
        // The clock goes back by forty seconds: a third of them are late.
        let text = told_of(|t, c| Some((if t < 80.0 { t } else { t - 40.0 }, usual(t, c).1)));
        assert!(text.contains("of 2 400 readings were left out"), "{text}");
        assert!(text.contains("33 %: figures rest on the others"), "{text}");
    }

    #[test]
    fn readings_too_far_apart_tell_nothing() {
        let text = told_of(|t, c| Some((50.0 * t, usual(t, c).1)));
        assert!(
            text.contains("what the tool did is known for 0.0 s of 1 h"),
            "{text}"
        );
    }
}
