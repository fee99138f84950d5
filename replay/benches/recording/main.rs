//! Whole runs written to and read from a folder on disk, beside CSV and Parquet of the same data:
//! `cargo bench -p kerfwatch-replay --bench recording`.
//!
//! Times are processor time of the one thread unless they say otherwise; M/s are million samples a second, a sample
//! being a reading or a received frame. *Write* takes inputs as the daemon hands them over, syncs every second of the
//! record and packs closed segments; *read* opens the folder and checks every checksum. CSV and Parquet are written in one
//! go and not synced: they promise less. All data are invented, from fixed seeds.
#![allow(missing_docs)]

mod cost;
mod invented;
mod recompute;
mod tables;

use cost::{Counted, cpu};
use invented::{imported, live, polled};
use kerfwatch::input::Input;
use kerfwatch::recording::{Folder, Policy, Run, RunHead, RunReader, RunWriter, Storage, time_of};
use std::cell::Cell;
use std::hint::black_box;
use std::path::Path;
use std::rc::Rc;
use std::time::{Duration, Instant};

/// The best of a few: the rest is the machine's other work.
const TURNS: usize = 5;

fn best(mut f: impl FnMut()) -> Duration {
    let once = || {
        let start = cpu();
        f();
        cpu() - start
    };
    std::iter::repeat_with(once)
        .take(TURNS)
        .min()
        .unwrap_or_default()
}

fn head(name: &str, job: &str) -> RunHead {
    RunHead {
        format: 1,
        run_id: name.to_owned(),
        software: "bench".to_owned(),
        started_unix_ns: 0,
        started_utc: "1970-01-01T00:00:00Z".to_owned(),
        job: job.to_owned(),
    }
}

struct Written {
    wall: Duration,
    cpu: Duration,
    in_system: Duration,
    syncs: u64,
}

fn write_run(path: &Path, name: &str, job: &str, inputs: &[Input], policy: Policy) -> Written {
    let syncs = Rc::new(Cell::new(0));
    let in_system = Rc::new(Cell::new(Duration::ZERO));
    let disk = Counted {
        folder: Folder::create(path).unwrap(),
        syncs: syncs.clone(),
        in_system: in_system.clone(),
    };
    let (start, start_cpu) = (Instant::now(), cpu());
    let mut writer = RunWriter::create(disk, &head(name, job), policy).unwrap();
    let mut now = 0;
    for input in inputs {
        writer.append(input).unwrap();
        let at = time_of(input);
        if at - now >= 100_000_000 {
            now = at;
            writer.turn(now).unwrap();
        }
    }
    writer.finish(now).unwrap();
    Written {
        wall: start.elapsed(),
        cpu: cpu() - start_cpu,
        in_system: in_system.get(),
        syncs: syncs.get(),
    }
}

fn bytes_of(path: &Path) -> u64 {
    let store = Folder::open(path);
    let names = store.list().unwrap();
    let segments = names.iter().filter(|name| name.ends_with(".kwr"));
    segments.map(|name| store.len(name).unwrap()).sum()
}

fn read_run(path: &Path, inputs: u64) {
    let mut reader = RunReader::open(path).unwrap();
    let mut count = 0;
    reader.for_each_run(|run| match run {
        Run::Readings(readings) => {
            for reading in readings {
                black_box(reading);
                count += 1;
            }
        }
        Run::One(input) => {
            black_box(input);
            count += 1;
        }
    });
    assert_eq!((count, reader.damage().len()), (inputs, 0));
}

fn whole_run(name: &str, inputs: &[Input], policy: Policy) {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let is_sample = |i: &&Input| matches!(i, Input::Reading { .. } | Input::Received { .. });
    let samples = inputs.iter().filter(is_sample).count() as f64;
    let written = write_run(&path("run"), name, "", inputs, policy);
    let read = best(|| read_run(&path("run"), inputs.len() as u64));
    let per_sample = |bytes: u64| bytes as f64 / samples;
    let rate = |time: Duration| samples / time.as_secs_f64() / 1e6;
    println!(
        "{name:<36} {samples:>8} samples | record  {:>5.2} B | write {:>6.2} M/s | read {:>6.1} M/s | by the clock {:.2} M/s, of this {:.2} s of {:.2} s in {} syncs",
        per_sample(bytes_of(&path("run"))),
        rate(written.cpu),
        rate(read),
        rate(written.wall),
        written.in_system.as_secs_f64(),
        written.wall.as_secs_f64(),
        written.syncs,
    );
    type Write = fn(&[Input], &Path);
    type Read = fn(&Path);
    let tables: [(&str, Write, Read); 2] = [
        ("CSV", tables::write_csv, tables::read_csv),
        ("Parquet", tables::write_parquet, tables::read_parquet),
    ];
    for (format, write, read) in tables {
        let file = path(format);
        let write = best(|| write(inputs, &file));
        let read = best(|| read(&file));
        let bytes = std::fs::metadata(&file).unwrap().len();
        println!(
            "{:<53} | {format:<7} {:>5.2} B | write {:>6.2} M/s | read {:>6.1} M/s |",
            "",
            per_sample(bytes),
            rate(write),
            rate(read),
        );
    }
}

fn main() {
    println!("bytes and M/s of samples; syncs of files and folder");
    let policy = Policy::default();
    let bulk = Policy::bulk();
    whole_run("readings 50 Hz, 2 h, import", &imported(50.0, 7200.0), bulk);
    whole_run(
        "readings 1 kHz, 30 min, import",
        &imported(1000.0, 1800.0),
        bulk,
    );
    whole_run("registers 50 Hz, 1 h", &polled(50.0, 3600.0), policy);
    whole_run("lines 50 Hz, 1 h", &live(50.0, 3600.0, 10_000), policy);
    whole_run("lines 1 kHz, 10 min", &live(1000.0, 600.0, 10_000), policy);
    println!("\nthe same lines with other steps of arrival time, other blocks, or without packing");
    for (step, label) in [(1, "1 ns"), (100_000, "100 us")] {
        whole_run(
            &format!("lines 1 kHz, 5 min, times {label}"),
            &live(1000.0, 300.0, step),
            policy,
        );
    }
    for block_entries in [2048, 32_768] {
        let policy = Policy {
            block_entries,
            ..policy
        };
        let inputs = live(1000.0, 300.0, 10_000);
        whole_run(
            &format!("lines 1 kHz, 5 min, {block_entries} a block"),
            &inputs,
            policy,
        );
    }
    let unpacked = Policy {
        pack: false,
        ..policy
    };
    whole_run(
        "lines 50 Hz, 1 h, unpacked",
        &live(50.0, 3600.0, 10_000),
        unpacked,
    );
    recompute::table();
}
