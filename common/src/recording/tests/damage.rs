//! Every cut, every flipped bit, missing and repeated segments: the rest is used, nothing is silent.
//!
//! `KERFWATCH_FLIP_STEP=1` flips a bit in every byte (default: every 7th).

use super::disk::{FaultyDisk, Seeded};
use super::histories::count;
use super::roundtrip::{head, mixed, same};
use crate::input::Input;
use crate::recording::{
    Damage, DamageKind, DigestState, FORWARD_CURSOR_FILE, FORWARD_REFUSED_FILE, MANIFEST_FILE,
    Policy, RunReader, RunWriter, Storage,
};

const BLOCK: usize = 25;
const SEGMENTS: usize = 4;

/// Four segments of five blocks of 25 entries, none packed.
fn recorded() -> (FaultyDisk, Vec<Input>) {
    let disk = FaultyDisk::default();
    let policy = Policy {
        segment_time: 3_500_000_000,
        sync_every: 1_000_000_000,
        pack: false,
        ..Policy::default()
    };
    let inputs: Vec<Input> = mixed((BLOCK * 5 * SEGMENTS) as u64)
        .into_iter()
        .map(|input| match input {
            // Marks ask for a sync of their own; here every block is to have the same size.
            Input::Mark { at, .. } => Input::Tick { at },
            other => other,
        })
        .collect();
    let mut writer = RunWriter::create(disk.clone(), &head("d"), policy).unwrap();
    for (second, block) in inputs.chunks(BLOCK).enumerate() {
        for input in block {
            writer.append(input).unwrap();
        }
        writer.turn(second as i64 * 1_000_000_000).unwrap();
    }
    writer.finish(0).unwrap();
    disk.delete("manifest.sha256");
    (disk, inputs)
}

/// Reads with numbers, checks each entry, returns which were there and the damage.
fn read(disk: FaultyDisk, inputs: &[Input]) -> (Vec<bool>, Vec<Damage>) {
    let mut reader = RunReader::new(disk).unwrap();
    let mut seen = vec![false; inputs.len()];
    let mut last = None;
    reader.for_each_input_from(0, |number, input| {
        assert!(last < Some(number));
        last = Some(number);
        assert!(same(&inputs[number as usize], input));
        seen[number as usize] = true;
    });
    (seen, reader.damage())
}

fn lost(seen: &[bool]) -> usize {
    seen.iter().filter(|s| !**s).count()
}

#[test]
fn a_segment_cut_at_any_byte_loses_only_what_was_behind_the_cut() {
    let (disk, inputs) = recorded();
    let name = "raw-00004.kwr";
    let bytes = disk.bytes(name);
    let mut lost_before = usize::MAX;
    for cut in 0..bytes.len() {
        let disk = disk.copy();
        disk.put(name, bytes[..cut].to_vec());
        let (seen, damage) = read(disk.clone(), &inputs);
        let lost_now = lost(&seen);
        assert_eq!(lost_now % BLOCK, 0, "cut {cut}: whole blocks only");
        assert!(
            lost_now <= lost_before,
            "cut {cut}: a longer file never gives less"
        );
        assert!(seen[..inputs.len() - lost_now].iter().all(|s| *s));
        lost_before = lost_now;
        // Between blocks nothing looks damaged; the missing end of segment tells.
        let mut reader = RunReader::new(disk.clone()).unwrap();
        let check = reader.verify(i64::MAX);
        assert!(
            damage.iter().any(|d| d.kind.is_loss()) || check.unsealed == [name],
            "cut {cut} is silent"
        );
        // And the run goes on from there.
        let (mut writer, _, recovery) = RunWriter::resume(disk.clone(), Policy::default()).unwrap();
        let next = recovery.raw_entries as usize;
        assert_eq!(next, inputs.len() - lost_now, "cut {cut}");
        for input in &inputs[next..] {
            writer.append(input).unwrap();
        }
        writer.finish(0).unwrap();
        let (seen, _) = read(disk, &inputs);
        assert_eq!(lost(&seen), 0, "cut {cut}: continued run is whole");
    }
    assert_eq!(lost_before, 0);
}

#[test]
fn a_flipped_bit_costs_at_most_one_block_and_is_reported() {
    let (disk, inputs) = recorded();
    let mut dice = Seeded(1);
    let step = count("KERFWATCH_FLIP_STEP", 7) as usize;
    for segment in ["raw-00001.kwr", "raw-00002.kwr", "raw-00004.kwr"] {
        let bytes = disk.bytes(segment);
        for at in (0..bytes.len()).step_by(step) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << dice.below(8);
            let disk = disk.copy();
            disk.put(segment, flipped);
            let (seen, damage) = read(disk, &inputs);
            assert!(
                [0, BLOCK].contains(&lost(&seen)),
                "{segment} byte {at}: {} entries lost",
                lost(&seen)
            );
            let located = damage.iter().any(|d| {
                d.segment == segment
                    && d.offset <= at as u64
                    && (at as u64) < d.offset + d.bytes.max(1)
            });
            assert!(located, "{segment} byte {at}: not located: {damage:?}");
        }
    }
}

#[test]
fn a_missing_middle_segment_is_named_and_the_rest_is_used() {
    let (disk, inputs) = recorded();
    disk.delete("raw-00002.kwr");
    let (seen, damage) = read(disk, &inputs);
    assert_eq!(lost(&seen), 5 * BLOCK);
    let gap = &damage[0];
    assert_eq!(damage.len(), 1);
    assert_eq!(gap.kind, DamageKind::Gap);
    assert!(gap.segment.contains("00002"), "{gap}");
    assert_eq!((gap.first_entry, gap.entries), (Some(125), Some(125)));
}

