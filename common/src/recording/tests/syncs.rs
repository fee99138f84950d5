//! When things are made durable, and that names are as well.

use super::disk::FaultyDisk;
use super::roundtrip::{head, mixed};
use crate::input::Input;
use crate::recording::{Derived, Policy, RunReader, RunWriter};
use crate::result::{AlarmRecord, Direction, Interval, State, Stroke};

const SECOND: i64 = 1_000_000_000;

fn stroke() -> Derived {
    Derived::Stroke(Stroke {
        n: 1,
        direction: Direction::Up,
        start_s: 0.0,
        end_s: 1.0,
        top_m: 2000.0,
        bottom_m: 2010.0,
        tool_travel_m: 10.0,
        mean_drag_n: 1.0,
        peak_tension_n: 1.0,
        cut_work_j: 1.0,
        engaged_m: 1.0,
    })
}

fn alarm() -> Derived {
    Derived::Alarm {
        at_s: 1.0,
        state: "unacknowledged".to_owned(),
        record: AlarmRecord {
            kind: "overpull".to_owned(),
            about: None,
            level: "high".to_owned(),
            raised_s: 1.0,
            cleared_s: None,
            peak_n: None,
        },
    }
}

fn interval() -> Derived {
    Derived::Interval(Interval {
        state: State::Free,
        start_s: 0.0,
        end_s: 1.0,
        depth_m: None,
    })
}

#[test]
fn a_stroke_or_an_alarm_makes_the_next_turn_sync_and_anything_else_waits_its_second() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk, &head("s"), Policy::default()).unwrap();
    assert!(writer.turn(0).unwrap(), "the first turn");
    let mut now = 0;
    for (record, at_once) in [(stroke(), true), (interval(), false), (alarm(), true)] {
        now += SECOND / 10;
        let before = writer.durable();
        writer.append(&Input::Tick { at: now }).unwrap();
        writer.derive(record.clone());
        assert_eq!(writer.turn(now).unwrap(), at_once, "{record:?}");
        assert_eq!(writer.durable() > before, at_once, "{record:?}");
    }
    writer.append(&Input::Tick { at: now }).unwrap();
    assert!(!writer.turn(now + SECOND - 1).unwrap());
    assert!(writer.turn(now + SECOND).unwrap());
    assert_eq!(writer.durable(), 4);
}

#[test]
fn one_sync_covers_all_inputs_of_its_second() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk, &head("s"), Policy::default()).unwrap();
    writer.turn(0).unwrap();
    let before = writer.health().syncs;
    for n in 1..=10_000 {
        writer.append(&Input::Tick { at: n }).unwrap();
        writer.turn(n * SECOND / 1000).unwrap();
    }
    assert_eq!(writer.health().syncs - before, 10, "ten seconds, one file");
}

#[test]
fn what_counts_as_durable_survives_when_everything_else_is_lost_names_included() {
    let disk = FaultyDisk::default();
    let policy = Policy {
        segment_time: 2 * SECOND,
        ..Policy::default()
    };
    let mut writer = RunWriter::create(disk.clone(), &head("s"), policy).unwrap();
    assert!(
        RunReader::new(disk.only_synced()).is_ok(),
        "the head is durable"
    );
    let mut packed = false;
    for (n, input) in mixed(3000).iter().enumerate() {
        writer.append(input).unwrap();
        let now = n as i64 * SECOND / 100;
        if n % 7 == 0 {
            writer.turn(now).unwrap();
            let mut left = RunReader::new(disk.only_synced()).unwrap();
            let mut there = 0;
            left.for_each_input_from(0, |number, _| {
                assert_eq!(number, there);
                there += 1;
            });
            assert_eq!(there, writer.durable());
            assert!(!left.damage().iter().any(|d| d.kind.is_loss()));
            packed |= left.verify(i64::MAX).packed_segments > 0;
        }
    }
    assert!(packed, "segments were rolled and packed meanwhile");
    writer.finish(31 * SECOND).unwrap();
    let check = RunReader::new(disk.only_synced()).unwrap().verify(i64::MAX);
    assert!(check.is_whole() && check.digests.is_some(), "{check:?}");
}
