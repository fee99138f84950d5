//! Facts about questions and answers, byte by byte.

use super::*;

fn register(register: u16, kind: RegisterKind) -> ModbusRegister {
    ModbusRegister {
        unit: 17,
        function: 3,
        register,
        kind,
        swap_words: false,
        poll_hz: 20.0,
    }
}

fn with_checksum(body: &[u8]) -> Vec<u8> {
    [body, &crc16::modbus(body).to_le_bytes()].concat()
}

fn decoder() -> ModbusDecoder {
    let load = register(100, RegisterKind::I16);
    ModbusDecoder::new(Bus::new(&[(ChannelId::Load, &load)], 19_200))
}

fn ask(master: &mut ModbusDecoder, at: Nanos) {
    let request = master.bus().polls[0].request;
    master.sent(at, &request);
}

fn answer(master: &mut ModbusDecoder, at: Nanos, bytes: &[u8]) -> Vec<f64> {
    let mut got = Vec::new();
    master.push(at, bytes, &mut |reading| got.push(reading.raw));
    got
}

#[test]
fn request_agrees_with_the_published_frame() {
    // Check value of the checksum: Python crcmod 1.7.
    assert_eq!(
        read_request(0x11, 3, 0x6B, 3),
        [0x11, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x76, 0x87]
    );
}

#[test]
fn all_number_types_and_word_orders_are_read() {
    use RegisterKind::{F32, I16, I32, U16, U32};
    assert_eq!(value(&[0xFF, 0xFE], I16, false), Some(-2.0));
    assert_eq!(value(&[0xFF, 0xFE], U16, false), Some(65_534.0));
    assert_eq!(value(&[0xFF, 0xFF, 0xFF, 0xFE], I32, false), Some(-2.0));
    assert_eq!(value(&[0x00, 0x02, 0x00, 0x01], U32, true), Some(65_538.0));
    assert_eq!(value(&[0x41, 0x20, 0x00, 0x00], F32, false), Some(10.0));
    assert_eq!(value(&[0x00, 0x00, 0x41, 0x20], F32, true), Some(10.0));
    assert_eq!(value(&[0x7F, 0xC0, 0x00, 0x00], F32, false), None);
    assert_eq!(value(&[0, 0, 0], U32, false), None);
}

#[test]
fn answer_is_found_behind_noise_and_echo() {
    let mut master = decoder();
    let good = with_checksum(&[17, 3, 2, 0x12, 0x34]);
    let request = master.bus().polls[0].request;
    for before in [&[][..], &[0], &request, &[17, 3, 2, 17, 3]] {
        ask(&mut master, 0);
        let stream = [before, &good].concat();
        assert_eq!(answer(&mut master, 1, &stream), [4660.0]);
    }
    assert_eq!((master.counts().good, master.counts().bad), (4, 0));
}

#[test]
fn each_kind_of_failure_is_counted() {
    let mut master = decoder();
    ask(&mut master, 0); // no answer
    ask(&mut master, 1);
    assert!(answer(&mut master, 2, &[17, 3, 2, 0, 1, 0, 0]).is_empty()); // checksum
    ask(&mut master, 3);
    assert!(answer(&mut master, 4, &[1, 2, 3]).is_empty()); // garbage
    ask(&mut master, 5);
    let refusal = with_checksum(&[17, 0x83, 2]);
    assert!(answer(&mut master, 6, &refusal).is_empty()); // exception
    assert!(master.answered());
    ask(&mut master, 7);
    let other_unit = with_checksum(&[18, 3, 2, 0, 1]);
    assert!(answer(&mut master, 8, &other_unit).is_empty()); // garbage
    ask(&mut master, 9);
    let counts = master.counts();
    assert_eq!((counts.no_answer, counts.checksum), (1, 1));
    assert_eq!((counts.garbage, counts.exception), (2, 1));
    assert_eq!((counts.bad, counts.good), (5, 0));
}

#[test]
fn late_or_second_answer_is_not_taken_for_another_question() {
    let mut master = decoder();
    let good = with_checksum(&[17, 3, 2, 0, 5]);
    let within = master.bus().answer_within;
    ask(&mut master, 0);
    assert!(answer(&mut master, within + 1, &good).is_empty());
    ask(&mut master, within + 2);
    assert_eq!(answer(&mut master, within + 3, &good), [5.0]);
    assert!(answer(&mut master, within + 4, &good).is_empty());
    assert_eq!((master.counts().late, master.counts().good), (1, 1));
}

#[test]
fn adjoining_registers_are_read_by_one_request() {
    let load = register(12, RegisterKind::F32);
    let depth = register(10, RegisterKind::I32);
    let bus = Bus::new(
        &[(ChannelId::Load, &load), (ChannelId::Depth, &depth)],
        9600,
    );
    assert_eq!(bus.polls.len(), 1);
    assert_eq!(bus.polls[0].request, read_request(17, 3, 10, 4));
    let mut master = ModbusDecoder::new(bus);
    ask(&mut master, 0);
    let mut got = Vec::new();
    let frame = with_checksum(&[17, 3, 8, 0, 0, 1, 0, 0x41, 0x20, 0, 0]);
    master.push(1, &frame, &mut |reading| {
        got.push((reading.channel, reading.raw))
    });
    assert_eq!(got, [(ChannelId::Depth, 256.0), (ChannelId::Load, 10.0)]);
}

#[test]
fn apart_registers_of_one_device_are_ambiguous_and_other_devices_are_not() {
    let load = register(10, RegisterKind::F32);
    let mut depth = register(20, RegisterKind::F32);
    let both = |depth: &ModbusRegister| {
        Bus::new(&[(ChannelId::Load, &load), (ChannelId::Depth, depth)], 9600)
    };
    assert!(both(&depth).ambiguous(0, 1));
    depth.unit = 18;
    assert!(!both(&depth).ambiguous(0, 1));
    assert!(both(&depth).ambiguous(0, 0));
}
