//! What is sent: decisions and readings as points, collected into a batch.
//!
//! | measurement | stamped with | tags beside `run`, `well` | fields |
//! |---|---|---|---|
//! | `stroke` | start | `direction` | number, end, depths, travel, drag, peak, work |
//! | `state` | start | | `state`, `duration_s` |
//! | `groove` | time of the picture | `top_m` | depth and its interval, passes, through |
//! | `alarm_event` | time of the transition | `kind`, `level`, `state` | raised, cleared, peak |
//! | `line` | start of its time step | | tension mean, lowest, highest, count; depth |
//! | `line_full` | the reading | | `tension_n` or `depth_m` |
//!
//! Strokes and states are the same points as those of `kerfwatch-replay export`, groove has the same shape. The state of an alarm is a
//! tag: two transitions at one time stay two points.

use kerfwatch::line_protocol::{Field, depth_tag, push_point};
use kerfwatch::recording::Derived;
use kerfwatch::result::{Direction, State};
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
        let real = Field::Real;
        match record {
            Derived::Stroke(s) => {
                let Some(at) = nanos(s.start_s) else { return };
                let direction = match s.direction {
                    Direction::Up => "up",
                    Direction::Down => "down",
                };
                let fields = [
                    ("n", Field::Whole(i64::from(s.n))),
                    ("end_s", real(s.end_s)),
                    ("start_s", real(s.start_s)),
                    ("top_m", real(s.top_m)),
                    ("bottom_m", real(s.bottom_m)),
                    ("tool_travel_m", real(s.tool_travel_m)),
                    ("mean_drag_n", real(s.mean_drag_n)),
                    ("peak_tension_n", real(s.peak_tension_n)),
                    ("cut_work_j", real(s.cut_work_j)),
                    ("engaged_m", real(s.engaged_m)),
                ];
                self.point(out, "stroke", &[("direction", direction)], at, &fields);
            }
            Derived::Interval(i) => {
                let Some(at) = nanos(i.start_s) else { return };
                let fields = [
                    ("state", Field::Text(state_word(i.state))),
                    ("duration_s", real(i.end_s - i.start_s)),
                ];
                self.point(out, "state", &[], at, &fields);
            }
            Derived::Alarm {
                at_s,
                state,
                record,
            } => {
                let Some(at) = nanos(*at_s) else { return };
                let tags = [
                    ("kind", record.kind.as_str()),
                    ("level", record.level.as_str()),
                    ("state", state.as_str()),
                ];
                let mut fields = vec![("raised_s", real(record.raised_s))];
                fields.extend(record.cleared_s.map(|x| ("cleared_s", real(x))));
                fields.extend(record.peak_n.map(|x| ("peak_n", real(x))));
                self.point(out, "alarm_event", &tags, at, &fields);
            }
            Derived::Groove { at_s, bins } => {
                let Some(at) = nanos(*at_s) else { return };
                for b in bins {
                    let fields = [
                        ("depth_mm", real(b.depth_mm)),
                        ("low_mm", real(b.low_mm)),
                        ("high_mm", real(b.high_mm)),
                        ("wall_mm", real(b.wall_mm)),
                        ("passes", Field::Whole(i64::from(b.passes))),
                        ("through", Field::Flag(b.through)),
                        ("through_probability", real(b.through_probability)),
                        ("coupling", Field::Flag(b.coupling)),
                    ];
                    let top = depth_tag(b.top_m);
                    self.point(out, "groove", &[("top_m", &top)], at, &fields);
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

fn state_word(state: State) -> &'static str {
    match state {
        State::Still => "still",
        State::Free => "free",
        State::Cutting => "cutting",
        State::Stalled => "stalled",
        State::Slack => "slack",
        State::Unknown => "unknown",
    }
}
