//! Figures of the recording: `cargo bench -p kerfwatch --bench recording`.
//!
//! Prints (1) the codecs tried on realistic columns, by bytes and time, (2) whole runs written to and read
//! from a folder on disk, beside CSV of the same data. Times are processor time of the one thread unless they
//! say otherwise; M/s are million samples a second. All data are invented, from fixed seeds.
#![allow(missing_docs)]

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::recording::{Folder, Policy, Run, RunHead, RunReader, RunWriter, Storage};
use std::cell::Cell;
use std::fmt::Write as _;
use std::hint::black_box;
use std::io;
use std::rc::Rc;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

/// Time this thread has had on a processor, so that a busy machine does not spoil the figures; wall time
/// where the system does not tell.
fn cpu() -> Duration {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse().ok())
        .map_or_else(|| START.elapsed(), Duration::from_nanos)
}

static START: LazyLock<Instant> = LazyLock::new(Instant::now);

/// Numbers from a seed (splitmix64).
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
    /// Normal, by the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// Line length and tension at a time: strokes of 12 m at 0.5 m/s, waves and noise on the tension.
fn truth(t: f64, noise: &mut Seeded) -> (f64, f64) {
    let phase = (t / 48.0).fract();
    let (depth, up) = if phase < 0.5 {
        (2000.0 + 24.0 * phase, -1.0)
    } else {
        (2024.0 - 24.0 * phase, 1.0)
    };
    let load = 3500.0 + up * 600.0 + 60.0 * (t * 5.0).sin() + 20.0 * noise.normal();
    (load, depth)
}

fn imported(rate: f64, seconds: f64) -> Vec<Input> {
    let mut noise = Seeded(1);
    let mut inputs = Vec::new();
    for i in 0..(rate * seconds) as u64 {
        let t = i as f64 / rate;
        let at = kerfwatch::time::nanos(t).unwrap();
        let (load, depth) = truth(t, &mut noise);
        inputs.push(Input::Reading {
            channel: ChannelId::Load,
            at,
            value: (load * 10.0).round() / 10.0,
        });
        inputs.push(Input::Reading {
            channel: ChannelId::Depth,
            at,
            value: (depth * 1000.0).round() / 1000.0,
        });
    }
    inputs
}

/// Two text instruments; arrival times jitter by 60 us and are rounded to `step` ns.
fn live(rate: f64, seconds: f64, step: i64) -> Vec<Input> {
    let mut noise = Seeded(2);
    let mut inputs: Vec<(i64, Input)> = Vec::new();
    let round = |t: f64| (kerfwatch::time::nanos(t).unwrap() + step / 2).div_euclid(step) * step;
    for i in 0..(rate * seconds) as u64 {
        let t = i as f64 / rate;
        let (load, depth) = truth(t, &mut noise);
        let at = round(t + 1e-3 + 60e-6 * noise.normal());
        let bytes = format!("{:+08.1}\r\n", load).into_bytes();
        inputs.push((at, Input::Received { port: 0, at, bytes }));
        let at = round(t + 1.4e-3 + 60e-6 * noise.normal());
        let body = format!("LT,{depth:>9.3},M");
        let check = body.bytes().fold(0, |a, b| a ^ b);
        let bytes = format!("${body}*{check:02X}\r\n").into_bytes();
        inputs.push((at, Input::Received { port: 1, at, bytes }));
    }
    for i in 0..(seconds * 10.0) as i64 {
        let at = i * 100_000_000;
        inputs.push((at, Input::Tick { at }));
    }
    inputs.sort_by_key(|(at, _)| *at);
    inputs.into_iter().map(|(_, input)| input).collect()
}

