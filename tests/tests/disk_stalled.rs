//! A disk whose syncs take seconds: recording is late, says so, and loses nothing; the rest does not wait.

#![cfg(feature = "daemon")]

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::recording::RunReader;
use kerfwatch_tests::invented_run;
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::demo::fixture::line;
use kerfwatchd::disk::Brake;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

#[test]
fn late_syncs_lose_nothing_and_hold_up_nobody_but_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let brake = Brake::default();
    let setup = Setup {
        brake: brake.clone(),
        ..Setup::default()
    };
    let mut rig = Rig::start(&invented_run::job("Invented-1"), folder.path(), setup);
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
    let ended = rig.stop().unwrap();
    let mut reader = RunReader::open(&ended.run_folder).unwrap();
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
    let expected: Vec<u8> = sent
        .iter()
        .flat_map(|value| line(ChannelId::Load, 0, *value).bytes)
        .collect();
    assert!(
        bytes == expected,
        "{} of {} bytes",
        bytes.len(),
        expected.len()
    );
    assert!(reader.verify(i64::MAX).is_whole());
    println!("{} lines, record late {behind} times", sent.len());
}
