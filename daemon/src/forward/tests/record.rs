//! A record of known contents, and what of it is sent.

use super::super::cursor::Cursor;
use super::super::queue::{Next, Queue};
use kerfwatch::input::{ChannelId, Input};
use kerfwatch::job::print_default_job;
use kerfwatch::recording::{Derived, Folder, HEAD_FORMAT, Policy, RunHead, RunWriter};
use kerfwatch::result::{AlarmRecord, Direction, GrooveBin, Interval, State, Stroke};
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, nanos};
use std::collections::BTreeSet;
use std::path::Path;

/// Universal time of run start.
pub(super) const START_NS: i64 = 1_777_615_920_000_000_000;
/// Readings a second of each channel.
const RATE: i64 = 20;

fn stroke(n: u32) -> Stroke {
    Stroke {
        n,
        direction: if n.is_multiple_of(2) {
            Direction::Down
        } else {
            Direction::Up
        },
        start_s: f64::from(n) * 3.0,
        end_s: f64::from(n) * 3.0 + 2.5,
        top_m: 600.0,
        bottom_m: 609.0,
        tool_travel_m: 9.0,
        mean_drag_n: 300.5,
        peak_tension_n: f64::NAN,
        cut_work_j: 5000.0,
        engaged_m: 8.0,
    }
}

pub(super) fn alarm(kind: &str, raised_s: f64, at_s: f64, state: &str) -> Derived {
    Derived::Alarm {
        at_s,
        state: state.to_owned(),
        record: AlarmRecord {
            kind: kind.to_owned(),
            about: None,
            level: "high".to_owned(),
            raised_s,
            cleared_s: (state != "unacknowledged").then_some(at_s),
            peak_n: Some(5000.0),
        },
    }
}

/// 40 strokes with a state each, a picture of 90 bins, one alarm raised at 60 s and cleared at 61 s.
pub(super) fn decisions() -> Vec<Derived> {
    let mut all = Vec::new();
    for n in 1..=40 {
        let stroke = stroke(n);
        all.push(Derived::Interval(Interval {
            state: State::Cutting,
            start_s: stroke.start_s,
            end_s: stroke.end_s,
            depth_m: None,
        }));
        all.push(Derived::Stroke(stroke));
    }
    let bins = (0..90).map(|i| GrooveBin {
        top_m: 600.0 + 0.1 * f64::from(i),
        bottom_m: 600.1 + 0.1 * f64::from(i),
        depth_mm: 2.0,
        low_mm: 1.5,
        high_mm: 2.5,
        wall_mm: 5.51,
        passes: 30,
        through: false,
        through_probability: 0.1,
        coupling: false,
    });
    all.push(Derived::Groove {
        at_s: 110.0,
        bins: bins.collect(),
    });
    all.push(alarm("overpull", 60.0, 60.0, "unacknowledged"));
    all.push(alarm("overpull", 60.0, 61.0, "returned_unacknowledged"));
    all
}

/// Points that decisions give.
pub(super) const DECISION_POINTS: usize = 40 + 40 + 90 + 2;
/// Points that 120 s of readings give at 1 Hz: a second each of tension and depth, and 20 s in full.
pub(super) const READING_POINTS: usize = 2 * 120 + 2 * (20 * RATE as usize + 1);

/// Starts a record in `folder`.
pub(super) fn writer(folder: &Path) -> RunWriter<Folder> {
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id: "20260501T061200Z-test".to_owned(),
        software: "test".to_owned(),
        started_unix_ns: START_NS,
        started_utc: "2026-05-01T06:12:00Z".to_owned(),
        job: print_default_job().to_owned(),
    };
    RunWriter::create(Folder::create(folder).unwrap(), &head, Policy::default()).unwrap()
}

/// Readings of both channels from `from` to before `to`, seconds.
pub(super) fn read(writer: &mut RunWriter<Folder>, from: i64, to: i64) {
    for i in from * RATE..to * RATE {
        let at: Nanos = i * NANOS_PER_SECOND / RATE;
        // No two alike, so that nothing counts as frozen.
        let wave = (i as f64 * 0.1).sin();
        for (channel, value) in [
            (ChannelId::Load, 3500.0 + 100.0 * wave),
            (ChannelId::Depth, 605.0 + wave),
        ] {
            let input = Input::Reading { channel, at, value };
            writer.append(&input).unwrap();
        }
    }
}

/// A finished record: 120 s of readings, [`decisions`].
pub(super) fn finished(folder: &Path) {
    let mut writer = writer(folder);
    read(&mut writer, 0, 120);
    for record in decisions() {
        writer.derive(record);
    }
    writer.finish(0).unwrap();
}

pub(super) fn open(folder: &Path, cursor: Cursor) -> Queue {
    Queue::open(folder, cursor, 1.0).unwrap()
}

/// All points of a queue up to `until`, in order.
pub(super) fn drain(queue: &mut Queue, points_max: usize, until: Option<Nanos>) -> Vec<String> {
    let mut lines = Vec::new();
    loop {
        match queue.next(points_max, until) {
            Next::Batch(batch) => {
                let text = batch.points.part(&(0..batch.points.len()));
                lines.extend(text.lines().map(str::to_owned));
                queue.delivered(&batch, 0, 0);
            }
            Next::More => {}
            Next::Nothing => return lines,
        }
    }
}

pub(super) fn unique(lines: &[String]) -> BTreeSet<&str> {
    lines.iter().map(String::as_str).collect()
}

fn of<'l>(lines: &'l [String], measurement: &str) -> Vec<&'l String> {
    let start = format!("{measurement},");
    lines.iter().filter(|l| l.starts_with(&start)).collect()
}