/// Two polled Modbus RTU instruments on one port: question and answer are recorded, a sample is an answer.
fn polled(rate: f64, seconds: f64) -> Vec<Input> {
    let check = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS);
    let with_check = |mut frame: Vec<u8>| {
        let sum = check.checksum(&frame);
        frame.extend(sum.to_le_bytes());
        frame
    };
    let mut noise = Seeded(5);
    let mut inputs = Vec::new();
    for i in 0..(rate * seconds) as u64 {
        let t = i as f64 / rate;
        let (load, depth) = truth(t, &mut noise);
        for (unit, value, delay) in [(1_u8, load * 10.0, 1e-3), (2, depth * 1000.0, 9e-3)] {
            let mut arrival = |after: f64| {
                let at = t + delay + after + 60e-6 * noise.normal();
                kerfwatch::time::quantise_arrival(kerfwatch::time::nanos(at).unwrap())
            };
            inputs.push(Input::Sent {
                port: 0,
                at: arrival(0.0),
                bytes: with_check(vec![unit, 3, 0, 0, 0, 2]),
            });
            let mut answer = vec![unit, 3, 4];
            answer.extend((value.round() as u32).to_be_bytes());
            inputs.push(Input::Received {
                port: 0,
                at: arrival(4e-3),
                bytes: with_check(answer),
            });
        }
    }
    inputs
}

fn bytes_of(values: &[i64]) -> Vec<u8> {
    let mut last = 0;
    let mut out = Vec::new();
    for v in values {
        out.extend((v - last).to_le_bytes());
        last = *v;
    }
    out
}

/// Repeats until the coarse processor clock has something to tell.
fn ns_each(numbers: f64, mut f: impl FnMut()) -> f64 {
    let start = cpu();
    let mut turns = 0.0;
    while cpu() - start < Duration::from_millis(60) {
        f();
        turns += 1.0;
    }
    (cpu() - start).as_nanos() as f64 / numbers / turns
}

type Coder<'a> = (
    &'a str,
    Box<dyn Fn(&[i64]) -> Vec<u8>>,
    Box<dyn Fn(&[u8], usize)>,
);

fn codecs() {
    let mut noise = Seeded(3);
    let count = 1 << 16;
    let rows: Vec<(f64, f64)> = (0..count)
        .map(|i| truth(f64::from(i) / 1000.0, &mut noise))
        .collect();
    let load: Vec<i64> = rows.iter().map(|r| (r.0 * 10.0).round() as i64).collect();
    let depth: Vec<i64> = rows.iter().map(|r| (r.1 * 1000.0).round() as i64).collect();
    let mut jittered = |step: i64| -> Vec<i64> {
        (0..i64::from(count))
            .map(|i| (i * 1_000_000 + (60_000.0 * noise.normal()) as i64) / step)
            .collect()
    };
    let columns = [
        ("load, 0.1 N, noise 20 N", load),
        ("depth, 1 mm", depth),
        ("arrival, 1 ns", jittered(1)),
        ("arrival, 10 us", jittered(10_000)),
        ("arrival, 100 us", jittered(100_000)),
    ];
    let zstd_at = |level: i32| -> Coder<'static> {
        (
            match level {
                1 => "delta+zstd 1",
                3 => "delta+zstd 3",
                _ => "delta+zstd 12",
            },
            Box::new(move |v| zstd::bulk::compress(&bytes_of(v), level).unwrap()),
            Box::new(|b, n| {
                black_box(zstd::bulk::decompress(b, n * 8).unwrap());
            }),
        )
    };
    let pco_at = |level: usize| -> Coder<'static> {
        (
            match level {
                4 => "pco 4",
                8 => "pco 8",
                _ => "pco 12",
            },
            Box::new(move |v| {
                let config = pco::ChunkConfig::default().with_compression_level(level);
                pco::standalone::simple_compress(v, &config).unwrap()
            }),
            Box::new(|b, n| {
                let mut out = vec![0_i64; n];
                pco::standalone::simple_decompress_into(b, &mut out).unwrap();
                black_box(out);
            }),
        )
    };
    let coders: Vec<Coder> = vec![
        zstd_at(1),
        zstd_at(3),
        zstd_at(12),
        (
            "delta+lz4",
            Box::new(|v| lz4_flex::compress(&bytes_of(v))),
            Box::new(|b, n| {
                black_box(lz4_flex::decompress(b, n * 8).unwrap());
            }),
        ),
        pco_at(4),
        pco_at(8),
        pco_at(12),
    ];
    println!(
        "codecs on columns: bytes per number | encode ns | decode ns (decode of zstd and lz4 without undoing the deltas)"
    );
    for (name, values) in &columns {
        for block in [100_usize, 1000, 8192] {
            print!("{name:<24} block {block:>5} ");
            for (coder, encode, decode) in &coders {
                let blocks: Vec<&[i64]> = values.chunks_exact(block).collect();
                let numbers = (blocks.len() * block) as f64;
                let packed: Vec<Vec<u8>> = blocks.iter().map(|b| encode(b)).collect();
                let encode_ns = ns_each(numbers, || {
                    blocks.iter().for_each(|b| drop(black_box(encode(b))));
                });
                let decode_ns = ns_each(numbers, || {
                    packed.iter().for_each(|b| decode(b, block));
                });
                let size: usize = packed.iter().map(Vec::len).sum();
                print!(
                    "| {coder} {:.2} {encode_ns:.0} {decode_ns:.0} ",
                    size as f64 / numbers
                );
            }
            println!();
        }
    }
}

