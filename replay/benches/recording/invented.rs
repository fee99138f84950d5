//! Invented inputs from fixed seeds: readings, text instruments, polled registers.

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::time::{nanos, quantise_arrival};

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

pub(crate) fn imported(rate: f64, seconds: f64) -> Vec<Input> {
    let mut noise = Seeded(1);
    let mut inputs = Vec::new();
    for i in 0..(rate * seconds) as u64 {
        let t = i as f64 / rate;
        let at = nanos(t).unwrap();
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
pub(crate) fn live(rate: f64, seconds: f64, step: i64) -> Vec<Input> {
    let mut noise = Seeded(2);
    let mut inputs: Vec<(i64, Input)> = Vec::new();
    let round = |t: f64| (nanos(t).unwrap() + step / 2).div_euclid(step) * step;
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
pub(crate) fn polled(rate: f64, seconds: f64) -> Vec<Input> {
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
                quantise_arrival(nanos(at).unwrap())
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