#[test]
fn a_record_gives_each_point_once_whatever_the_size_of_batches() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let whole = drain(&mut open(folder.path(), Cursor::default()), 5000, None);
    assert_eq!(of(&whole, "stroke").len(), 40);
    assert_eq!(of(&whole, "state_told").len(), 40);
    assert_eq!(of(&whole, "groove").len(), 90);
    assert_eq!(of(&whole, "alarm_event").len(), 2);
    assert_eq!(of(&whole, "line").len(), 240);
    assert_eq!(whole.len(), DECISION_POINTS + READING_POINTS);
    assert_eq!(unique(&whole).len(), whole.len());
    for points_max in [1, 7, 100] {
        let parts = drain(
            &mut open(folder.path(), Cursor::default()),
            points_max,
            None,
        );
        assert_eq!(parts, whole, "batches of {points_max}");
    }
}

#[test]
fn points_carry_sorted_tags_universal_time_and_no_number_that_is_none() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let lines = drain(&mut open(folder.path(), Cursor::default()), 5000, None);
    let first = of(&lines, "stroke")[0];
    let start = "stroke,direction=up,run=20260501T061200Z-test,well=";
    assert!(first.starts_with(start), "{first}");
    let end = format!(
        ",mean_drag_told_n=300.5 {}",
        START_NS + 3 * NANOS_PER_SECOND
    );
    assert!(first.ends_with(&end), "{first}");
    for unknown in ["peak_tension_n", "cut_work_j", "engaged_m", "NaN"] {
        assert!(!first.contains(unknown), "{first}");
    }
    let raised = of(&lines, "alarm_event")[0];
    assert!(
        raised.contains(",kind=overpull,level=high,run="),
        "{raised}"
    );
    assert!(raised.contains(",state=unacknowledged,"), "{raised}");
}

#[test]
fn two_instruments_that_fail_at_one_moment_are_two_points() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    read(&mut writer, 0, 20);
    for about in ["load", "depth"] {
        let mut failed = alarm("sensor", 10.0, 10.0, "unacknowledged");
        if let Derived::Alarm { record, .. } = &mut failed {
            record.about = Some(about.to_owned());
        }
        writer.derive(failed);
    }
    writer.finish(0).unwrap();
    let lines = drain(&mut open(folder.path(), Cursor::default()), 5000, None);
    // A server keeps one point for each measurement, tags and time.
    let places = of(&lines, "alarm_event").into_iter().map(|line| {
        let (tags, rest) = line.split_once(' ').unwrap();
        (tags, rest.rsplit(' ').next())
    });
    assert_eq!(places.collect::<BTreeSet<_>>().len(), 2, "{lines:?}");
}

#[test]
fn a_queue_opened_at_any_cursor_gives_exactly_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    let whole = drain(&mut open(folder.path(), Cursor::default()), 5000, None);
    let mut queue = open(folder.path(), Cursor::default());
    let mut before = Vec::new();
    for points_max in [50, 200, 33, 120, 300, 1] {
        let Next::Batch(batch) = queue.next(points_max, None) else {
            panic!("the record is longer");
        };
        let text = batch.points.part(&(0..batch.points.len()));
        before.extend(text.lines().map(str::to_owned));
        queue.delivered(&batch, 0, 0);
        let mut again = open(folder.path(), queue.cursor.clone());
        let after = drain(&mut again, 5000, None);
        let both = [before.clone(), after].concat();
        assert_eq!(unique(&both), unique(&whole));
        assert_eq!(both.len(), whole.len(), "none is sent twice");
    }
}

#[test]
fn readings_wait_until_the_alarms_of_their_time_are_known() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    read(&mut writer, 0, 60);
    writer.turn(2 * NANOS_PER_SECOND).unwrap();
    let mut queue = open(folder.path(), Cursor::default());
    let until = nanos(40.0);
    let lines = drain(&mut queue, 5000, until);
    // Up to 30 s, and what is still open of the last step.
    assert_eq!(of(&lines, "line").len(), 2 * 30);
}

#[test]
fn an_alarm_that_becomes_known_late_sends_its_readings_in_full_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    read(&mut writer, 0, 120);
    writer.turn(2 * NANOS_PER_SECOND).unwrap();
    let mut queue = open(folder.path(), Cursor::default());
    let mut lines = drain(&mut queue, 100, nanos(110.0));
    assert_eq!(of(&lines, "line_full").len(), 0);
    for record in decisions() {
        writer.derive(record);
    }
    writer.finish(4 * NANOS_PER_SECOND).unwrap();
    queue.refresh();
    lines.extend(drain(&mut queue, 100, None));
    let other = tempfile::tempdir().unwrap();
    finished(other.path());
    let whole = drain(&mut open(other.path(), Cursor::default()), 5000, None);
    // Sent again in part, but never as other points.
    assert_eq!(unique(&lines), unique(&whole));
}

#[test]
fn a_record_that_grows_under_the_queue_gives_the_same_points_as_a_finished_one() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    let mut queue = open(folder.path(), Cursor::default());
    let mut lines = Vec::new();
    let mut decisions = decisions().into_iter();
    for second in 0..120 {
        read(&mut writer, second, second + 1);
        decisions.by_ref().take(1).for_each(|d| writer.derive(d));
        writer.turn((second + 1) * 2 * NANOS_PER_SECOND).unwrap();
        queue.refresh();
        lines.extend(drain(&mut queue, 30, Some(second * NANOS_PER_SECOND)));
    }
    decisions.for_each(|d| writer.derive(d));
    writer.finish(300 * NANOS_PER_SECOND).unwrap();
    queue.refresh();
    lines.extend(drain(&mut queue, 30, None));
    let other = tempfile::tempdir().unwrap();
    finished(other.path());
    let whole = drain(&mut open(other.path(), Cursor::default()), 5000, None);
    assert_eq!(unique(&lines), unique(&whole));
}
