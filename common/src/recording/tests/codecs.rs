//! Whatever goes into a column, a text or a batch comes out the same.

use super::disk::Seeded;
use crate::input::{ChannelId, Input, Mark, MarkKind};
use crate::recording::batch::Batch;
use crate::recording::column::{Bytes, IntColumn, ReadingColumn};
use crate::recording::polled::Polled;
use crate::recording::text::Text;
use crate::recording::{fuzz_blocks, fuzz_payload, fuzz_segment};
use proptest::collection::vec;
use proptest::prelude::*;

fn line() -> impl Strategy<Value = Vec<u8>> {
    let number =
        (any::<i32>(), 0_usize..4, 0_usize..10, 0..5_u8).prop_map(|(n, places, width, style)| {
            let value = f64::from(n) / 100.0;
            match style {
                0 => format!("{value:+0width$.places$}"),
                1 => format!("{value:width$.places$}"),
                2 => format!("{value:0width$.places$}"),
                3 => format!("{:X}*{:02X}", n, n & 255),
                _ => format!(
                    "$A,{n}*{:02X}",
                    format!("A,{n}").bytes().fold(0, |a, b| a ^ b)
                ),
            }
        });
    (
        vec(number, 0..4),
        prop::sample::select(vec!["\r\n", "\n", "", ",", " \n", "*5A\r\n"]),
    )
        .prop_map(|(numbers, end)| format!("{}{end}", numbers.join(",")).into_bytes())
}

fn input() -> impl Strategy<Value = Input> {
    let at = prop_oneof![any::<i64>(), 0..10_000_000_000_i64];
    let polled = (1..4_u8, any::<u16>(), any::<bool>()).prop_map(|(unit, value, right)| {
        let [high, low] = value.to_be_bytes();
        let mut frame = with_check(vec![unit, 3, 2, high, low]);
        frame[6] ^= u8::from(!right);
        frame
    });
    let bytes = prop_oneof![vec(any::<u8>(), 0..20), line(), polled];
    let kind = prop_oneof![
        Just(MarkKind::CutterIn),
        any::<String>().prop_map(MarkKind::Note),
        any::<f64>().prop_map(MarkKind::Zero),
        any::<String>().prop_map(MarkKind::AlarmsBefore),
        any::<String>().prop_map(MarkKind::DaemonAlarm),
        (any::<String>(), any::<f64>()).prop_map(|(k, s)| MarkKind::Shelve(k, s)),
    ];
    (
        0..7_u8,
        any::<u8>(),
        at,
        bytes,
        any::<f64>(),
        kind,
        any::<bool>(),
    )
        .prop_map(|(which, port, at, bytes, value, kind, open)| match which {
            0 => Input::Received { port, at, bytes },
            1 => Input::Sent { port, at, bytes },
            2 => Input::Reading {
                channel: ChannelId::Load,
                at,
                value,
            },
            3 => Input::Reading {
                channel: ChannelId::Depth,
                at,
                value,
            },
            4 => Input::Mark {
                at,
                mark: Mark {
                    kind,
                    author: "x".to_owned(),
                },
            },
            5 => Input::Port { port, at, open },
            _ => Input::Tick { at },
        })
}

fn batch_of(inputs: &[Input]) -> Batch {
    let mut batch = Batch::default();
    for input in inputs {
        if batch.accepts(input) {
            batch.push(input);
        }
    }
    batch
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn integer_columns_come_back(values in prop_oneof![
        vec(any::<i64>(), 0..300),
        (any::<i64>(), -1000..1000_i64, vec(-50..50_i64, 0..300)).prop_map(|(first, step, noise)| {
            let mut at = first;
            noise.iter().map(|n| { at = at.wrapping_add(step); at.wrapping_add(n * 1000) }).collect()
        }),
    ]) {
        let column = IntColumn::encode(&values);
        prop_assert_eq!(column.decode(values.len()).unwrap(), values);
    }

    #[test]
    fn reading_columns_come_back_bit_for_bit(values in prop_oneof![
        vec(any::<u64>().prop_map(f64::from_bits), 0..300),
        (0..10_u8, vec(any::<i32>(), 0..300)).prop_map(|(places, n)| {
            n.iter().map(|n| format!("{n}e-{places}").parse().unwrap()).collect()
        }),
        vec(prop_oneof![40 => (0..5000_i32).prop_map(|n| f64::from(n) / 10.0), 1 => any::<f64>()], 0..400),
    ]) {
        let back = ReadingColumn::encode(&values).decode(values.len()).unwrap();
        let bits = |v: &[f64]| v.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        prop_assert_eq!(bits(&back), bits(&values));
    }

    #[test]
    fn bytes_and_text_come_back(bytes in prop_oneof![
        vec(any::<u8>(), 0..500),
        vec(line(), 0..60).prop_map(|l| l.concat()),
        vec(prop::sample::select(b"+-0123456789. *$A\n".to_vec()), 0..300),
    ]) {
        prop_assert_eq!(&Bytes::encode(&bytes).decode(bytes.len()).unwrap(), &bytes);
        let others = [None, Some(0), Some(1), Some(9), Some(bytes.len())];
        let others = others.map(|width| Text::other(&bytes, width));
        for text in others.into_iter().chain(Text::lines(&bytes)) {
            prop_assert_eq!(&text.decode(bytes.len()).unwrap(), &bytes);
            prop_assert!(bytes.is_empty() || text.decode(bytes.len() - 1).is_err());
        }
    }

    #[test]
    fn batches_come_back_in_order(inputs in vec(input(), 0..120)) {
        let batch = batch_of(&inputs);
        let back = Batch::decode(&batch.encode().unwrap(), batch.len()).unwrap();
        prop_assert!(back.same_as(&batch));
        let mut number = 0;
        back.for_each(|input| {
            assert!(batch_of(std::slice::from_ref(input)).same_as(&batch_of(&inputs[number..=number])));
            number += 1;
        });
        prop_assert_eq!(number, inputs.len());
    }

    #[test]
    fn any_bytes_may_be_read(bytes in vec(any::<u8>(), 0..400)) {
        fuzz_segment(&bytes);
        fuzz_payload(&bytes);
        fuzz_blocks(&bytes);
    }
}

