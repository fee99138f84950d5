//! Our own binary frame, for those who build a front end.
//!
//! *Input*: `COBS(body ++ CRC-32C of body, little-endian) ++ 00`. *Output*: load, depth, frame
//! number, optional instrument time. *Limits*: a frame is at most [`FRAME_MAX`] bytes before its
//! zero. *Errors*: counted; the next zero starts afresh. Extra zeros between frames are permitted,
//! and a sender should send one when it starts.
//!
//! Body (version 1; bincode 2, little-endian, fixed-width integers; numbers in instrument units):
//!
//! | bytes | type | meaning |
//! |---|---|---|
//! | 1 | u8 | version, 1 |
//! | 4 | u32 | frame number, one more for each frame, wraps to 0 |
//! | 1 or 9 | 00, or 01 and u64 | instrument time, microseconds since it started |
//! | 1 or 9 | 00, or 01 and f64 | load |
//! | 1 or 9 | 00, or 01 and f64 | depth |
//!
//! Worked example: frame 258, no time, load 2.5, no depth.
//!
//! ```text
//! body      01  02 01 00 00  00  01 00 00 00 00 00 00 04 40  00
//! CRC-32C   of the body, low byte first: EB 21 F9 81
//! stuffed   04 01 02 01 01 01 02 01 01 01 01 01 01 03 04 40 05 EB 21 F9 81  00
//! ```
//!
//! bincode is used only here and in the recording, behind the version byte, so that it can be
//! replaced without a change to any caller.

use super::{FrameCounts, FrameFault, RawReading, cobs};
use crate::input::ChannelId;
use crate::time::Nanos;

/// Version of the body.
pub const VERSION: u8 = 1;

/// Largest body and its checksum, bytes.
const PLAIN_MAX: usize = 1 + 4 + 9 + 9 + 9 + 4;

/// Largest stuffed frame, bytes without its zero.
pub const FRAME_MAX: usize = cobs::encoded_len_max(PLAIN_MAX);

fn layout() -> impl bincode::config::Config {
    bincode::config::standard()
        .with_little_endian()
        .with_fixed_int_encoding()
        .with_limit::<64>()
}

/// What one frame says.
///
/// ```
/// use kerfwatch::decode::packet::Packet;
///
/// let mut frame = Vec::new();
/// Packet::new(258, Some(2.5), None).encode(&mut frame);
/// assert_eq!(frame.pop(), Some(0)); // its end
/// let packet = Packet::decode(&mut frame).unwrap();
/// assert_eq!((packet.seq, packet.load, packet.depth), (258, Some(2.5), None));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Default, bincode::Encode, bincode::Decode)]
pub struct Packet {
    /// [`VERSION`].
    pub version: u8,
    /// Frame number.
    pub seq: u32,
    /// Instrument time, microseconds.
    pub device_us: Option<u64>,
    /// Load, instrument units.
    pub load: Option<f64>,
    /// Depth, instrument units.
    pub depth: Option<f64>,
}

impl Packet {
    /// A packet of this version.
    pub fn new(seq: u32, load: Option<f64>, depth: Option<f64>) -> Self {
        Self {
            version: VERSION,
            seq,
            device_us: None,
            load,
            depth,
        }
    }

    /// Appends the whole frame, final zero included, to `out`.
    pub fn encode(&self, out: &mut Vec<u8>) {
        let mut plain = [0; PLAIN_MAX];
        let length = bincode::encode_into_slice(self, &mut plain[..PLAIN_MAX - 4], layout())
            .expect("the largest body fits");
        let checksum = crc32c::crc32c(&plain[..length]).to_le_bytes();
        plain[length..length + 4].copy_from_slice(&checksum);
        cobs::encode(&plain[..length + 4], out);
        out.push(0);
    }

