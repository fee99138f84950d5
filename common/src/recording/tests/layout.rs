//! The bytes on disk, spelled out: a change here breaks old recordings and needs a new version number.

use crate::input::{ChannelId, Input};
use crate::recording::Derived;
use crate::recording::batch::Batch;
use crate::recording::layout::{BlockHeader, BlockKind, RunTag, SegmentHeader, Store, block};
use crate::recording::payload;
use crate::recording::text::Text;
use crate::result::{AlarmRecord, Direction, GrooveBin, Interval, State, Stroke};

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

#[test]
fn the_worked_example_of_a_segment_header_is_what_is_written() {
    let header = SegmentHeader {
        store: Store::Raw,
        packed: false,
        number: 1,
        tag: RunTag::of("example"),
        first_entry: 258,
        opened_at: -1,
    };
    let bytes = header.to_bytes();
    assert_eq!(
        hex(&bytes),
        "4b575245434f5244010000000100000050d858e0985ecc7f60418aaf0cc5ab580201000000000000ffffffffffffffff000000002012635e"
    );
    assert_eq!(SegmentHeader::from_bytes(&bytes), Some(header));
}

#[test]
fn the_worked_example_of_a_block_is_what_is_written() {
    let salt = RunTag::of("example").salt();
    let bytes = block(BlockKind::End, 258, 0, &[], salt);
    assert_eq!(
        hex(&bytes),
        "4b57420105020000000000000000000002010000000000009f0b1e450dcaf8d9"
    );
    let header = BlockHeader::from_bytes(&bytes, salt).unwrap();
    assert_eq!((header.kind, header.sequence), (BlockKind::End, 258));
    assert!(BlockHeader::from_bytes(&bytes, salt ^ 1).is_none());
}

/// A payload as this version writes it; the reader must go on reading it for ever.
const READINGS: &str = "000600010001000102000000fc005a620201000100fb72602800060000fc005a620200";

#[test]
fn a_payload_of_readings_written_by_this_version_is_read() {
    let mut batch = Batch::default();
    for (at, value) in [(0, 1234.5), (20_000_000, 1236.5), (40_000_000, 1238.5)] {
        batch.push(&Input::Reading {
            channel: ChannelId::Load,
            at,
            value,
        });
        batch.push(&Input::Tick { at });
    }
    assert_eq!(hex(&batch.encode().unwrap()), READINGS);
    let bytes: Vec<u8> = (0..READINGS.len())
        .step_by(2)
        .map(|i| u8::from_str_radix(&READINGS[i..i + 2], 16).unwrap())
        .collect();
    assert!(Batch::decode(&bytes, 6).unwrap().same_as(&batch));
}

#[test]
fn the_shape_of_derived_records_has_not_changed() {
    let records = [
        Derived::Stroke(Stroke {
            n: 1,
            direction: Direction::Up,
            start_s: 1.0,
            end_s: 2.0,
            top_m: 3.0,
            bottom_m: 4.0,
            tool_travel_m: 5.0,
            mean_drag_n: 6.0,
            peak_tension_n: 7.0,
            cut_work_j: 8.0,
            engaged_m: 9.0,
        }),
        Derived::Interval(Interval {
            state: State::Cutting,
            start_s: 1.0,
            end_s: 2.0,
            depth_m: None,
        }),
        Derived::Alarm {
            at_s: 1.0,
            state: "latched".to_owned(),
            record: AlarmRecord {
                kind: "overpull".to_owned(),
                level: "high".to_owned(),
                raised_s: 1.0,
                cleared_s: None,
                peak_n: Some(2.0),
            },
        },
        Derived::Groove {
            at_s: 1.0,
            bins: vec![GrooveBin {
                top_m: 1.0,
                bottom_m: 2.0,
                depth_mm: 3.0,
                low_mm: 4.0,
                high_mm: 5.0,
                wall_mm: 6.0,
                passes: 7,
                through: true,
                through_probability: 0.5,
                coupling: false,
            }],
        },
    ];
    // The encoding is by position: a field added, removed or moved in the result types needs a new payload
    // version (`payload::VERSION`) and a way to read the old one.
    let rows = payload::encode_shared(&records.as_slice()).unwrap();
    assert_eq!(
        hex(&rows),
        "04000100000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400000000000001c40000000000000204000000000000022400102000000000000f03f000000000000004002000000000000f03f076c617463686564086f76657270756c6c0468696768000000000000f03f0001000000000000004003000000000000f03f01000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400701000000000000e03f00"
    );
}

/// Eight frames of the bytes 1, 3 and their check, as runs of encoding 1 have them.
const OLD_RECORDS: &str = "02080102000200000600";

#[test]
fn frames_of_older_runs_are_read() {
    let bytes: Vec<u8> = (0..OLD_RECORDS.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&OLD_RECORDS[at..at + 2], 16).unwrap())
        .collect();
    let text: Text = payload::decode(&bytes).unwrap();
    let sum = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&[1, 3]);
    let [low, high] = sum.to_le_bytes();
    assert_eq!(text.decode(32).unwrap(), [1, 3, low, high].repeat(8));
    assert!(payload::is_known(1) && payload::is_known(2) && !payload::is_known(3));
}
