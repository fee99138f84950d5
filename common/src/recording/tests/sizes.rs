//! At most three bytes for each sample on disk, whatever the instruments speak.
//!
//! Invented data: strokes with waves, noise of 20 N read to 0.1 N, depth to a millimetre, arrival times with a jitter of
//! 60 us. `cargo bench -p kerfwatch-replay --bench recording` prints the figures of longer runs.

use super::disk::{FaultyDisk, Seeded};
use super::roundtrip::head;
use crate::input::{ChannelId, Input};
use crate::recording::{Policy, RunReader, RunWriter, Verification, time_of};
use crate::time::quantise_arrival;

const MILLISECOND: i64 = 1_000_000;

struct Well(Seeded);

impl Well {
    fn normal(&mut self) -> f64 {
        let unit = |dice: &mut Seeded| (dice.next() >> 11) as f64 / (1_u64 << 53) as f64;
        (0..12).map(|_| unit(&mut self.0)).sum::<f64>() - 6.0
    }

    fn at(&mut self, nominal: i64) -> i64 {
        quantise_arrival(nominal + (60_000.0 * self.normal()) as i64)
    }

    /// Tension in N and line paid out in m.
    fn state(&mut self, at: i64) -> (f64, f64) {
        let t = at as f64 * 1e-9;
        let phase = (t / 48.0).fract();
        let (depth, way) = if phase < 0.5 {
            (2000.0 + 24.0 * phase, -1.0)
        } else {
            (2024.0 - 24.0 * phase, 1.0)
        };
        let wave = 60.0 * (t * 5.0).sin();
        (3500.0 + 600.0 * way + wave + 20.0 * self.normal(), depth)
    }
}

/// Ends the run and reads it back.
fn recorded(inputs: &[Input]) -> Verification {
    let disk = FaultyDisk::default();
    let mut writer = RunWriter::create(disk.clone(), &head("s"), Policy::default()).unwrap();
    for input in inputs {
        writer.append(input).unwrap();
        writer.turn(time_of(input)).unwrap();
    }
    writer.finish(inputs.last().map_or(0, time_of)).unwrap();
    let mut reader = RunReader::new(disk).unwrap();
    assert!(reader.inputs().eq(inputs.iter().cloned()));
    reader.verify(i64::MAX)
}

fn bytes_per_sample(inputs: &[Input]) -> f64 {
    let check = recorded(inputs);
    check.bytes as f64 / check.samples as f64
}

/// Each answer comes with a question, whose time is on record too.
#[test]
fn polled_registers_take_at_most_three_bytes_a_sample() {
    let sums = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS);
    let with_sum = |mut frame: Vec<u8>| {
        frame.extend(sums.checksum(&frame).to_le_bytes());
        frame
    };
    let mut well = Well(Seeded(5));
    let mut inputs = Vec::new();
    // Both instruments on one line, each asked 50 times a second; a sample is an answer, its question comes on top.
    for n in 0..12_000 {
        let start = n * 20 * MILLISECOND;
        let (load, depth) = well.state(start);
        for (unit, value, after) in [(1, load * 10.0, 1), (2, depth * 1000.0, 9)] {
            inputs.push(Input::Sent {
                port: 0,
                at: well.at(start + after * MILLISECOND),
                bytes: with_sum(vec![unit, 3, 0, 0, 0, 2]),
            });
            let mut answer = vec![unit, 3, 4];
            answer.extend((value.round() as u32).to_be_bytes());
            inputs.push(Input::Received {
                port: 0,
                at: well.at(start + (after + 4) * MILLISECOND),
                bytes: with_sum(answer),
            });
        }
    }
    let size = bytes_per_sample(&inputs);
    assert!(size <= 3.0, "{size}");
}

#[test]
fn lines_take_at_most_three_bytes_a_sample() {
    let mut well = Well(Seeded(6));
    let mut inputs = Vec::new();
    for n in 0..20_000 {
        let start = n * MILLISECOND;
        let (load, depth) = well.state(start);
        inputs.push(Input::Received {
            port: 0,
            at: well.at(start + 300_000),
            bytes: format!("{load:+08.1}\r\n").into_bytes(),
        });
        inputs.push(Input::Received {
            port: 1,
            at: well.at(start + 700_000),
            bytes: format!("$LT,{depth:>9.3},M\r\n").into_bytes(),
        });
    }
    let size = bytes_per_sample(&inputs);
    assert!(size <= 3.0, "{size}");
}

#[test]
fn imported_readings_take_at_most_three_bytes_a_sample() {
    let mut well = Well(Seeded(7));
    let mut inputs = Vec::new();
    for n in 0..20_000 {
        let at = n * 20 * MILLISECOND;
        let (load, depth) = well.state(at);
        for (channel, value) in [
            (ChannelId::Load, (load * 10.0).round() / 10.0),
            (ChannelId::Depth, (depth * 1000.0).round() / 1000.0),
        ] {
            inputs.push(Input::Reading { channel, at, value });
        }
    }
    let size = bytes_per_sample(&inputs);
    assert!(size <= 3.0, "{size}");
}
