//! Bodies of the fuzz targets of the decoders, as ordinary functions: they compile in every build,
//! and a plain test runs them too. None may panic, whatever `data` holds.
//!
//! Each also checks the law that chunks do not matter: the first byte of `data` says how to cut
//! the rest, and readings and counts must be those of the uncut bytes.

use super::modbus_rtu::{Bus, ModbusDecoder};
use super::packet::{Packet, PacketDecoder};
use super::pattern::{self, PatternDecoder};
use super::{FrameCounts, RawReading, cobs};
use crate::input::ChannelId;
use crate::job::{ModbusRegister, RegisterKind};

type Outcome = (Vec<RawReading>, FrameCounts);

fn cut_and_uncut(data: &[u8], run: impl Fn(&mut dyn Iterator<Item = &[u8]>) -> Outcome) {
    let Some((&first, rest)) = data.split_first() else {
        return;
    };
    let whole = run(&mut std::iter::once(rest));
    let cut = run(&mut rest.chunks(usize::from(first % 64) + 1));
    assert_eq!(whole, cut, "chunks changed the outcome");
    assert!(whole.0.iter().all(|reading| reading.raw.is_finite()));
}

/// Lines with both channels, frame number and time.
pub fn pattern_lines(data: &[u8]) {
    const PATTERN: &str = r"(?<seq>\d+)?;(?<load>[^;]*);(?<depth>[^;]*)(;(?<t>.*))?";
    cut_and_uncut(data, |chunks| {
        let both = [(ChannelId::Load, PATTERN), (ChannelId::Depth, PATTERN)];
        let mut decoder = PatternDecoder::new(&both).expect("the pattern is sound");
        decoder.port_changed(data.len().is_multiple_of(2));
        let mut readings = Vec::new();
        for chunk in chunks {
            decoder.push(1, chunk, &mut |reading| readings.push(reading));
        }
        (readings, *decoder.counts())
    });
}

/// The text of a pattern itself, as it stands in a job file.
pub fn pattern_text(data: &[u8]) {
    if let Ok(text) = std::str::from_utf8(data)
        && text.len() <= 256
        && let Ok(mut decoder) = PatternDecoder::new(&[(ChannelId::Load, text)])
    {
        assert!(pattern::check(text, ChannelId::Load).is_ok());
        decoder.push(0, b"12.5\r\nload 7\n", &mut |_| {});
    }
}

/// Own binary frames, and the stuffing beneath them.
pub fn packet_frames(data: &[u8]) {
    cut_and_uncut(data, |chunks| {
        let mut decoder = PacketDecoder::new(&[ChannelId::Load, ChannelId::Depth]);
        decoder.port_changed(data.len().is_multiple_of(2));
        let mut readings = Vec::new();
        for chunk in chunks {
            decoder.push(1, chunk, &mut |reading| readings.push(reading));
        }
        (readings, *decoder.counts())
    });
    let mut stuffed = Vec::new();
    cobs::encode(data, &mut stuffed);
    let length = cobs::decode_in_place(&mut stuffed).expect("own stuffing is sound");
    assert_eq!(&stuffed[..length], data);
    round_trip(data.to_vec());
    // The same bytes as a body whose checksum holds, so that what is inside is reached.
    let mut frame = Vec::new();
    cobs::encode(
        &[data, &crc32c::crc32c(data).to_le_bytes()].concat(),
        &mut frame,
    );
    round_trip(frame);
}

fn round_trip(mut frame: Vec<u8>) {
    if let Ok(packet) = Packet::decode(&mut frame) {
        let mut again = Vec::new();
        packet.encode(&mut again);
        again.pop();
        let read = Packet::decode(&mut again).expect("own frame is sound");
        assert_eq!(read.seq, packet.seq);
    }
}

/// Answers of Modbus devices: two devices, asked in turn. Data above 0xF0 stand for "ask again".
pub fn modbus_answers(data: &[u8]) {
    let device = |unit, kind| ModbusRegister {
        unit,
        function: 3,
        register: 0,
        kind,
        swap_words: false,
        poll_hz: 10.0,
    };
    let (load, depth) = (device(1, RegisterKind::I16), device(2, RegisterKind::F32));
    let bus = Bus::new(
        &[(ChannelId::Load, &load), (ChannelId::Depth, &depth)],
        9600,
    );
    cut_and_uncut(data, |chunks| {
        let mut decoder = ModbusDecoder::new(bus.clone());
        let mut readings = Vec::new();
        let mut asked = 0;
        for chunk in chunks {
            for part in chunk.split_inclusive(|&byte| byte > 0xF0) {
                decoder.push(1, part, &mut |reading| readings.push(reading));
                if part.last().is_some_and(|&byte| byte > 0xF0) {
                    decoder.sent(1, &bus.polls[asked % 2].request);
                    asked += 1;
                }
            }
        }
        (readings, *decoder.counts())
    });
}

/// Whatever a port sends while a technician lets its format be learned.
pub fn learned_bytes(data: &[u8]) {
    for proposal in super::learn::propose(data) {
        assert!(proposal.share <= 1.0);
        assert!(!proposal.channels.is_empty() || proposal.pattern.is_none());
    }
}
