//! Seeded histories of writing, syncing, full disks, power cuts and resuming.
//!
//! `KERFWATCH_HISTORIES=20000 cargo test --release -p kerfwatch histories` is the heavy run; without the
//! variable a few hundred are run. A failure prints its seed.

use super::disk::{FaultyDisk, Seeded};
use super::roundtrip::{head, same};
use crate::input::{ChannelId, Input, Mark, MarkKind};
use crate::recording::{Derived, Policy, RecordError, RunReader, RunWriter};
use crate::result::{Interval, State};

pub(super) fn count(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(otherwise)
}

fn any_input(dice: &mut Seeded, at: i64) -> Input {
    match dice.below(12) {
        0..=3 => Input::Reading {
            channel: ChannelId::Load,
            at,
            value: dice.below(100_000) as f64 / 10.0,
        },
        4..=6 => Input::Received {
            port: dice.below(2) as u8,
            at,
            bytes: format!("+{:05}.{}\r\n", dice.below(99_999), dice.below(10)).into_bytes(),
        },
        7 => Input::Received {
            port: 0,
            at,
            bytes: (0..dice.below(40)).map(|_| dice.next() as u8).collect(),
        },
        8 | 9 => Input::Tick { at },
        10 if dice.one_in(8) => Input::Mark {
            at,
            mark: Mark {
                kind: MarkKind::CutterOut,
                author: String::new(),
            },
        },
        _ => Input::Port {
            port: 1,
            at,
            open: dice.one_in(2),
        },
    }
}

/// What the recording must be able to give back.
struct Expected {
    /// By entry number.
    inputs: Vec<Input>,
    /// These numbers were on disk for certain at some time.
    certain: Vec<bool>,
    /// These may have been given up because the backlog was full (counted in the health): no promise.
    given_up: Vec<bool>,
}

impl Expected {
    /// Returns which entries are there.
    fn check(&self, disk: &FaultyDisk, seed: u64) -> Vec<bool> {
        let mut reader = RunReader::new(disk.clone()).unwrap();
        let mut seen = vec![false; self.inputs.len()];
        let mut last = None;
        reader.for_each_input_from(0, |number, input| {
            assert!(
                last < Some(number),
                "seed {seed}: entry {number} twice or out of order"
            );
            last = Some(number);
            let expected = self.inputs.get(number as usize);
            assert!(
                expected.is_some_and(|e| same(e, input)),
                "seed {seed}: entry {number} came back as {input:?}, not {expected:?}"
            );
            seen[number as usize] = true;
        });
        for (number, certain) in self.certain.iter().enumerate() {
            assert!(
                !certain || seen[number],
                "seed {seed}: synced entry {number} is lost; {:?}",
                reader.damage()
            );
        }
        // Nothing is missing silently: every hole between entries is in the list.
        let end = last.map_or(0, |n| n + 1);
        for number in 0..end {
            let listed = || {
                reader.damage().iter().any(|d| {
                    d.first_entry
                        .zip(d.entries)
                        .is_some_and(|(first, entries)| (first..first + entries).contains(&number))
                })
            };
            assert!(
                seen[number as usize] || listed(),
                "seed {seed}: entry {number} is missing silently"
            );
        }
        seen
    }
}

