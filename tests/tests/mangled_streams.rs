//! Byte streams of a bad line through every decoder: a frame that came through whole is read, and
//! where there is a checksum nothing else ever is.

use kerfwatch::decode::modbus_rtu::{Bus, ModbusDecoder};
use kerfwatch::decode::packet::{Packet, PacketDecoder};
use kerfwatch::decode::pattern::PatternDecoder;
use kerfwatch::decode::{RawReading, crc16};
use kerfwatch::input::ChannelId;
use kerfwatch::job::{ModbusRegister, RegisterKind};
use kerfwatch_tests::mangle::{Dice, chunks, mangle};

const SEEDS: u64 = 200;

/// A frame, its number, and whether it came through untouched, its end and that of the one before
/// included.
fn whole(lengths: &[usize], intact: &[bool]) -> Vec<u64> {
    let mut from = 0;
    let mut before_whole = true;
    let mut numbers = Vec::new();
    for (number, length) in lengths.iter().enumerate() {
        let this = &intact[from..from + length];
        if before_whole && this.iter().all(|&kept| kept) {
            numbers.push(number as u64);
        }
        before_whole = this.last().copied().unwrap_or(false);
        from += length;
    }
    numbers
}

#[test]
fn packets_of_a_bad_line_are_read_whole_or_not_at_all() {
    for seed in 0..SEEDS {
        let mut dice = Dice::new(seed);
        let (mut clean, mut lengths) = (Vec::new(), Vec::new());
        for number in 0..300_u32 {
            let before = clean.len();
            Packet::new(number, Some(f64::from(number) * 0.5), None).encode(&mut clean);
            lengths.push(clean.len() - before);
        }
        let (bytes, intact) = mangle(&clean, 150, &mut dice);
        let mut decoder = PacketDecoder::new(&[ChannelId::Load]);
        let mut got: Vec<RawReading> = Vec::new();
        for chunk in chunks(&bytes, &mut dice) {
            decoder.push(0, chunk, &mut |reading| got.push(reading));
        }
        let read: Vec<u64> = got.iter().filter_map(|reading| reading.seq).collect();
        for reading in &got {
            let number = reading.seq.unwrap();
            assert_eq!(
                reading.raw,
                number as f64 * 0.5,
                "seed {seed}: a false reading"
            );
        }
        for number in whole(&lengths, &intact) {
            assert!(
                read.contains(&number),
                "seed {seed}: packet {number} was lost"
            );
        }
        assert!(
            decoder.counts().bad > 0,
            "seed {seed}: the damage went unnoticed"
        );
    }
}

#[test]
fn lines_that_come_through_whole_are_read() {
    for seed in 0..SEEDS {
        let mut dice = Dice::new(seed);
        let (mut clean, mut lengths) = (Vec::new(), Vec::new());
        for number in 0..300_u64 {
            let line = format!("LOAD {:.1} lbf #{number}\r\n", number as f64 * 0.5);
            lengths.push(line.len());
            clean.extend_from_slice(line.as_bytes());
        }
        let (bytes, intact) = mangle(&clean, 150, &mut dice);
        let pattern = r"^LOAD (?<load>[-+.\d]+) lbf #(?<seq>\d+)$";
        let mut decoder = PatternDecoder::new(&[(ChannelId::Load, pattern)]).unwrap();
        let mut read: Vec<(u64, f64)> = Vec::new();
        for chunk in chunks(&bytes, &mut dice) {
            decoder.push(0, chunk, &mut |reading| {
                read.push((reading.seq.unwrap_or(u64::MAX), reading.raw));
            });
        }
        for number in whole(&lengths, &intact) {
            let expected = (number, number as f64 * 0.5);
            assert!(
                read.contains(&expected),
                "seed {seed}: line {number} was lost"
            );
        }
        let counts = decoder.counts();
        assert_eq!(counts.good, read.len() as u64);
        assert!(counts.bad > 0, "seed {seed}: the damage went unnoticed");
    }
}

#[test]
fn modbus_answers_of_a_bad_line_never_give_a_false_value() {
    let register = ModbusRegister {
        unit: 17,
        function: 3,
        register: 100,
        kind: RegisterKind::I32,
        swap_words: false,
        poll_hz: 10.0,
    };
    let bus = Bus::new(&[(ChannelId::Load, &register)], 9600);
    let request = bus.polls[0].request;
    for seed in 0..SEEDS {
        let mut dice = Dice::new(seed);
        let mut decoder = ModbusDecoder::new(bus.clone());
        let (mut clean_answers, mut good) = (0, 0);
        for number in 0..300_u32 {
            decoder.sent(0, &request);
            let mut answer = vec![17, 3, 4];
            answer.extend_from_slice(&number.to_be_bytes());
            let checksum = crc16::modbus(&answer).to_le_bytes();
            answer.extend_from_slice(&checksum);
            let (bytes, intact) = mangle(&answer, 30, &mut dice);
            clean_answers += u64::from(intact.iter().all(|&kept| kept));
            for chunk in chunks(&bytes, &mut dice) {
                decoder.push(1, chunk, &mut |reading| {
                    assert_eq!(
                        reading.raw,
                        f64::from(number),
                        "seed {seed}: a false reading"
                    );
                    good += 1;
                });
            }
        }
        decoder.sent(2, &request);
        assert!(good >= clean_answers, "seed {seed}");
        assert_eq!(decoder.counts().good, good);
        assert_eq!(decoder.counts().good + decoder.counts().bad, 300);
    }
}