/// A folder that counts and times what goes through it.
struct Counted {
    folder: Folder,
    syncs: Rc<Cell<u64>>,
    in_system: Rc<Cell<Duration>>,
}

impl Counted {
    fn timed<T>(&mut self, f: impl FnOnce(&mut Folder) -> T) -> T {
        let start = Instant::now();
        let result = f(&mut self.folder);
        self.in_system.set(self.in_system.get() + start.elapsed());
        result
    }
}

impl Storage for Counted {
    fn list(&self) -> io::Result<Vec<String>> {
        self.folder.list()
    }
    fn create(&mut self, name: &str) -> io::Result<()> {
        self.timed(|f| f.create(name))
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.timed(|f| f.append(name, bytes))
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.syncs.set(self.syncs.get() + 1);
        self.timed(|f| f.sync(name))
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        self.folder.truncate(name, len)
    }
    fn len(&self, name: &str) -> io::Result<u64> {
        self.folder.len(name)
    }
    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        self.folder.read(name, offset, length)
    }
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.timed(|f| f.rename(from, to))
    }
    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.folder.remove(name)
    }
    fn sync_dir(&mut self) -> io::Result<()> {
        self.syncs.set(self.syncs.get() + 1);
        self.timed(Folder::sync_dir)
    }
    fn close(&mut self, name: &str) {
        self.folder.close(name);
    }
    fn lock(&mut self, name: &str) -> io::Result<bool> {
        self.folder.lock(name)
    }
}