fn history(seed: u64) {
    let mut dice = Seeded(seed);
    let disk = FaultyDisk::default();
    let policy = Policy {
        segment_bytes: 200 + dice.below(3000),
        segment_time: 1_000_000_000 + dice.below(20_000_000_000) as i64,
        block_entries: 1 + dice.below(40) as usize,
        backlog_bytes: 200 + dice.below(100_000) as usize,
        pack: !dice.one_in(4),
        ..Policy::default()
    };
    let mut writer = RunWriter::create(disk.clone(), &head("h"), policy).unwrap();
    let mut expected = Expected {
        inputs: Vec::new(),
        certain: Vec::new(),
        given_up: Vec::new(),
    };
    let mut now = 0;
    for _ in 0..1 + dice.below(8) {
        let mut lost_before = writer.health().raw_lost;
        let mut poisoned = false;
        for _ in 0..dice.below(25) {
            match dice.below(40) {
                0 => disk.set_room(Some(dice.below(1500) as usize)),
                1 | 2 => disk.set_room(None),
                3 if dice.one_in(4) => disk.fail_next_syncs(1),
                4 => disk.fail_next_appends(1),
                _ => {}
            }
            for _ in 0..dice.below(60) {
                now += dice.below(50_000_000) as i64;
                let input = any_input(&mut dice, now);
                writer.append(&input).unwrap();
                expected.inputs.push(input);
                expected.certain.push(false);
                expected.given_up.push(false);
            }
            if dice.one_in(4) {
                let interval = Interval {
                    state: State::Free,
                    start_s: 0.0,
                    end_s: now as f64,
                    depth_m: None,
                };
                writer.derive(Derived::Interval(interval));
            }
            let turned = if dice.one_in(5) {
                writer.sync(now)
            } else {
                writer.turn(now)
            };
            let health = writer.health();
            match turned {
                Ok(_) => {}
                Err(RecordError::Poisoned(_)) => {
                    poisoned = true;
                    assert!(writer.sync(now).is_err(), "seed {seed}: poison must stay");
                }
                Err(other) => panic!("seed {seed}: {other}"),
            }
            if health.raw_lost != lost_before {
                lost_before = health.raw_lost;
                for (given_up, certain) in expected.given_up.iter_mut().zip(&expected.certain) {
                    *given_up |= !certain;
                }
            }
            for number in 0..writer.durable() as usize {
                expected.certain[number] = !expected.given_up[number];
            }
            if poisoned {
                break;
            }
        }
        if !poisoned && dice.one_in(3) {
            expected.check(&disk, seed);
        }
        drop(writer);
        disk.fail_next_appends(0);
        disk.fail_next_syncs(0);
        // A full disk may still be full when the run is resumed.
        if poisoned || dice.one_in(2) {
            disk.set_room(None);
        }
        if dice.one_in(4) {
            // The process is killed, the system lives on.
        } else {
            disk.cut_power(&mut dice);
        }
        let there = expected.check(&disk, seed);
        let (resumed, back, recovery) = RunWriter::resume(disk.clone(), policy)
            .unwrap_or_else(|e| panic!("seed {seed}: cannot resume: {e}"));
        assert_eq!(back, head("h"));
        let next = recovery.raw_entries as usize;
        assert!(
            next <= expected.inputs.len(),
            "seed {seed}: entries invented"
        );
        assert!(
            expected.certain[next..].iter().all(|c| !c),
            "seed {seed}: synced entries forgotten"
        );
        expected.inputs.truncate(next);
        expected.certain.truncate(next);
        // What the power cut took before it was synced is a known hole; what is left is now promised.
        expected.given_up = there.iter().take(next).map(|there| !there).collect();
        writer = resumed;
    }
    disk.set_room(None);
    writer.finish(now).unwrap();
    expected.check(&disk, seed);
    let mut reader = RunReader::new(disk).unwrap();
    let check = reader.verify(i64::MAX);
    let right = |d: &Vec<_>| {
        d.iter()
            .all(|(_, s)| *s == crate::recording::DigestState::Right)
    };
    assert!(check.digests.as_ref().is_some_and(right), "seed {seed}");
}

#[test]
fn seeded_histories_of_crashes_give_back_every_synced_entry_once_and_in_order() {
    for seed in 0..count("KERFWATCH_HISTORIES", 250) {
        history(seed);
    }
}

