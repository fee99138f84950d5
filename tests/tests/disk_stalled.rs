//! A disk whose syncs take seconds, or fail. Slow: the record is late and loses nothing, and nobody else waits. Failed:
//! what the disk holds is unknown, so it is read afresh and gone on from there; the record says what it lacks.

#![cfg(feature = "daemon")]

use kerfwatch::input::{ChannelId, Input, MarkKind};
use kerfwatch::recording::RunReader;
use kerfwatch_tests::invented_run;
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::Started;
use kerfwatchd::demo::fixture::line;
use kerfwatchd::disk::Brake;
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

fn on_a_braked_disk(folder: &Path) -> (Rig, Brake) {
    let brake = Brake::default();
    let setup = Setup {
        brake: brake.clone(),
        ..Setup::default()
    };
    let rig = Rig::start(&invented_run::job("Invented-1"), folder, setup);
    (rig, brake)
}

/// Run time up to which all is on disk.
fn recorded_at(started: &Started) -> i64 {
    let progress = &started.published.progress;
    progress.recorded_at_ns.load(Ordering::Relaxed)
}

/// What was received on port 0.
fn load_bytes(reader: &mut RunReader) -> Vec<u8> {
    let mut bytes = Vec::new();
    reader.for_each_input(|input| {
        if let Input::Received {
            port: 0,
            bytes: new,
            ..
        } = input
        {
            bytes.extend_from_slice(new);
        }
    });
    bytes
}

#[test]
fn late_syncs_lose_nothing_and_hold_up_nobody_but_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let (mut rig, brake) = on_a_braked_disk(folder.path());
    let progress = rig.started.published.progress.clone();
    let mut sent = Vec::new();
    let (mut behind, mut ahead) = (0, 0);
    for (stall_ms, seconds) in [(0, 1.5), (1500, 5.0), (0, 2.0)] {
        brake.stall(Duration::from_millis(stall_ms));
        let start = Instant::now();
        while start.elapsed().as_secs_f64() < seconds {
            let value = 2000.0 + sent.len() as f64 / 100.0;
            rig.send(ChannelId::Load, value);
            sent.push(value);
            let ingest = progress.ingest_at_ns.load(Ordering::Relaxed);
            let recorded = progress.recorded_at_ns.load(Ordering::Relaxed);
            let core = progress.core_at_ns.load(Ordering::Relaxed);
            if stall_ms > 0 && ingest - recorded > 1_200_000_000 {
                behind += 1;
                // The pipeline does not wait for the disk.
                ahead += u32::from(core > recorded + 1_000_000_000);
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }
    assert!(
        behind > 0 && ahead > 0,
        "late {behind} times, pipeline ahead {ahead} times"
    );
    assert_eq!(progress.record_lost.load(Ordering::Relaxed), 0);
    let expected: Vec<u8> = sent
        .iter()
        .flat_map(|value| line(ChannelId::Load, 0, *value).bytes)
        .collect();
    rig.wait_until_received();
    let ended = rig.stop().unwrap();
    let mut reader = RunReader::open(&ended.run_folder).unwrap();
    let bytes = load_bytes(&mut reader);
    assert!(
        bytes == expected,
        "{} of {} bytes",
        bytes.len(),
        expected.len()
    );
    assert!(reader.verify(i64::MAX).is_whole());
    println!("{} lines, record late {behind} times", sent.len());
}

#[test]
fn after_a_failed_sync_the_alarm_is_raised_recording_goes_on_and_the_record_says_what_it_lacks() {
    let folder = tempfile::tempdir().unwrap();
    let (mut rig, brake) = on_a_braked_disk(folder.path());
    rig.wait_for_ports();
    rig.send(ChannelId::Load, 2001.0);
    rig.wait_until_received();
    rig.wait_for("something is on disk", |started| recorded_at(started) > 0);
    brake.fail_syncs(1);
    rig.send(ChannelId::Load, 2002.0);
    rig.wait_for("the alarm", |started| {
        let alarms = started.published.shell_alarms.views();
        let told = |alarm: &kerfwatch::snapshot::AlarmView| {
            alarm.kind == "recorder" && alarm.message.contains("nothing is being written")
        };
        alarms.iter().any(told)
    });
    let before = recorded_at(&rig.started);
    rig.wait_for("it records again", |started| recorded_at(started) > before);
    rig.send(ChannelId::Load, 2003.0);
    rig.wait_until_received();
    let ended = rig.stop().unwrap();
    let mut reader = RunReader::open(&ended.run_folder).unwrap();
    let noted = |input: Input| {
        matches!(&input, Input::Mark { mark, .. }
            if matches!(&mark.kind, MarkKind::Note(text) if text.contains("not on record")))
    };
    assert!(reader.inputs().any(noted));
    let text = String::from_utf8(load_bytes(&mut reader)).unwrap();
    assert!(text.contains("2001") && text.contains("2003"), "{text}");
}
