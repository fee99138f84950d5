//! Bytes of one port -> raw readings.
//!
//! *Input*: bytes as they arrived, with the arrival time of the last byte of each chunk, and (for
//! polled protocols) the bytes that were sent. *Output*: [`RawReading`]s in instrument units, and
//! counts of what was wrong. *Limits*: buffers are bounded; nothing is allocated after the first
//! few frames. *Errors*: never stops at a bad byte; every decoder finds the next whole frame
//! again, and counts what it had to drop ([`FrameCounts`]).
//!
//! A frame takes the arrival time of its last byte, and nothing depends on how the bytes were
//! split into chunks.
//!
//! Reading order: [`pattern`] (ASCII lines), [`packet`] (own binary frame, over [`cobs`]),
//! [`modbus_rtu`] (polled registers, over [`crc16`]), [`port`] (which of them a job asks for).

pub mod cobs;
pub mod crc16;
pub mod fuzz;
pub mod learn;
pub mod modbus_rtu;
pub mod packet;
pub mod pattern;
pub mod port;

pub use port::{PortDecoder, SetupError, job_ports};

use crate::input::ChannelId;
use crate::time::Nanos;

/// One number from one instrument, not yet calibrated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RawReading {
    /// Which instrument.
    pub channel: ChannelId,
    /// Arrival of the last byte of its frame.
    pub at: Nanos,
    /// In instrument units (counts, lbf, turns, ...); always finite.
    pub raw: f64,
    /// Frame number given by the instrument, if it gives one.
    pub seq: Option<u64>,
    /// Time given by the instrument, s on its own clock, if it gives one. Carried for the record
    /// and for display: the instrument's clock may step, arrival times do not.
    pub device_s: Option<f64>,
    /// Temperature last sent with or before it, in the unit of the instrument, if it sends one.
    pub temperature: Option<f64>,
}

/// What was wrong with a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FrameFault {
    /// No end of frame within the largest permitted size.
    TooLong,
    /// A line that the pattern does not match.
    NoMatch,
    /// The pattern matched, but what it captured is not a finite number.
    NotANumber,
    /// Checksum wrong.
    Checksum,
    /// Checksum right, but the frame has a length or layout that cannot be.
    Layout,
    /// A packet of a version this program does not know.
    Version(u8),
    /// A Modbus device refused: exception code.
    Exception(u8),
    /// A Modbus device did not answer in time.
    NoAnswer,
    /// A Modbus answer came after its time and could be the answer to something else.
    Late,
    /// Bytes that nobody asked for or that make no frame.
    Garbage,
}

impl FrameFault {
    /// One plain phrase for page and log.
    pub fn phrase(self) -> String {
        let phrase = match self {
            Self::TooLong => "no end of frame",
            Self::NoMatch => "line does not match the pattern",
            Self::NotANumber => "not a number",
            Self::Checksum => "checksum wrong",
            Self::Layout => "frame layout wrong",
            Self::Version(_) => "unknown packet version",
            Self::Exception(code) => {
                return format!(
                    "device refuses the request: exception {code}, {}",
                    exception(code).0
                );
            }
            Self::NoAnswer => "device does not answer",
            Self::Late => "answer too late",
            Self::Garbage => "bytes that make no frame",
        };
        phrase.to_owned()
    }

    /// What to look at when nothing but this comes.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Exception(code) => exception(code).1,
            Self::NoAnswer => {
                "check power, wires (A and B the wrong way round?), `unit_address`, `baud` and `parity` (many devices \
                 come set to 8E1: parity = \"even\"); a gateway has to pass Modbus RTU on as it is, not Modbus TCP"
            }
            Self::Late => {
                "lower `poll`, or set the gateway or radio in between to pass bytes on at once"
            }
            Self::Version(_) => "use a sender of the same version as this program",
            _ => {
                "check `baud`, `parity`, `protocol` and `pattern` (kerfwatchd learn proposes them)"
            }
        }
    }
}