#[test]
fn a_segment_found_twice_is_used_once_and_stands_in_for_a_damaged_one() {
    let (disk, inputs) = recorded();
    disk.put("raw-00009.kwr", disk.bytes("raw-00002.kwr"));
    let (seen, damage) = read(disk.clone(), &inputs);
    assert_eq!(lost(&seen), 0);
    assert_eq!(damage.len(), 1);
    assert_eq!(damage[0].kind, DamageKind::Duplicate);
    assert_eq!(damage[0].entries, Some(125));
    let mut bytes = disk.bytes("raw-00002.kwr");
    bytes[120] ^= 1;
    disk.put("raw-00002.kwr", bytes);
    let (seen, damage) = read(disk, &inputs);
    assert_eq!(lost(&seen), 0);
    assert!(damage.iter().any(|d| d.kind == DamageKind::Checksum));
}

#[test]
fn zeros_at_the_end_or_in_the_middle_are_told_from_data() {
    let (disk, inputs) = recorded();
    let name = "raw-00003.kwr";
    let mut bytes = disk.bytes(name);
    bytes.extend([0; 4096]);
    disk.put(name, bytes.clone());
    let (seen, damage) = read(disk.clone(), &inputs);
    assert_eq!(lost(&seen), 0);
    assert_eq!(damage[0].kind, DamageKind::ZeroTail);
    assert_eq!(damage[0].bytes, 4096);
    bytes[100..300].fill(0);
    disk.put(name, bytes);
    let (seen, damage) = read(disk, &inputs);
    assert!(lost(&seen) >= BLOCK && lost(&seen) <= 3 * BLOCK);
    assert!(damage.iter().any(|d| d.entries.is_some()));
}

#[test]
fn a_segment_of_another_run_is_left_out_and_reported() {
    let (disk, inputs) = recorded();
    let other = FaultyDisk::default();
    let mut writer = RunWriter::create(other.clone(), &head("other"), Policy::default()).unwrap();
    writer.append(&Input::Tick { at: 5 }).unwrap();
    writer.finish(0).unwrap();
    disk.put("raw-00007.kwr", other.bytes("raw-00001.kwr"));
    let (seen, damage) = read(disk, &inputs);
    assert_eq!(lost(&seen), 0);
    assert_eq!(damage[0].kind, DamageKind::ForeignSegment);
}

#[test]
fn without_run_toml_the_recording_is_still_read() {
    let (disk, inputs) = recorded();
    disk.delete("run.toml");
    let reader = RunReader::new(disk.clone()).unwrap();
    assert!(reader.head().is_err_and(|e| e.contains("run.toml")));
    let (seen, _) = read(disk, &inputs);
    assert_eq!(lost(&seen), 0);
}

#[test]
fn forwarding_that_goes_on_after_the_end_changes_no_finished_run() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("d"), Policy::default()).unwrap();
    writer.append(&Input::Tick { at: 5 }).unwrap();
    disk.put(FORWARD_CURSOR_FILE, b"raw_next = 1\n".to_vec());
    disk.put(FORWARD_REFUSED_FILE, b"# why\n".to_vec());
    writer.finish(0).unwrap();
    let list = String::from_utf8(disk.bytes(MANIFEST_FILE)).unwrap();
    assert!(
        list.contains("run.toml") && !list.contains("forward"),
        "{list}"
    );
    // As earlier versions wrote it: these files among the others, and both have changed since or are gone.
    let old = format!(
        "{list}{0}  {FORWARD_CURSOR_FILE}\n{0}  {FORWARD_REFUSED_FILE}\n",
        "0".repeat(64)
    );
    disk.delete(FORWARD_REFUSED_FILE);
    for text in [list, old] {
        disk.put(MANIFEST_FILE, text.into_bytes());
        let mut reader = RunReader::new(disk.clone()).unwrap();
        assert_eq!(reader.missing_files(), [""; 0]);
        let found = reader.verify(i64::MAX);
        assert!(found.is_whole());
        let digests = found.digests.unwrap();
        assert!(
            digests
                .iter()
                .all(|(_, state)| *state == DigestState::Right),
            "{digests:?}"
        );
    }
}

#[test]
fn a_changed_file_of_a_finished_run_is_told_by_its_digest() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("d"), Policy::default()).unwrap();
    writer.append(&Input::Tick { at: 5 }).unwrap();
    writer.finish(0).unwrap();
    let mut whole = RunReader::new(disk.clone()).unwrap();
    assert!(whole.verify(i64::MAX).is_whole());
    let mut text = disk.bytes("run.toml");
    text.extend(b"# added\n");
    disk.put("run.toml", text);
    let mut changed = RunReader::new(disk.clone()).unwrap();
    assert!(!changed.verify(i64::MAX).is_whole());
    assert!(disk.list().unwrap().contains(&"manifest.sha256".to_owned()));
    assert!(
        RunWriter::resume(disk, Policy::default()).is_err(),
        "a finished run is closed"
    );
}

#[test]
fn a_silence_of_the_instruments_is_one_though_time_was_recorded() {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("q"), Policy::default()).unwrap();
    let second = 1_000_000_000;
    let spoke = |at| Input::Received {
        port: 0,
        at,
        bytes: b"L 300\n".to_vec(),
    };
    writer.append(&spoke(0)).unwrap();
    for n in 1..=13 {
        writer.append(&Input::Tick { at: n * second }).unwrap();
    }
    writer.append(&spoke(13 * second)).unwrap();
    for n in 14..=18 {
        writer.append(&Input::Tick { at: n * second }).unwrap();
    }
    writer.finish(0).unwrap();
    let found = RunReader::new(disk).unwrap().verify(2 * second);
    assert_eq!(found.silences, []);
    let quiet = [(0, 13 * second), (13 * second, 5 * second)];
    assert_eq!(found.without_readings, quiet);
}