fn whole_run(name: &str, inputs: &[Input], policy: Policy) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run");
    let syncs = Rc::new(Cell::new(0));
    let in_system = Rc::new(Cell::new(Duration::ZERO));
    let disk = Counted {
        folder: Folder::create(&path).unwrap(),
        syncs: syncs.clone(),
        in_system: in_system.clone(),
    };
    let head = RunHead {
        format: 1,
        run_id: name.to_owned(),
        software: "bench".to_owned(),
        started_unix_ns: 0,
        started_utc: "1970-01-01T00:00:00Z".to_owned(),
        job: String::new(),
    };
    let samples = inputs
        .iter()
        .filter(|i| matches!(i, Input::Reading { .. } | Input::Received { .. }))
        .count() as f64;
    let start = Instant::now();
    let start_cpu = cpu();
    let mut writer = RunWriter::create(disk, &head, policy).unwrap();
    let mut now = 0;
    for input in inputs {
        writer.append(input).unwrap();
        let at = kerfwatch::recording::time_of(input);
        if at - now >= 100_000_000 {
            now = at;
            writer.turn(now).unwrap();
        }
    }
    let disk = writer.finish(now).unwrap();
    let wall = start.elapsed();
    let write_cpu = cpu() - start_cpu;
    drop(disk);

    let mut best = Duration::MAX;
    let mut best_columns = Duration::MAX;
    let mut bytes = 0;
    for _ in 0..5 {
        let start = cpu();
        let mut reader = RunReader::open(&path).unwrap();
        let mut count = 0_u64;
        reader.for_each_input(|input| {
            black_box(input);
            count += 1;
        });
        assert_eq!(count, inputs.len() as u64);
        best = best.min(cpu() - start);
        let start = cpu();
        let mut reader = RunReader::open(&path).unwrap();
        let mut sum = 0.0;
        reader.for_each_run(|run| match run {
            Run::Readings { value, .. } => sum += value.iter().sum::<f64>(),
            Run::One(input) => {
                black_box(input);
            }
        });
        black_box(sum);
        best_columns = best_columns.min(cpu() - start);
        assert!(reader.damage().is_empty());
        let store = reader.into_storage();
        bytes = store
            .list()
            .unwrap()
            .iter()
            .filter(|n| n.ends_with(".kwr"))
            .map(|n| store.len(n).unwrap())
            .sum();
    }

    let start = cpu();
    let mut csv = String::new();
    for input in inputs {
        match input {
            Input::Reading { channel, at, value } => {
                let t = *at as f64 * 1e-9;
                let _ = match channel {
                    ChannelId::Load => writeln!(csv, "{t},{value},"),
                    ChannelId::Depth => writeln!(csv, "{t},,{value}"),
                };
            }
            Input::Received { at, bytes, .. } => {
                let text = String::from_utf8_lossy(bytes);
                let _ = writeln!(csv, "{:.9},{}", *at as f64 * 1e-9, text.trim_end());
            }
            _ => {}
        }
    }
    let csv_write = cpu() - start;
    let start = cpu();
    let parsed = csv
        .lines()
        .flat_map(|l| l.split(','))
        .filter_map(|field| field.parse::<f64>().ok())
        .count();
    let csv_read = cpu() - start;
    black_box(parsed);
    println!(
        "{name:<38} {:>9.0} samples | {:.2} B/sample | CSV {:.1} B/sample | write {:.2} M/s by the clock ({:.1} s in {} syncs), {:.2} us CPU/sample | read {:.1} M/s, columns {:.1} M/s | CSV write {:.1} M/s, read {:.1} M/s",
        samples,
        bytes as f64 / samples,
        csv.len() as f64 / samples,
        samples / wall.as_secs_f64() / 1e6,
        in_system.get().as_secs_f64(),
        syncs.get(),
        write_cpu.as_secs_f64() * 1e6 / samples,
        samples / best.as_secs_f64() / 1e6,
        samples / best_columns.as_secs_f64() / 1e6,
        samples / csv_write.as_secs_f64() / 1e6,
        samples / csv_read.as_secs_f64() / 1e6,
    );
}

fn main() {
    codecs();
    println!("\nwhole runs, synced every second of the record, packed when closed");
    let policy = Policy::default();
    whole_run(
        "registers 50 Hz, 1 h, times 10 us",
        &polled(50.0, 3600.0),
        policy,
    );
    whole_run(
        "imported 50 Hz, 2 h, bulk",
        &imported(50.0, 7200.0),
        Policy::bulk(),
    );
    whole_run(
        "imported 1 kHz, 10 min, bulk",
        &imported(1000.0, 600.0),
        Policy::bulk(),
    );
    for (step, label) in [(1, "1 ns"), (10_000, "10 us"), (100_000, "100 us")] {
        let run = live(50.0, 3600.0, step);
        whole_run(&format!("frames 50 Hz, 1 h, times {label}"), &run, policy);
        let run = live(1000.0, 300.0, step);
        whole_run(&format!("frames 1 kHz, 5 min, times {label}"), &run, policy);
    }
    let unpacked = Policy {
        pack: false,
        ..policy
    };
    whole_run(
        "frames 50 Hz, 1 h, 10 us, unpacked",
        &live(50.0, 3600.0, 10_000),
        unpacked,
    );
    whole_run(
        "frames 1 kHz, 5 min, 10 us, unpacked",
        &live(1000.0, 300.0, 10_000),
        unpacked,
    );
    for block_entries in [2048, 4096, 16_384, 32_768] {
        let policy = Policy {
            block_entries,
            ..policy
        };
        whole_run(
            &format!("frames 1 kHz, 10 us, blocks of {block_entries}"),
            &live(1000.0, 300.0, 10_000),
            policy,
        );
    }
}
