//! Decoding and calibration, per second of one core: `cargo bench -p kerfwatch --bench decode`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use kerfwatch::calibrate::Demands;
use kerfwatch::calibrate::channel::{Arriving, Channel};
use kerfwatch::decode::packet::{Packet, PacketDecoder};
use kerfwatch::decode::pattern::PatternDecoder;
use kerfwatch::input::ChannelId;
use kerfwatch::job::{print_default_job, read_job};
use std::hint::black_box;

const FRAMES: u32 = 10_000;

fn lines(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("lines");
    group.throughput(Throughput::Elements(u64::from(FRAMES)));
    let text: String = (0..FRAMES)
        .map(|n| format!("ST,GS,+{:8}.5 lbf\r\n", 2000 + n % 700))
        .collect();
    for (name, pattern) in [
        ("anchored", r"^(ST|US),GS,(?<load>[-+ .\d]+) lbf$"),
        ("searched", r"(?<load>[-+]?\s*[.\d]+) lbf"),
    ] {
        let mut decoder = PatternDecoder::new(&[(ChannelId::Load, pattern)]).unwrap();
        group.bench_function(name, |timer| {
            timer.iter(|| {
                let mut sum = 0.0;
                for chunk in text.as_bytes().chunks(512) {
                    decoder.push(0, black_box(chunk), &mut |reading| sum += reading.raw);
                }
                sum
            });
        });
    }
    let both: String = (0..FRAMES)
        .map(|n| format!("{n};{}.5;{}.25\r\n", 2000 + n % 700, 812 + n % 90))
        .collect();
    let pattern = r"^(?<seq>\d+);(?<load>[-.\d]+);(?<depth>[-.\d]+)$";
    let channels = [(ChannelId::Load, pattern), (ChannelId::Depth, pattern)];
    let mut decoder = PatternDecoder::new(&channels).unwrap();
    group.bench_function("both channels", |timer| {
        timer.iter(|| {
            let mut sum = 0.0;
            for chunk in both.as_bytes().chunks(512) {
                decoder.push(0, black_box(chunk), &mut |reading| sum += reading.raw);
            }
            sum
        });
    });
    group.finish();
}

fn packets(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("packets");
    group.throughput(Throughput::Elements(u64::from(FRAMES)));
    let mut bytes = Vec::new();
    for seq in 0..FRAMES {
        Packet::new(seq, Some(f64::from(seq) * 0.37), Some(812.5)).encode(&mut bytes);
    }
    let mut decoder = PacketDecoder::new(&[ChannelId::Load, ChannelId::Depth]);
    group.bench_function("both channels", |timer| {
        timer.iter(|| {
            let mut sum = 0.0;
            decoder.push(0, black_box(&bytes), &mut |reading| sum += reading.raw);
            sum
        });
    });
    group.finish();
}

fn readings(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("calibrate");
    group.throughput(Throughput::Elements(u64::from(FRAMES)));
    let job = read_job(print_default_job(), "job.toml").unwrap().job;
    let demands = Demands::of(&job, ChannelId::Load);
    let mut channel = Channel::new(ChannelId::Load, demands);
    let mut at = 0;
    group.bench_function("one channel", |timer| {
        timer.iter(|| {
            let mut usable = 0_u64;
            for n in 0..FRAMES {
                at += 1_000_000;
                let value = 2000.0 + f64::from(n * 7919 % 61);
                let arriving = Arriving {
                    at,
                    raw: Some(black_box(value)),
                    value,
                    seq: None,
                };
                channel.push(arriving, &mut |reading| {
                    usable += u64::from(reading.flags.usable());
                });
            }
            usable
        });
    });
    group.finish();
}

criterion_group!(benches, lines, packets, readings);
criterion_main!(benches);
