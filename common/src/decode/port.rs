//! Which decoder a job asks for, per port.
//!
//! *Input*: a checked job. *Output*: one [`PortDecoder`] for each port. *Errors*: [`SetupError`],
//! naming the field of the job file and what to write instead.

use super::modbus_rtu::{Bus, ModbusDecoder};
use super::packet::PacketDecoder;
use super::pattern::{PatternDecoder, PatternError};
use super::{FrameCounts, RawReading};
use crate::input::{ChannelId, PortNumber};
use crate::job::{Channel, Job, ModbusRegister, Protocol};
use crate::time::Nanos;

/// A job whose ports cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SetupError {
    /// No channel uses this port number.
    #[error("the job has no port {0}")]
    NoSuchPort(PortNumber),
    /// Two channels on one port, read in two different ways.
    #[error(
        "[load] and [depth] share port `{0}` but differ in `protocol`, `baud`, `data_bits`, `parity` or \
         `stop_bits`; give both the same, or separate ports"
    )]
    Mixed(String),
    /// The pattern of a channel cannot be used.
    #[error("[{section}] {error}")]
    Pattern {
        /// `load` or `depth`.
        section: &'static str,
        /// Why.
        error: PatternError,
    },
}

/// The ports of a job: number and the channel that describes each, load before depth.
pub fn job_ports(job: &Job) -> Vec<(PortNumber, &Channel)> {
    let load = job.load.as_ref().map(|load| &load.channel);
    let depth = job.depth.as_ref().map(|depth| &depth.channel);
    let mut ports = Vec::with_capacity(2);
    if let Some(channel) = load {
        ports.push((0, channel));
    }
    if let Some(channel) = depth
        && load.is_none_or(|load| load.port != channel.port)
    {
        ports.push((1, channel));
    }
    ports
}

/// The channels of the job that come from port `number`.
fn channels(job: &Job, number: PortNumber) -> Vec<(ChannelId, &Channel)> {
    let load = job.load.as_ref().map(|load| &load.channel);
    let depth = job.depth.as_ref().map(|depth| &depth.channel);
    let depth_number = match (load, depth) {
        (Some(load), Some(depth)) if load.port == depth.port => 0,
        _ => 1,
    };
    let of = |id, channel: Option<_>, at| channel.filter(|_| at == number).map(|c| (id, c));
    [
        of(ChannelId::Load, load, 0),
        of(ChannelId::Depth, depth, depth_number),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The decoder of one port, whatever its protocol.
#[derive(Debug, Clone)]
pub enum PortDecoder {
    /// ASCII lines.
    Pattern(PatternDecoder),
    /// Polled registers.
    ModbusRtu(ModbusDecoder),
    /// Own binary frame.
    Packet(PacketDecoder),
}

impl PortDecoder {
    /// The decoder that `job` asks for on port `number`; the port may carry both channels.
    pub fn new(job: &Job, number: PortNumber) -> Result<Self, SetupError> {
        let channels = channels(job, number);
        let Some((_, first)) = channels.first() else {
            return Err(SetupError::NoSuchPort(number));
        };
        let mixed = || SetupError::Mixed(first.port.clone());
        if channels
            .iter()
            .any(|(_, channel)| channel.serial != first.serial)
        {
            return Err(mixed());
        }
        let mut patterns: Vec<(ChannelId, &str)> = Vec::new();
        let mut registers: Vec<(ChannelId, &ModbusRegister)> = Vec::new();
        let mut packets: Vec<ChannelId> = Vec::new();
        for (id, channel) in &channels {
            match &channel.protocol {
                Protocol::Pattern { pattern } => patterns.push((*id, pattern)),
                Protocol::ModbusRtu(register) => registers.push((*id, register)),
                Protocol::Packet => packets.push(*id),
            }
        }
        match (patterns.len(), registers.len(), packets.len()) {
            (_, 0, 0) => PatternDecoder::new(&patterns)
                .map(Self::Pattern)
                .map_err(|error| pattern_error(&patterns, error)),
            (0, _, 0) => Ok(Self::ModbusRtu(ModbusDecoder::new(Bus::new(
                &registers,
                first.serial.baud,
            )))),
            (0, 0, _) => Ok(Self::Packet(PacketDecoder::new(&packets))),
            _ => Err(mixed()),
        }
    }

    /// Takes bytes whose last one arrived at `at`; `out` gets each reading.
    pub fn push(&mut self, at: Nanos, bytes: &[u8], out: &mut impl FnMut(RawReading)) {
        match self {
            Self::Pattern(decoder) => decoder.push(at, bytes, out),
            Self::ModbusRtu(decoder) => decoder.push(at, bytes, out),
            Self::Packet(decoder) => decoder.push(at, bytes, out),
        }
    }

    /// `bytes` were sent on the port. Matters to polled protocols only.
    pub fn sent(&mut self, at: Nanos, bytes: &[u8]) {
        if let Self::ModbusRtu(decoder) = self {
            decoder.sent(at, bytes);
        }
    }

    /// The port was opened or lost: what was under way is given up, and a frame that may have
    /// lost its beginning is not trusted.
    pub fn port_changed(&mut self, open: bool) {
        match self {
            Self::Pattern(decoder) => decoder.port_changed(open),
            Self::ModbusRtu(decoder) => decoder.port_changed(open),
            Self::Packet(decoder) => decoder.port_changed(open),
        }
    }

    /// Counts so far.
    pub fn counts(&self) -> &FrameCounts {
        match self {
            Self::Pattern(decoder) => decoder.counts(),
            Self::ModbusRtu(decoder) => decoder.counts(),
            Self::Packet(decoder) => decoder.counts(),
        }
    }

    /// What has to be polled on this port, if anything.
    pub fn bus(&self) -> Option<&Bus> {
        match self {
            Self::ModbusRtu(decoder) => Some(decoder.bus()),
            _ => None,
        }
    }
}

fn pattern_error(patterns: &[(ChannelId, &str)], error: PatternError) -> SetupError {
    let failed = (patterns.iter())
        .find(|(id, pattern)| super::pattern::check(pattern, *id).is_err())
        .map_or(ChannelId::Load, |(id, _)| *id);
    SetupError::Pattern {
        section: match failed {
            ChannelId::Load => "load",
            ChannelId::Depth => "depth",
        },
        error,
    }
}
