//! What is sent: decisions and readings as points, collected into a batch.
//!
//! | measurement | stamped with | tags beside `run`, `well` | fields |
//! |---|---|---|---|
//! | `stroke` | start | `direction` | number, end, depths, travel, peak, drag as told |
//! | `state_told` | start | | `state`, `duration_s` |
//! | `groove` | time of the picture | `top_m` | depth and its interval, passes, through |
//! | `alarm_event` | time of the transition | `kind`, `level`, `about`, `state` | raised, cleared, peak |
//! | `line` | start of its time step | | tension mean, lowest, highest, count; depth |
//! | `line_full` | the reading | | `tension_n` or `depth_m` |
//!
//! A stroke is the same point as that of `kerfwatch-replay export`, and fields of one name have one value: what only the
//! result knows is left out here, what it knows better has a name of its own. States as told live are provisional and would
//! overlap with `state`, the exported ones: they are a measurement of their own. Groove has the same shape. The state of an
//! alarm is a tag, and so is the instrument it is about: two transitions at one time stay two points.

use kerfwatch::line_protocol::{
    Field, alarm_fields, alarm_tags, depth_tag, groove_fields, push_point, state_fields,
    stroke_told_fields,
};
use kerfwatch::recording::Derived;
use kerfwatch::time::{Nanos, nanos};
use std::ops::Range;

/// Points ready to be sent, and where each ends.
#[derive(Debug, Clone, Default)]
pub(super) struct Points {
    text: String,
    ends: Vec<usize>,
}

impl Points {
    pub(super) fn len(&self) -> usize {
        self.ends.len()
    }

    pub(super) fn bytes(&self) -> usize {
        self.text.len()
    }

    /// The text of some of the points.
    pub(super) fn part(&self, range: &Range<usize>) -> &str {
        let start = range.start.checked_sub(1).map_or(0, |i| self.ends[i]);
        let end = range.end.checked_sub(1).map_or(0, |i| self.ends[i]);
        &self.text[start..end.max(start)]
    }
}

/// Makes points of one run.
#[derive(Debug, Clone)]
pub(super) struct PointMaker {
    run: String,
    well: String,
    start_ns: i64,
}

impl PointMaker {
    /// `start_ns`: universal time of run time 0.
    pub(super) fn new(run: &str, well: &str, start_ns: i64) -> Self {
        Self {
            run: run.to_owned(),
            well: well.to_owned(),
            start_ns,
        }
    }

    fn point(
        &self,
        out: &mut Points,
        measurement: &str,
        more_tags: &[(&str, &str)],
        at: Nanos,
        fields: &[(&str, Field<'_>)],
    ) {
        let mut tags = vec![("run", self.run.as_str()), ("well", self.well.as_str())];
        tags.extend_from_slice(more_tags);
        let at = self.start_ns.saturating_add(at);
        if push_point(&mut out.text, measurement, &tags, fields, at) {
            out.ends.push(out.text.len());
        }
    }

    /// A point that every server should take: tells a bad point from a server that takes none.
    pub(super) fn check(&self) -> String {
        let mut points = Points::default();
        let ok = [("ok", Field::Flag(true))];
        self.point(&mut points, "forward_check", &[], 0, &ok);
        points.text
    }

    /// Adds the points of a decision; one at an impossible time gives none.
    pub(super) fn derived(&self, out: &mut Points, record: &Derived) {
        match record {
            Derived::Stroke(s) => {
                let Some(at) = nanos(s.start_s) else { return };
                let tags = [("direction", s.direction.word())];
                self.point(out, "stroke", &tags, at, &stroke_told_fields(s));
            }
            Derived::Interval(i) => {
                let Some(at) = nanos(i.start_s) else { return };
                self.point(out, "state_told", &[], at, &state_fields(i));
            }
            Derived::Alarm {
                at_s,
                state,
                record,
            } => {
                let Some(at) = nanos(*at_s) else { return };
                let [kind, level, about] = alarm_tags(record);
                let tags = [kind, level, about, ("state", state.as_str())];
                self.point(out, "alarm_event", &tags, at, &alarm_fields(record));
            }
            Derived::Groove { at_s, bins } => {
                let Some(at) = nanos(*at_s) else { return };
                for b in bins {
                    let top = depth_tag(b.top_m);
                    self.point(out, "groove", &[("top_m", &top)], at, &groove_fields(b));
                }
            }
        }
    }

    /// Adds the tension of a time step that starts `at`.
    pub(super) fn tension(
        &self,
        out: &mut Points,
        at: Nanos,
        mean: f64,
        low: f64,
        high: f64,
        readings: u32,
    ) {
        let fields = [
            ("tension_n", Field::Real(mean)),
            ("tension_min_n", Field::Real(low)),
            ("tension_max_n", Field::Real(high)),
            ("readings", Field::Whole(i64::from(readings))),
        ];
        self.point(out, "line", &[], at, &fields);
    }

    /// Adds the line paid out at the end of a time step that starts `at`.
    pub(super) fn depth(&self, out: &mut Points, at: Nanos, depth: f64) {
        self.point(out, "line", &[], at, &[("depth_m", Field::Real(depth))]);
    }

    /// Adds a single reading.
    pub(super) fn reading(&self, out: &mut Points, at: Nanos, field: &str, value: f64) {
        self.point(out, "line_full", &[], at, &[(field, Field::Real(value))]);
    }
}