#[test]
fn decimal_readings_are_stored_as_whole_numbers() {
    let values: Vec<f64> = (0..1000).map(|i| f64::from(i * i % 997) / 10.0).collect();
    assert!(matches!(
        ReadingColumn::encode(&values),
        ReadingColumn::Decimal { places: 1, .. }
    ));
}

#[test]
fn lines_of_common_instruments_become_numbers_and_a_right_check_costs_nothing() {
    let mut bytes = Vec::new();
    let mut checked = Vec::new();
    for i in 0..1000_u32 {
        let tension = 1234 + i * 7919 % 400;
        bytes.extend(format!("+{:05}.{}\r\n", tension / 10, tension % 10).into_bytes());
        let body = format!("LT,{:>6}.{},N", tension / 10, tension % 10);
        let check = body.bytes().fold(0, |a, b| a ^ b);
        checked.extend(format!("${body}*{check:02X}\r\n").into_bytes());
    }
    for text in [bytes, checked] {
        let packed = crate::recording::payload::encode(&Text::lines(&text)).unwrap();
        assert!(packed.len() < 1400, "{} bytes for 1000 lines", packed.len());
    }
}

fn with_check(mut frame: Vec<u8>) -> Vec<u8> {
    let check = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&frame);
    frame.extend(check.to_le_bytes());
    frame
}

/// Two devices asked in turn; the value of each is uniform over 200 counts: 7.6 bits.
fn answers(count: usize) -> Vec<Vec<u8>> {
    let mut dice = Seeded(4);
    let mut answer = |n: usize| {
        let start = [35_000_u32, 2_000_000][n % 2];
        let mut frame = vec![1 + (n % 2) as u8, 3, 4];
        frame.extend((start + dice.below(200) as u32).to_be_bytes());
        with_check(frame)
    };
    (0..count).map(&mut answer).collect()
}

fn size(polled: &Polled) -> usize {
    crate::recording::payload::encode(polled).unwrap().len()
}

#[test]
fn polled_register_answers_cost_what_their_value_is_worth() {
    let frames = answers(4000);
    let at: Vec<i64> = (0..4000).map(|n| n * 10_000_000).collect();
    let (polled, times) = Polled::encode(&frames.concat(), &[9; 4000], &at).unwrap();
    assert_eq!(polled.decode(36_000).unwrap(), frames.concat());
    assert!(polled.decode(35_999).is_err());
    assert_eq!(polled.times(&times, 4000).unwrap(), at);
    assert!(
        size(&polled) < 4200,
        "{} bytes for 4000 frames",
        size(&polled)
    );
}

#[test]
fn wrong_checks_torn_frames_and_noise_cost_little_and_come_back() {
    let mut frames = answers(4000);
    frames[70][8] ^= 1;
    frames[900].truncate(4);
    frames.insert(2000, b"\x00\n+12.5".to_vec());
    frames.insert(3000, with_check(vec![1, 0x83, 2]));
    let bytes = frames.concat();
    // However the bytes were cut on the way.
    let mut cut = vec![7_i64; bytes.len() / 7];
    cut.push((bytes.len() % 7) as i64);
    let whole: Vec<i64> = frames.iter().map(|frame| frame.len() as i64).collect();
    for lengths in [whole, cut] {
        let at: Vec<i64> = (0..lengths.len() as i64).map(|n| n * n).collect();
        let (polled, times) = Polled::encode(&bytes, &lengths, &at).unwrap();
        assert_eq!(polled.decode(bytes.len()).unwrap(), bytes);
        assert_eq!(polled.times(&times, at.len()).unwrap(), at);
        assert!(polled.times(&times, at.len() + 1).is_err());
        assert!(size(&polled) < 4500, "{} bytes", size(&polled));
    }
    let noise: Vec<u8> = (0..400_u32).map(|n| (n * n % 251) as u8).collect();
    assert!(Polled::encode(&noise, &[400], &[0]).is_none());
    assert!(Polled::encode(&[], &[], &[]).is_some_and(|(p, _)| p.decode(0).is_ok()));
}

#[test]
fn mangled_payloads_and_segments_never_panic() {
    let mut dice = Seeded(9);
    let mut inputs = super::roundtrip::mixed(300);
    for (at, bytes) in (0..).zip(answers(40)) {
        inputs.push(Input::Received { port: 9, at, bytes });
    }
    let payload = batch_of(&inputs).encode().unwrap();
    for _ in 0..super::histories::count("KERFWATCH_MANGLED", 3000) {
        let mut mangled = payload.clone();
        for _ in 0..1 + dice.below(4) {
            let at = dice.below(mangled.len() as u64) as usize;
            mangled[at] = dice.next() as u8;
        }
        if dice.one_in(4) {
            mangled.truncate(dice.below(mangled.len() as u64) as usize);
        }
        fuzz_payload(&mangled);
    }
}