    /// Reads one stuffed frame, given without its zero; unstuffs it in place.
    pub fn decode(frame: &mut [u8]) -> Result<Self, FrameFault> {
        let length = cobs::decode_in_place(frame).map_err(|_| FrameFault::Layout)?;
        let Some((body, checksum)) = frame[..length].split_last_chunk::<4>() else {
            return Err(FrameFault::Layout);
        };
        if crc32c::crc32c(body) != u32::from_le_bytes(*checksum) {
            return Err(FrameFault::Checksum);
        }
        match body.first() {
            Some(&VERSION) => {}
            Some(&other) => return Err(FrameFault::Version(other)),
            None => return Err(FrameFault::Layout),
        }
        match bincode::decode_from_slice(body, layout()) {
            Ok((packet, used)) if used == body.len() => Ok(packet),
            _ => Err(FrameFault::Layout),
        }
    }
}

/// Frames of one port -> readings.
#[derive(Debug, Clone)]
pub struct PacketDecoder {
    load: bool,
    depth: bool,
    held: [u8; FRAME_MAX],
    length: usize,
    dropping: bool,
    /// Just opened: the first frame may be half a frame, which is not an error.
    joining: bool,
    counts: FrameCounts,
}

impl PacketDecoder {
    /// `channels`: those that the job takes from this port.
    pub fn new(channels: &[ChannelId]) -> Self {
        Self {
            load: channels.contains(&ChannelId::Load),
            depth: channels.contains(&ChannelId::Depth),
            held: [0; FRAME_MAX],
            length: 0,
            dropping: false,
            joining: false,
            counts: FrameCounts::default(),
        }
    }

    /// The port was opened or lost: a frame under way is given up.
    pub fn port_changed(&mut self, open: bool) {
        if self.length > 0 || self.dropping {
            self.counts.partial += 1;
        }
        self.length = 0;
        self.dropping = false;
        self.joining = open;
    }

    /// Takes bytes; `out` gets each reading.
    pub fn push(&mut self, at: Nanos, bytes: &[u8], out: &mut impl FnMut(RawReading)) {
        for &byte in bytes {
            if byte == 0 {
                self.end_frame(at, out);
            } else if self.length < FRAME_MAX {
                self.held[self.length] = byte;
                self.length += 1;
            } else if !self.dropping {
                self.dropping = true;
                if !self.joining {
                    self.counts.fault(at, FrameFault::TooLong);
                }
            }
        }
    }

    /// Counts so far.
    pub fn counts(&self) -> &FrameCounts {
        &self.counts
    }

    fn end_frame(&mut self, at: Nanos, out: &mut impl FnMut(RawReading)) {
        let length = std::mem::take(&mut self.length);
        let dropped = std::mem::take(&mut self.dropping);
        if length == 0 {
            return;
        }
        let joining = std::mem::take(&mut self.joining);
        if dropped {
            self.counts.partial += u64::from(joining);
            return;
        }
        match Packet::decode(&mut self.held[..length]) {
            Ok(packet) => self.give(at, &packet, out),
            Err(_) if joining => self.counts.partial += 1,
            Err(fault) => self.counts.fault(at, fault),
        }
    }

