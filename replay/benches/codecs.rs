//! Codecs on the columns of the committed runs, by bytes and processor time:
//! `cargo bench -p kerfwatch-replay --bench codecs`.
//!
//! Columns of `fixtures/` as whole numbers of their last decimal place, and arrival times of a 1 kHz instrument with an
//! invented jitter of 60 us, as the fixtures were imported and have none. *delta+* codes differences of neighbours, eight
//! bytes each; `pco` finds the order of differences itself. What the recording uses is `pco` at level 8.
#![allow(missing_docs)]

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::recording::RunReader;
use std::hint::black_box;
use std::path::Path;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

fn cpu() -> Duration {
    static START: LazyLock<Instant> = LazyLock::new(Instant::now);
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse().ok())
        .map_or_else(|| START.elapsed(), Duration::from_nanos)
}

/// ns for each number; repeats until the coarse processor clock has something to tell.
fn ns_each(numbers: f64, mut f: impl FnMut()) -> f64 {
    let start = cpu();
    let mut turns = 0.0;
    while cpu() - start < Duration::from_millis(60) {
        f();
        turns += 1.0;
    }
    (cpu() - start).as_nanos() as f64 / numbers / turns
}

fn differences(values: &[i64]) -> Vec<u8> {
    let mut last = 0;
    let mut out = Vec::with_capacity(values.len() * 8);
    for value in values {
        out.extend((value - last).to_le_bytes());
        last = *value;
    }
    out
}

fn undone(bytes: &[u8]) -> Vec<i64> {
    let mut last = 0;
    let words = bytes.as_chunks::<8>().0.iter();
    words
        .map(|word| {
            last += i64::from_le_bytes(*word);
            last
        })
        .collect()
}

type Encode = fn(&[i64]) -> Vec<u8>;
type Decode = fn(&[u8], usize) -> Vec<i64>;

fn zstd_at<const LEVEL: i32>(values: &[i64]) -> Vec<u8> {
    zstd::bulk::compress(&differences(values), LEVEL).unwrap()
}

fn pco_at<const LEVEL: usize>(values: &[i64]) -> Vec<u8> {
    let config = pco::ChunkConfig::default().with_compression_level(LEVEL);
    pco::standalone::simple_compress(values, &config).unwrap()
}

fn unzstd(bytes: &[u8], count: usize) -> Vec<i64> {
    undone(&zstd::bulk::decompress(bytes, count * 8).unwrap())
}

fn unpco(bytes: &[u8], count: usize) -> Vec<i64> {
    let mut out = vec![0; count];
    pco::standalone::simple_decompress_into(bytes, &mut out).unwrap();
    out
}

const CODECS: [(&str, Encode, Decode); 7] = [
    ("delta+zstd 1", zstd_at::<1>, unzstd),
    ("delta+zstd 3", zstd_at::<3>, unzstd),
    ("delta+zstd 12", zstd_at::<12>, unzstd),
    (
        "delta+lz4",
        |values| lz4_flex::compress(&differences(values)),
        |bytes, count| undone(&lz4_flex::decompress(bytes, count * 8).unwrap()),
    ),
    ("pco 4", pco_at::<4>, unpco),
    ("pco 8", pco_at::<8>, unpco),
    ("pco 12", pco_at::<12>, unpco),
];

/// Load in 0.1 N, depth in mm, time in us, of a committed run.
fn columns(name: &str) -> [(String, Vec<i64>); 3] {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures")
        .join(name);
    let (mut load, mut depth, mut times) = (Vec::new(), Vec::new(), Vec::new());
    RunReader::open(folder).unwrap().for_each_input(|input| {
        if let Input::Reading { channel, at, value } = input {
            match channel {
                ChannelId::Load => {
                    load.push((value * 10.0).round() as i64);
                    times.push(at / 1000);
                }
                ChannelId::Depth => depth.push((value * 1000.0).round() as i64),
            }
        }
    });
    [
        (format!("{name} load"), load),
        (format!("{name} depth"), depth),
        (format!("{name} time"), times),
    ]
}

/// Arrival times at 1 kHz in steps of 10 us, as the daemon stamps them; jitter from a fixed seed.
fn arrivals() -> Vec<i64> {
    let mut state = 3_u64;
    let mut unit = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut normal = || (0..12).map(|_| unit()).sum::<f64>() - 6.0;
    (0..65_536)
        .map(|i| i * 100 + (6.0 * normal()) as i64)
        .collect()
}

fn main() {
    let runs = ["brindlemoor-4", "deepwhistle-2"];
    let mut all: Vec<_> = runs.iter().flat_map(|name| columns(name)).collect();
    all.push(("arrival, jitter 60 us".to_owned(), arrivals()));
    print!("{:<32}", "bytes | encode ns | decode ns");
    CODECS.iter().for_each(|(name, ..)| print!(" | {name:>16}"));
    println!();
    for (name, values) in &all {
        for block in [100, 1000, 8192] {
            print!("{name:<22} by {block:>4}  ");
            for (_, encode, decode) in &CODECS {
                let blocks: Vec<&[i64]> = values.chunks(block).collect();
                let packed: Vec<Vec<u8>> = blocks.iter().map(|b| encode(b)).collect();
                for (bytes, block) in packed.iter().zip(&blocks) {
                    assert_eq!(decode(bytes, block.len()), *block);
                }
                let numbers = values.len() as f64;
                let encode_ns = ns_each(numbers, || {
                    blocks
                        .iter()
                        .for_each(|block| drop(black_box(encode(block))));
                });
                let decode_ns = ns_each(numbers, || {
                    for (bytes, block) in packed.iter().zip(&blocks) {
                        black_box(decode(bytes, block.len()));
                    }
                });
                let size: usize = packed.iter().map(Vec::len).sum();
                print!(
                    " | {:>5.2} {encode_ns:>5.0} {decode_ns:>4.0}",
                    size as f64 / numbers
                );
            }
            println!();
        }
    }
}