/// What a Modbus device means by an exception code (MODBUS Application Protocol 1.1b3, 7), and what to do.
fn exception(code: u8) -> (&'static str, &'static str) {
    match code {
        1 => (
            "illegal function",
            "write the other `function` (3 holding, 4 input registers)",
        ),
        2 => (
            "illegal data address",
            "check `register`: it counts from zero, so 40001 of a manual is 0; then `function` and `type` (two \
             registers for i32, u32, f32)",
        ),
        3 => (
            "illegal data value",
            "check `type`: the device does not give so many registers at once",
        ),
        4 => ("device failure", "look at the device itself"),
        5 | 6 => (
            "device busy",
            "lower `poll`, and look for a second master on the line",
        ),
        10 => (
            "gateway path unavailable",
            "check the settings of the gateway",
        ),
        11 => (
            "no answer to the gateway",
            "check `unit_address`, power and wires of the device behind the gateway",
        ),
        _ => ("of its own", "look up the code in the manual of the device"),
    }
}

/// Running counts of one port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FrameCounts {
    /// Frames that gave at least one reading.
    pub good: u64,
    /// Frames (or, for a polled device, questions) that gave none, or one number fewer than they
    /// should have: the sum of all faults below.
    pub bad: u64,
    /// [`FrameFault::TooLong`]
    pub too_long: u64,
    /// [`FrameFault::NoMatch`]
    pub no_match: u64,
    /// Of these: lines of plain text that begin otherwise than those that are read, such as a status line.
    pub other_text: u64,
    /// [`FrameFault::NotANumber`]
    pub not_a_number: u64,
    /// [`FrameFault::Checksum`]
    pub checksum: u64,
    /// [`FrameFault::Layout`] and [`FrameFault::Version`]
    pub layout: u64,
    /// [`FrameFault::Exception`]
    pub exception: u64,
    /// [`FrameFault::NoAnswer`]
    pub no_answer: u64,
    /// [`FrameFault::Late`]
    pub late: u64,
    /// [`FrameFault::Garbage`]
    pub garbage: u64,
    /// Half frames after opening the port or when it was lost; these are expected, not bad.
    pub partial: u64,
    /// The newest fault and when it was noticed.
    pub last_fault: Option<(Nanos, FrameFault)>,
}

impl FrameCounts {
    /// Counts of bad frames by kind, under their names on the page and in metrics.
    pub fn by_kind(&self) -> impl Iterator<Item = (&'static str, u64)> {
        [
            ("too_long", self.too_long),
            ("no_match", self.no_match),
            ("not_a_number", self.not_a_number),
            ("checksum", self.checksum),
            ("layout", self.layout),
            ("exception", self.exception),
            ("no_answer", self.no_answer),
            ("late", self.late),
            ("garbage", self.garbage),
        ]
        .into_iter()
    }

    /// Frames that came and could not be read though they should have been: a device that is silent is stale, not
    /// garbled, and lines of another kind are none of its readings.
    pub fn garbled(&self) -> u64 {
        self.bad - self.no_answer - self.late - self.other_text
    }

    pub(crate) fn fault(&mut self, at: Nanos, fault: FrameFault) {
        let count = match fault {
            FrameFault::TooLong => &mut self.too_long,
            FrameFault::NoMatch => &mut self.no_match,
            FrameFault::NotANumber => &mut self.not_a_number,
            FrameFault::Checksum => &mut self.checksum,
            FrameFault::Layout | FrameFault::Version(_) => &mut self.layout,
            FrameFault::Exception(_) => &mut self.exception,
            FrameFault::NoAnswer => &mut self.no_answer,
            FrameFault::Late => &mut self.late,
            FrameFault::Garbage => &mut self.garbage,
        };
        *count += 1;
        self.bad += 1;
        self.last_fault = Some((at, fault));
    }
}

#[cfg(test)]
mod tests;