    fn give(&mut self, at: Nanos, packet: &Packet, out: &mut impl FnMut(RawReading)) {
        let (mut given, mut wrong) = (false, false);
        for (channel, value) in [
            (ChannelId::Load, packet.load.filter(|_| self.load)),
            (ChannelId::Depth, packet.depth.filter(|_| self.depth)),
        ] {
            let Some(raw) = value else { continue };
            if !raw.is_finite() {
                wrong = true;
                continue;
            }
            given = true;
            out(RawReading {
                channel,
                at,
                raw,
                seq: Some(u64::from(packet.seq)),
                device_s: packet.device_us.map(|us| us as f64 / 1e6),
                temperature: None,
            });
        }
        if given {
            self.counts.good += 1;
        }
        if wrong {
            self.counts.fault(at, FrameFault::NotANumber);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Check values: Python crcmod 1.7, `crc-32c`; 32 x 00 and the rest also in RFC 3720, B.4.
    #[test]
    fn crc32c_agrees_with_published_values() {
        assert_eq!(crc32c::crc32c(b"123456789"), 0xE306_9283);
        assert_eq!(crc32c::crc32c(b""), 0);
        assert_eq!(crc32c::crc32c(&[0; 32]), 0x8A91_36AA);
        assert_eq!(crc32c::crc32c(&[0xFF; 32]), 0x62A8_AB43);
        let rising: Vec<u8> = (0..=0x1F).collect();
        assert_eq!(crc32c::crc32c(&rising), 0x46DD_794E);
    }

    // Made with Python `struct`, crcmod 1.7 and cobs 1.2.2, not with the code under test.
    const EXAMPLE: [u8; 22] = [
        0x04, 0x01, 0x02, 0x01, 0x01, 0x01, 0x02, 0x01, 0x01, 0x01, 0x01, 0x01, 0x01, 0x03, 0x04,
        0x40, 0x05, 0xEB, 0x21, 0xF9, 0x81, 0x00,
    ];

    #[test]
    fn worked_example_of_the_layout_reads_and_writes() {
        let packet = Packet::new(258, Some(2.5), None);
        let mut frame = Vec::new();
        packet.encode(&mut frame);
        assert_eq!(frame, EXAMPLE, "{frame:02X?}");
        assert_eq!(Packet::decode(&mut frame[..21]), Ok(packet));
    }

    #[test]
    fn largest_packet_fits_the_buffer() {
        let packet = Packet {
            version: VERSION,
            seq: u32::MAX,
            device_us: Some(u64::MAX),
            load: Some(-1.234_567_89e300),
            depth: Some(9.876_543_21e300),
        };
        let mut frame = Vec::new();
        packet.encode(&mut frame);
        assert!(frame.len() <= FRAME_MAX + 1);
        let mut both = PacketDecoder::new(&[ChannelId::Load, ChannelId::Depth]);
        let mut got = Vec::new();
        both.push(5, &frame, &mut |reading| got.push(reading));
        assert_eq!(got.len(), 2);
        assert_eq!(got[1].raw, 9.876_543_21e300);
        assert_eq!(got[0].seq, Some(u64::from(u32::MAX)));
    }

    #[test]
    fn each_kind_of_damage_is_counted_and_the_next_frame_is_read() {
        let mut port = PacketDecoder::new(&[ChannelId::Load]);
        let mut stream = Vec::new();
        let mut flipped = EXAMPLE;
        flipped[15] ^= 0x10;
        stream.extend_from_slice(&flipped); // checksum
        stream.extend_from_slice(&[9, 1, 2, 0]); // layout
        stream.extend_from_slice(&[0x55; 200]); // too long
        stream.push(0);
        let mut newer = Packet::new(1, Some(1.0), None);
        newer.version = 9;
        newer.encode(&mut stream); // version
        Packet::new(2, Some(f64::NAN), None).encode(&mut stream); // not a number
        stream.extend_from_slice(&EXAMPLE);
        let mut got = Vec::new();
        port.push(0, &stream, &mut |reading| got.push(reading.raw));
        assert_eq!(got, [2.5]);
        let counts = port.counts();
        assert_eq!((counts.checksum, counts.layout, counts.too_long), (1, 2, 1));
        assert_eq!((counts.not_a_number, counts.bad, counts.good), (1, 5, 1));
    }

    #[test]
    fn half_a_frame_after_opening_is_not_an_error_but_a_whole_one_is_read() {
        let mut port = PacketDecoder::new(&[ChannelId::Load]);
        let mut got = 0;
        port.push(0, &EXAMPLE[..9], &mut |_| got += 1);
        port.port_changed(false);
        port.port_changed(true);
        port.push(0, &EXAMPLE[9..], &mut |_| got += 1);
        port.push(0, &EXAMPLE, &mut |_| got += 1);
        port.port_changed(true);
        port.push(0, &EXAMPLE, &mut |_| got += 1);
        assert_eq!((got, port.counts().bad, port.counts().partial), (2, 0, 2));
    }
}