#[test]
fn a_failed_sync_is_final_and_claims_nothing() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("h"), Policy::default()).unwrap();
    writer.append(&Input::Tick { at: 1 }).unwrap();
    writer.sync(0).unwrap();
    writer.append(&Input::Tick { at: 2 }).unwrap();
    disk.fail_next_syncs(1);
    assert!(matches!(writer.sync(1), Err(RecordError::Poisoned(_))));
    assert!(matches!(writer.sync(2), Err(RecordError::Poisoned(_))));
    assert_eq!(writer.durable(), 1);
    assert!(writer.health().fault.is_some());
}

#[test]
fn on_a_full_disk_derived_data_make_room_raw_data_wait_and_writing_resumes_by_itself() {
    let disk = FaultyDisk::default();
    let policy = Policy {
        segment_bytes: 2000,
        pack: false,
        ..Policy::default()
    };
    let mut writer = RunWriter::create(disk.clone(), &head("h"), policy).unwrap();
    let mut dice = Seeded(5);
    let mut inputs = Vec::new();
    let mut second = |writer: &mut RunWriter<FaultyDisk>, n: i64| {
        for i in 0..50 {
            let input = any_input(&mut dice, n * 1_000_000_000 + i);
            writer.append(&input).unwrap();
            inputs.push(input);
        }
        for _ in 0..20 {
            writer.derive(Derived::Interval(Interval {
                state: State::Free,
                start_s: n as f64,
                end_s: n as f64 + 1.0,
                depth_m: None,
            }));
        }
        writer.turn(n * 1_000_000_000).unwrap();
    };
    for n in 0..20 {
        second(&mut writer, n);
    }
    assert!(!writer.health().disk_full);
    disk.set_room(Some(300));
    for n in 20..60 {
        second(&mut writer, n);
    }
    let full = writer.health();
    assert!(full.disk_full && full.fault.is_some());
    assert!(full.derived_segments_removed > 0, "derived data made room");
    assert!(full.backlog_bytes > 0 && full.raw_lost == 0);
    assert!(
        full.raw_durable > 20 * 50,
        "the room made was used for raw data"
    );
    disk.set_room(None);
    second(&mut writer, 60);
    let after = writer.health();
    assert!(!after.disk_full && after.fault.is_none(), "{after:?}");
    assert_eq!(after.raw_durable, 61 * 50);
    writer.finish(61_000_000_000).unwrap();
    let mut reader = RunReader::new(disk).unwrap();
    let back: Vec<Input> = reader.inputs().collect();
    assert!(back.len() == inputs.len() && back.iter().zip(&inputs).all(|(a, b)| same(a, b)));
    assert_eq!(reader.lost_blocks(), 0);
    // What made room is told, and is no damage; a raw segment that is missing is.
    let check = reader.verify(i64::MAX);
    assert!(check.is_whole() && check.damage.is_empty(), "{check:?}");
    assert!(check.derived_missing > 0);
    assert_eq!(
        check.derived + check.derived_missing,
        61 * 20,
        "the rest waited"
    );
    let disk = reader.into_storage();
    disk.delete("raw-00002.kwr");
    let check = RunReader::new(disk).unwrap().verify(i64::MAX);
    assert!(!check.is_whole() && !check.damage.is_empty());
}

#[test]
fn a_segment_removed_by_another_program_is_noticed_and_recording_goes_on_in_a_new_one() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("h"), Policy::default()).unwrap();
    for n in 0..4 {
        if n == 2 {
            // What is written to a removed file is lost; the model refuses it, a real system does not.
            disk.put("raw-00001.kwr", Vec::new());
        }
        writer.append(&Input::Tick { at: n }).unwrap();
        writer.sync(n).unwrap();
    }
    let health = writer.health();
    assert_eq!(health.segments_disturbed, 1);
    assert!(health.fault.is_some_and(|f| f.contains("another program")));
    writer.finish(9).unwrap();
    let mut reader = RunReader::new(disk).unwrap();
    assert!(reader.inputs().any(|i| i == Input::Tick { at: 3 }));
    assert!(reader.lost_blocks() > 0);
}
