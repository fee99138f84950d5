//! Facts that hold for every decoder.

use super::packet::Packet;
use super::{FrameFault, fuzz};
use proptest::prelude::*;

/// Bytes that are often nearly right: lines, packets and Modbus answers, cut into each other.
fn nearly_right() -> impl Strategy<Value = Vec<u8>> {
    let line = (any::<i32>(), any::<i16>())
        .prop_map(|(load, depth)| format!("{};{}.5;{}\r\n", load & 0xFF, load, depth).into_bytes());
    let packet = (any::<u32>(), any::<i32>()).prop_map(|(seq, load)| {
        let mut frame = Vec::new();
        Packet::new(seq, Some(f64::from(load)), None).encode(&mut frame);
        frame
    });
    let answer = (any::<u8>(), 1_u8..3).prop_map(|(value, unit)| {
        let mut frame = vec![0xFF, unit, 3, 2, 0, value];
        let checksum = super::crc16::modbus(&frame[1..]).to_le_bytes();
        frame.extend_from_slice(&checksum);
        frame
    });
    let noise = prop::collection::vec(any::<u8>(), 0..40);
    prop::collection::vec(prop_oneof![line, packet, answer, noise], 0..12)
        .prop_map(|parts| parts.concat())
}

#[test]
fn a_refusal_is_told_with_its_code_and_what_to_correct() {
    for (code, meaning, remedy) in [
        (1, "illegal function", "`function`"),
        (2, "illegal data address", "`register`"),
        (11, "no answer to the gateway", "`unit_address`"),
        (99, "exception 99", "manual"),
    ] {
        let fault = FrameFault::Exception(code);
        assert!(fault.phrase().contains(&format!("exception {code}")));
        assert!(fault.phrase().contains(meaning), "{}", fault.phrase());
        assert!(fault.remedy().contains(remedy), "{}", fault.remedy());
    }
}

proptest! {
    #[test]
    fn no_decoder_panics_or_depends_on_chunks(data in nearly_right(), cut in any::<u8>()) {
        let data = [&[cut][..], &data].concat();
        fuzz::pattern_lines(&data);
        fuzz::packet_frames(&data);
        fuzz::modbus_answers(&data);
        fuzz::learned_bytes(&data);
    }

    #[test]
    fn no_pattern_text_panics(text in r"[()?<>a-z\\d+*.|\[\]{}0-9^$]{0,40}") {
        fuzz::pattern_text(text.as_bytes());
    }
}
