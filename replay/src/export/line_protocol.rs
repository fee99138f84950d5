//! InfluxDB line protocol, nanosecond timestamps: strokes, states, alarms, groove, joints, tool.
//!
//! *Shape*: one point per line, `measurement,tag=.. field=.. timestamp`, tags sorted by key
//! ("InfluxDB line protocol reference"). Every point carries the tags `run` and `well`; those of a what-if `what_if` too,
//! so that they lie beside the points of the run itself and overwrite none.
//! *Time*: run start in UTC plus the time of the event; a stroke, state or alarm is stamped with
//! its start and carries its end as a field. Groove and joints are stamped with the end of the
//! run. *Precision*: times to 1 ns, numbers whole.
//! *Idempotent*: the same result gives the same points, so writing twice changes nothing.

use super::{Export, Format};
use crate::failure::{Failure, Finding};
use kerfwatch::line_protocol::{
    Field, alarm_fields, alarm_tags, depth_tag, groove_fields, push_point, state_fields,
    stroke_fields,
};
use std::io::Write;

/// The line protocol format.
#[derive(Debug)]
pub struct LineProtocol;

impl Format for LineProtocol {
    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure> {
        let Some(start_ns) = export.start_utc_ns else {
            return Err(Finding::new(
                &export.result.run.id,
                "the recording does not say when the run started, so points have no time",
                "give --start 2026-05-01T06:00:00Z",
            )
            .field("--start")
            .into());
        };
        let mut points = Points::new(export, start_ns);
        points.all(export);
        out.write_all(points.text.as_bytes())
            .map_err(|e| Failure::write("line protocol file", e))
    }
}

/// Lines being built.
struct Points {
    text: String,
    run: String,
    well: String,
    /// What was changed against the job on record; empty where nothing.
    what_if: String,
    start_ns: i64,
}

impl Points {
    fn new(export: &Export<'_>, start_ns: i64) -> Self {
        Self {
            text: String::new(),
            run: export.result.run.id.clone(),
            well: export.job.info.well.clone(),
            what_if: export.result.run.what_if.join("; "),
            start_ns,
        }
    }

    fn all(&mut self, export: &Export<'_>) {
        let result = export.result;
        for s in &result.strokes {
            let tags = [("direction", s.direction.word())];
            self.point("stroke", &tags, s.start_s, &stroke_fields(s));
        }
        for i in &result.intervals {
            self.point("state", &[], i.start_s, &state_fields(i));
        }
        for a in &result.alarms {
            self.point("alarm", &alarm_tags(a), a.raised_s, &alarm_fields(a));
        }
        let (_, end_s) = result.span_s();
        for b in &result.groove {
            let top = depth_tag(b.top_m);
            self.point("groove", &[("top_m", &top)], end_s, &groove_fields(b));
        }
        for j in &result.joints {
            let mut fields = vec![
                ("bottom_m", Field::Real(j.bottom_m)),
                ("split_fraction", Field::Real(j.split_fraction)),
                ("min_depth_mm", Field::Real(j.min_depth_mm)),
            ];
            fields.extend(
                j.strokes_left_p50
                    .map(|x| ("strokes_left_p50", Field::Real(x))),
            );
            fields.extend(
                j.strokes_left_p90
                    .map(|x| ("strokes_left_p90", Field::Real(x))),
            );
            self.point("joint", &[("top_m", &depth_tag(j.top_m))], end_s, &fields);
        }
        let track = &result.tool;
        for (i, depth) in track.depth_m.iter().enumerate() {
            let speed = track.speed_m_s.get(i).copied().flatten();
            let mut fields = Vec::new();
            fields.extend(depth.map(|x| ("depth_m", Field::Real(x))));
            fields.extend(speed.map(|x| ("speed_m_s", Field::Real(x))));
            self.point("tool", &[], i as f64 * track.every_s, &fields);
        }
    }

    /// Adds a point; numbers that are not finite are left out, a point without fields too.
    fn point(
        &mut self,
        measurement: &str,
        tags: &[(&str, &str)],
        at_s: f64,
        fields: &[(&str, Field<'_>)],
    ) {
        let Some(offset_ns) = kerfwatch::time::nanos(at_s) else {
            return;
        };
        let at = self.start_ns.saturating_add(offset_ns);
        let mut all: Vec<(&str, &str)> = vec![("run", &self.run), ("well", &self.well)];
        if !self.what_if.is_empty() {
            all.push(("what_if", &self.what_if));
        }
        all.extend_from_slice(tags);
        push_point(&mut self.text, measurement, &all, fields, at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::TableName;
    use kerfwatch::job::{Job, print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::{AlarmRecord, Interval, Joint, RunResult, State};

    fn points_of(job: &Job, result: &RunResult) -> String {
        let export = Export {
            job,
            result,
            start_utc_ns: Some(0),
            table: TableName::Strokes,
            tension: &[],
        };
        let mut out = Vec::new();
        assert!(LineProtocol.write(&export, &mut out).is_ok());
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn two_instruments_that_fail_at_one_moment_are_two_points() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let failed = |about: &str| AlarmRecord {
            kind: "sensor".to_owned(),
            about: Some(about.to_owned()),
            level: "high".to_owned(),
            raised_s: 5.0,
            cleared_s: None,
            peak_n: None,
        };
        result.alarms = vec![failed("load"), failed("depth")];
        let text = points_of(&job, &result);
        let alarms = text.lines().filter(|line| line.starts_with("alarm,"));
        let abouts: Vec<bool> = alarms
            .map(|line| line.starts_with("alarm,about=load,"))
            .collect();
        assert_eq!(abouts, [true, false], "{text}");
    }

    #[test]
    fn joints_are_stamped_with_the_end_of_a_run_that_began_late() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.groove.clear();
        // An hour, ten hours after the zero of its table.
        result.run.duration_s = 3_600.0;
        result.intervals = vec![Interval {
            state: State::Free,
            start_s: 36_000.0,
            end_s: 39_600.0,
            depth_m: None,
        }];
        result.joints = vec![Joint {
            top_m: 600.0,
            bottom_m: 609.0,
            split_fraction: 0.5,
            min_depth_mm: 1.0,
            strokes_left_p50: None,
            strokes_left_p90: None,
        }];
        let text = points_of(&job, &result);
        let joint = text.lines().find(|line| line.starts_with("joint,"));
        assert!(joint.unwrap().ends_with(" 39600000000000"), "{text}");
    }
}
