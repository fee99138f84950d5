//! A run is read while it is being written.

use super::disk::FaultyDisk;
use super::roundtrip::{head, mixed, same};
use crate::input::Input;
use crate::recording::{DamageKind, Derived, Policy, RunReader, RunWriter};
use crate::result::{Interval, State};

fn policy() -> Policy {
    Policy {
        segment_time: 3_000_000_000,
        ..Policy::default()
    }
}

#[test]
fn a_follower_gets_every_entry_once_while_segments_are_rolled_and_packed() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("f"), policy()).unwrap();
    let mut follower = RunReader::new(disk).unwrap();
    let inputs = mixed(2000);
    let mut got: Vec<Input> = Vec::new();
    let mut decisions = Vec::new();
    for (n, chunk) in inputs.chunks(40).enumerate() {
        for input in chunk {
            writer.append(input).unwrap();
        }
        writer.derive(Derived::Interval(Interval {
            state: State::Free,
            start_s: n as f64,
            end_s: n as f64 + 1.0,
            depth_m: None,
        }));
        writer.turn(n as i64 * 1_000_000_000).unwrap();
        follower.refresh();
        let from = got.len() as u64;
        follower.for_each_input_from(from, |number, input| {
            assert_eq!(number, got.len() as u64);
            got.push(input.clone());
        });
        let from = decisions.len() as u64;
        follower.for_each_derived_from(from, |_, record| decisions.push(record.clone()));
        assert_eq!(got.len() as u64, writer.durable());
        assert_eq!(follower.raw_end(), writer.durable());
    }
    assert_eq!(decisions.len(), 50);
    assert_eq!(follower.derived_end(), 50);
    assert!(got.len() == inputs.len() && got.iter().zip(&inputs).all(|(a, b)| same(a, b)));
    assert!(follower.damage().is_empty(), "{:?}", follower.damage());
}

#[test]
fn a_segment_packed_after_it_was_looked_at_is_looked_at_again() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("f"), policy()).unwrap();
    let inputs = mixed(800);
    for (n, input) in inputs.iter().enumerate() {
        writer.append(input).unwrap();
        if n % 10 == 0 {
            writer.sync(0).unwrap();
        }
    }
    writer.sync(0).unwrap();
    let mut reader = RunReader::new(disk).unwrap();
    let mut seen = 0;
    let mut waiting = Some(writer);
    let mut items = Vec::new();
    for input in reader.inputs() {
        items.push(input);
        seen += 1;
        if seen == 5
            && let Some(writer) = waiting.take()
        {
            writer.finish(0).unwrap();
        }
    }
    assert!(items.len() == inputs.len() && items.iter().zip(&inputs).all(|(a, b)| same(a, b)));
    let real = |d: &&crate::recording::Damage| d.kind != DamageKind::Duplicate;
    assert_eq!(reader.damage().iter().filter(real).count(), 0);
}
