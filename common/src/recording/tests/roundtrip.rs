//! A run written to a real folder comes back as it was.

use crate::input::{ChannelId, Input, Mark, MarkKind};
use crate::recording::{Derived, Folder, Policy, Run, RunHead, RunReader, RunWriter};
use crate::result::{Direction, Stroke};

pub(super) fn head(id: &str) -> RunHead {
    RunHead {
        format: 1,
        run_id: id.to_owned(),
        software: "kerfwatch test".to_owned(),
        started_unix_ns: 1_700_000_000_000_000_000,
        started_utc: "2023-11-14T22:13:20Z".to_owned(),
        job: "[job]\nname = \"x\"\r\n# '''tricky''' \"\"\" \\ \u{e9}\n".to_owned(),
    }
}

pub(super) fn mixed(count: u64) -> Vec<Input> {
    (0..count)
        .map(|i| {
            let at = i as i64 * 10_000_000 + (i as i64 * 7919 % 1000) * 10_000;
            match i % 9 {
                0 => Input::Tick { at },
                1 | 2 => Input::Reading {
                    channel: ChannelId::Load,
                    at,
                    value: (f64::from((i * 31 % 500) as u32) + 1000.0) / 10.0,
                },
                3 => Input::Reading {
                    channel: ChannelId::Depth,
                    at,
                    value: if i % 45 == 3 { f64::NAN } else { -0.0 },
                },
                4 => Input::Received {
                    port: 0,
                    at,
                    bytes: format!("+{:05}.{}\r\n", i % 99_999, i % 10).into_bytes(),
                },
                5 => Input::Received {
                    port: 1,
                    at,
                    bytes: vec![(i % 251) as u8; (i % 5) as usize],
                },
                6 => Input::Sent {
                    port: 1,
                    at,
                    bytes: b"\x01\x03\x00\x00\x00\x02\xc4\x0b".to_vec(),
                },
                7 => Input::Port {
                    port: 1,
                    at,
                    open: i % 2 == 0,
                },
                _ => Input::Mark {
                    at,
                    mark: Mark {
                        kind: MarkKind::Note(format!("note {i}")),
                        author: "a".to_owned(),
                    },
                },
            }
        })
        .collect()
}

/// Inputs compared by the bits of their numbers.
pub(super) fn same(a: &Input, b: &Input) -> bool {
    match (a, b) {
        (
            Input::Reading { channel, at, value },
            Input::Reading {
                channel: c2,
                at: a2,
                value: v2,
            },
        ) => channel == c2 && at == a2 && value.to_bits() == v2.to_bits(),
        _ => a == b,
    }
}

fn stroke(n: u32) -> Derived {
    Derived::Stroke(Stroke {
        n,
        direction: Direction::Up,
        start_s: 1.5,
        end_s: 60.25,
        top_m: 2000.0,
        bottom_m: 2010.0,
        tool_travel_m: 10.0,
        mean_drag_n: 321.0,
        peak_tension_n: 4567.0,
        cut_work_j: 1.0e5,
        engaged_m: 9.5,
    })
}

