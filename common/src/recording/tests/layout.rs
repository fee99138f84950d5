//! The bytes on disk, spelled out: a change here breaks old recordings and needs a new version number.

use crate::input::{ChannelId, Input};
use crate::recording::batch::Batch;
use crate::recording::column::Bytes;
use crate::recording::derived;
use crate::recording::layout::{BlockHeader, BlockKind, RunTag, SegmentHeader, Store, block};
use crate::recording::payload;
use crate::recording::text::Text;
use crate::recording::{Derived, RunReader};
use crate::result::{AlarmRecord, Direction, GrooveBin, Interval, State, Stroke};

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
        .collect()
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
    assert!(Batch::decode(&bytes(READINGS), 6).unwrap().same_as(&batch));
}

/// The decisions below as runs of encoding 2 have them, and as this version writes them: what the alarm is about comes
/// after all else of it.
const OLD_DECISIONS: &str = "04000100000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400000000000001c40000000000000204000000000000022400102000000000000f03f000000000000004002000000000000f03f076c617463686564086f76657270756c6c0468696768000000000000f03f0001000000000000004003000000000000f03f01000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400701000000000000e03f00";
const NEWEST_DECISIONS: &str = "04000100000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400000000000001c40000000000000204000000000000022400102000000000000f03f000000000000004002000000000000f03f076c617463686564086f76657270756c6c0468696768000000000000f03f000100000000000000400003000000000000f03f01000000000000f03f000000000000004000000000000008400000000000001040000000000000144000000000000018400701000000000000e03f00";

#[test]
fn the_shape_of_derived_records_has_not_changed() {
    let mut records = [
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
                about: None,
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
    // The encoding is by position: a field added, removed or moved in the result types needs a new number of the
    // payload's encoding and a way to read the old one.
    let rows = derived::rows(&records).unwrap();
    assert_eq!(hex(&rows), NEWEST_DECISIONS);
    assert_eq!(derived::from_rows(&rows, 3).unwrap(), records);
    assert_eq!(
        derived::from_rows(&bytes(OLD_DECISIONS), 2).unwrap(),
        records
    );
    // An instrument has to be named.
    if let Derived::Alarm { record, .. } = &mut records[2] {
        record.about = Some("load".to_owned());
    }
    let rows = derived::rows(&records).unwrap();
    assert_eq!(derived::from_rows(&rows, 3).unwrap(), records);
    assert!(derived::from_rows(&rows, 2).is_err());
}

#[test]
fn decisions_of_older_runs_are_read() {
    let tag = RunTag::of("example");
    let mut segment = SegmentHeader {
        store: Store::Derived,
        packed: false,
        number: 1,
        tag,
        first_entry: 0,
        opened_at: 0,
    }
    .to_bytes();
    let payload = payload::encode(&Bytes::encode(&bytes(OLD_DECISIONS))).unwrap();
    let mut old = block(BlockKind::Derived, 0, 4, &payload, tag.salt());
    assert_eq!(old[5], 3);
    old[5] = 2;
    let crc = crc32c::crc32c_append(tag.salt(), &old[..28]);
    old[28..32].copy_from_slice(&crc.to_le_bytes());
    segment.extend(old);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(Store::Derived.segment_name(1));
    std::fs::write(file, segment).unwrap();
    let mut reader = RunReader::open(folder.path()).unwrap();
    let mut kinds = Vec::new();
    reader.for_each_derived_from(0, |_, record| {
        if let Derived::Alarm { record, .. } = record {
            kinds.push(record.name());
        }
    });
    assert_eq!(kinds, ["overpull"]);
}

/// Eight frames of the bytes 1, 3 and their check, as runs of encoding 1 have them.
const OLD_RECORDS: &str = "02080102000200000600";

#[test]
fn frames_of_older_runs_are_read() {
    let text: Text = payload::decode(&bytes(OLD_RECORDS)).unwrap();
    let sum = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&[1, 3]);
    let [low, high] = sum.to_le_bytes();
    assert_eq!(text.decode(32).unwrap(), [1, 3, low, high].repeat(8));
    assert!((1..=3).all(payload::is_known) && !payload::is_known(0) && !payload::is_known(4));
}