#[test]
fn a_finished_run_comes_back_in_order_with_head_marks_decisions_and_digests() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run");
    let head = head("r1");
    let policy = Policy {
        segment_time: 3_000_000_000,
        ..Policy::default()
    };
    let mut writer = RunWriter::create(Folder::create(&path).unwrap(), &head, policy).unwrap();
    let inputs = mixed(2000);
    for (n, input) in inputs.iter().enumerate() {
        writer.append(input).unwrap();
        if n % 100 == 0 {
            writer.derive(stroke(n as u32));
        }
        writer.turn(n as i64 * 10_000_000).unwrap();
    }
    writer.finish(20_000_000_000).unwrap();

    let mut reader = RunReader::open(&path).unwrap();
    assert_eq!(reader.head().unwrap(), &head);
    let back: Vec<Input> = reader.inputs().collect();
    assert_eq!(back.len(), inputs.len());
    assert!(back.iter().zip(&inputs).all(|(a, b)| same(a, b)));
    assert!(reader.damage().is_empty(), "{:?}", reader.damage());
    let mut again = 0;
    reader.for_each_run(|run| match run {
        Run::Readings(readings) => again += readings.count(),
        Run::One(_) => again += 1,
    });
    assert_eq!(again, inputs.len());
    let mut decisions = Vec::new();
    reader.for_each_derived_from(3, |n, d| decisions.push((n, d.clone())));
    assert_eq!(decisions.len(), 17);
    assert_eq!(decisions[0], (3, stroke(300)));
    let marks = inputs.iter().filter(|i| matches!(i, Input::Mark { .. }));
    assert_eq!(reader.notes().len(), marks.count());
    let check = reader.verify(1_000_000_000);
    assert!(check.is_whole(), "{check:?}");
    assert!(check.packed_segments > 1);
    assert_eq!(check.inputs, 2000);
    assert_eq!(check.anchors.len(), 1);
}

#[test]
fn a_second_recorder_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let open = || Folder::create(folder.path()).unwrap();
    let first = RunWriter::create(open(), &head("r"), Policy::default()).unwrap();
    let second = RunWriter::resume(open(), Policy::default());
    assert!(second.is_err());
    drop(first);
    assert!(RunWriter::resume(open(), Policy::default()).is_ok());
    assert!(RunWriter::create(open(), &head("r"), Policy::default()).is_err());
}

#[test]
fn an_interrupted_run_is_continued() {
    let folder = tempfile::tempdir().unwrap();
    let open = || Folder::create(folder.path()).unwrap();
    let inputs = mixed(300);
    let mut writer = RunWriter::create(open(), &head("r"), Policy::default()).unwrap();
    for input in &inputs[..200] {
        writer.append(input).unwrap();
    }
    writer.sync(0).unwrap();
    drop(writer);
    // A torn block.
    let mut disk = open();
    use crate::recording::Storage;
    disk.append("raw-00001.kwr", b"KWB\x01 half a block")
        .unwrap();
    drop(disk);
    let (mut writer, back, recovery) = RunWriter::resume(open(), Policy::default()).unwrap();
    assert_eq!(back, head("r"));
    assert_eq!(recovery.raw_entries, 200);
    assert_eq!(recovery.damage.len(), 1);
    for input in &inputs[200..] {
        writer.append(input).unwrap();
    }
    writer.finish(0).unwrap();
    let mut reader = RunReader::open(folder.path()).unwrap();
    let back: Vec<Input> = reader.inputs().collect();
    assert!(back.len() == 300 && back.iter().zip(&inputs).all(|(a, b)| same(a, b)));
    assert_eq!(reader.damage().len(), 1, "the cut stays on record");
}

#[test]
fn a_bulk_import_may_append_everything_between_two_turns() {
    let folder = tempfile::tempdir().unwrap();
    let policy = Policy {
        backlog_bytes: 20_000,
        segment_bytes: 50_000,
        ..Policy::bulk()
    };
    let open = || Folder::create(folder.path()).unwrap();
    let mut writer = RunWriter::create(open(), &head("b"), policy).unwrap();
    let inputs: Vec<Input> = (0..200_000_i64)
        .map(|i| Input::Reading {
            channel: ChannelId::Load,
            at: i * 20_000_000,
            value: (i * 7919 % 5000) as f64 / 10.0,
        })
        .collect();
    for (n, input) in inputs.iter().enumerate() {
        writer.append(input).unwrap();
        if n % 50_000 == 0 {
            writer.turn(0).unwrap();
        }
    }
    assert_eq!(writer.health().raw_lost, 0);
    writer.finish(0).unwrap();
    let mut reader = RunReader::open(folder.path()).unwrap();
    assert!(reader.inputs().eq(inputs));
    assert!(reader.verify(i64::MAX).is_whole());
}
