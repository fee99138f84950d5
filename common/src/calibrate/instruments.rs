//! Both channels with their ports: inputs -> calibrated readings. What the pipeline uses.
//!
//! *Input*: [`Input`]s in order. *Output*: calibrated readings and health.
//! *Errors*: [`SetupError`] from [`Instruments::new`], nothing afterwards.

use super::channel::{Arriving, Channel, WINDOW};
use super::demands::Demands;
use super::fault_spells::FaultSpells;
use super::{CalibratedReading, ChannelHealth, DepthScale, Fault, Flags, LoadScale};
use crate::decode::{FrameCounts, PortDecoder, RawReading, SetupError, job_ports};
use crate::input::{ChannelId, Input, MarkKind, PortNumber};
use crate::job::Job;
use crate::time::Nanos;

/// One port and what is known of it.
#[derive(Debug, Clone)]
struct Port {
    number: PortNumber,
    decoder: PortDecoder,
    /// Lost, as said by a port input; ports without such inputs count as open.
    lost: bool,
    window_start: Nanos,
    /// Good, garbled, of another kind: at its start.
    window_counts: (u64, u64, u64),
    /// More than a fifth of the frames of the last window were garbled, or none could be read.
    bad_share: bool,
}

/// Where the depth counter stands: what setting it anew has changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counter {
    depth: DepthScale,
    imported: DepthScale,
}

/// The instruments of a job.
#[derive(Debug, Clone)]
pub struct Instruments {
    ports: Vec<Port>,
    load: Channel,
    depth: Channel,
    load_scale: LoadScale,
    depth_scale: DepthScale,
    /// Moves imported depths when the counter is set.
    imported_scale: DepthScale,
    load_port: PortNumber,
    depth_port: PortNumber,
    /// Newest depth as it came: raw, or metres when it came calibrated.
    newest_depth: Option<(f64, bool)>,
    now: Nanos,
}

impl Instruments {
    /// The instruments that `job` names; none for a job without `[load]` and `[depth]`, which
    /// takes [`Input::Reading`]s only.
    pub fn new(job: &Job) -> Result<Self, SetupError> {
        let mut ports = Vec::new();
        for (number, _) in job_ports(job) {
            ports.push(Port {
                number,
                decoder: PortDecoder::new(job, number)?,
                lost: false,
                window_start: 0,
                window_counts: (0, 0, 0),
                bad_share: false,
            });
        }
        let load_channel = job.load.as_ref().map(|load| &load.channel);
        let depth_channel = job.depth.as_ref().map(|depth| &depth.channel);
        let shared = load_channel
            .zip(depth_channel)
            .is_some_and(|(load, depth)| load.port == depth.port);
        let depth_port = if shared { 0 } else { 1 };
        Ok(Self {
            ports,
            load: Channel::new(ChannelId::Load, Demands::of(job, ChannelId::Load)),
            depth: Channel::new(ChannelId::Depth, Demands::of(job, ChannelId::Depth)),
            load_scale: job.load.as_ref().map_or(
                LoadScale {
                    tare: 0.0,
                    newtons_per_unit: 1.0,
                    warmth: None,
                },
                LoadScale::new,
            ),
            depth_scale: job.depth.as_ref().map_or(IDENTITY, DepthScale::new),
            imported_scale: IDENTITY,
            load_port: 0,
            depth_port,
            newest_depth: None,
            now: 0,
        })
    }

    /// Takes one input. `every` gets each reading at once (overpull path); `judged` gets each in
    /// order when it is known whether it is a spike (estimation; look at
    /// [`Flags::usable`](super::Flags::usable)).
    pub fn push(
        &mut self,
        input: &Input,
        every: &mut impl FnMut(&CalibratedReading),
        judged: &mut impl FnMut(&CalibratedReading),
    ) {
        match input {
            Input::Received { port, at, bytes } => {
                self.now = *at;
                self.received(*port, *at, bytes, every, judged);
            }
            Input::Sent { port, at, bytes } => {
                self.now = *at;
                if let Some(port) = self.port_mut(*port) {
                    port.decoder.sent(*at, bytes);
                }
            }
            Input::Reading { channel, at, value } => {
                self.now = *at;
                let value = match channel {
                    ChannelId::Load => *value,
                    ChannelId::Depth => {
                        self.newest_depth = Some((*value, true));
                        self.imported_scale.apply(*value)
                    }
                };
                let arriving = Arriving {
                    at: *at,
                    raw: None,
                    value,
                    seq: None,
                };
                self.arrive(*channel, arriving, every, judged);
            }
            Input::Port { port, at, open } => {
                self.now = *at;
                if let Some(port) = self.port_mut(*port) {
                    port.lost = !open;
                    port.decoder.port_changed(*open);
                }
                if *port == self.load_port {
                    self.load.port_changed(*open, judged);
                }
                if *port == self.depth_port {
                    self.depth.port_changed(*open, judged);
                }
            }
            Input::Tick { at } => {
                self.now = *at;
                self.load.tick(*at, judged);
                self.depth.tick(*at, judged);
                for port in &mut self.ports {
                    port.close_window(*at);
                }
            }
            Input::Mark { at, mark } => {
                self.now = *at;
                if let MarkKind::Zero(line_m) = mark.kind {
                    self.set_counter(line_m, judged);
                }
            }
        }
    }

    /// The run has ended: what waits for a judgement is given out.
    pub fn finish(&mut self, judged: &mut impl FnMut(&CalibratedReading)) {
        self.load.release(judged);
        self.depth.release(judged);
    }

    /// Time of the newest input.
    pub fn now(&self) -> Nanos {
        self.now
    }

    /// Health of one instrument at the time of the newest input.
    pub fn health(&self, channel: ChannelId) -> ChannelHealth {
        let (state, number) = match channel {
            ChannelId::Load => (&self.load, self.load_port),
            ChannelId::Depth => (&self.depth, self.depth_port),
        };
        let mut health = state.health(self.now);
        if let Some(port) = self.ports.iter().find(|port| port.number == number) {
            health.bad_frames = port.decoder.counts().bad;
            if port.lost {
                health.fault = Fault::Closed;
            } else if port.bad_share {
                health.fault = Fault::Frames;
            }
        }
        health
    }

    /// When one instrument was silent, and when frozen.
    pub fn fault_spells(&self, channel: ChannelId) -> (&FaultSpells, &FaultSpells) {
        let state = match channel {
            ChannelId::Load => &self.load,
            ChannelId::Depth => &self.depth,
        };
        (state.silences(), state.frozen_spells())
    }

    /// Counts of one port by kind of fault; `None`: the job has no such port.
    pub fn frame_counts(&self, number: PortNumber) -> Option<&FrameCounts> {
        let port = self.ports.iter().find(|port| port.number == number)?;
        Some(port.decoder.counts())
    }

    /// Counts of the port that `channel` comes from.
    pub fn frame_counts_of(&self, channel: ChannelId) -> Option<&FrameCounts> {
        self.frame_counts(match channel {
            ChannelId::Load => self.load_port,
            ChannelId::Depth => self.depth_port,
        })
    }

    fn port_mut(&mut self, number: PortNumber) -> Option<&mut Port> {
        self.ports.iter_mut().find(|port| port.number == number)
    }

    fn received(
        &mut self,
        number: PortNumber,
        at: Nanos,
        bytes: &[u8],
        every: &mut impl FnMut(&CalibratedReading),
        judged: &mut impl FnMut(&CalibratedReading),
    ) {
        let Some(place) = self.ports.iter().position(|port| port.number == number) else {
            return;
        };
        // Taken out while its readings go through the rest of `self`.
        let mut port = self.ports.swap_remove(place);
        // Before these bytes are counted: how they were cut must not say to which window they belong.
        port.close_window(at);
        port.decoder.push(at, bytes, &mut |reading| {
            self.arrive_raw(&reading, every, judged);
        });
        self.ports.push(port);
    }

    fn arrive_raw(
        &mut self,
        reading: &RawReading,
        every: &mut impl FnMut(&CalibratedReading),
        judged: &mut impl FnMut(&CalibratedReading),
    ) {
        let value = match reading.channel {
            ChannelId::Load => {
                if let Some(temperature) = reading.temperature
                    && !self.load_scale.warmed(temperature)
                {
                    self.load.odd_temperature();
                }
                self.load_scale.apply(reading.raw)
            }
            ChannelId::Depth => {
                self.newest_depth = Some((reading.raw, false));
                self.depth_scale.apply(reading.raw)
            }
        };
        let arriving = Arriving {
            at: reading.at,
            raw: Some(reading.raw),
            value,
            seq: reading.seq,
        };
        self.arrive(reading.channel, arriving, every, judged);
    }

    fn arrive(
        &mut self,
        channel: ChannelId,
        arriving: Arriving,
        every: &mut impl FnMut(&CalibratedReading),
        judged: &mut impl FnMut(&CalibratedReading),
    ) {
        let (own, other) = match channel {
            ChannelId::Load => (&mut self.load, &mut self.depth),
            ChannelId::Depth => (&mut self.depth, &mut self.load),
        };
        let reading = own.push(arriving, judged);
        // A leap or nonsense of one says nothing of the other.
        if reading.flags.usable() && !reading.flags.has(Flags::LEAPT) {
            other.other_reads(reading.at, reading.value);
        }
        every(&reading);
    }

    /// Where the depth counter stands.
    pub fn counter(&self) -> Counter {
        Counter {
            depth: self.depth_scale,
            imported: self.imported_scale,
        }
    }

    /// Reads depth by another's counter from now on: these instruments were not there when it was set.
    pub fn use_counter(&mut self, counter: Counter) {
        self.depth_scale = counter.depth;
        self.imported_scale = counter.imported;
        self.depth.rescaled(&mut |_| {});
    }

    fn set_counter(&mut self, line_m: f64, judged: &mut impl FnMut(&CalibratedReading)) {
        match self.newest_depth {
            Some((raw, false)) => self.depth_scale = self.depth_scale.zeroed(raw, line_m),
            Some((value, true)) => {
                self.imported_scale = self.imported_scale.zeroed(value, line_m);
            }
            None => return,
        }
        self.depth.rescaled(judged);
    }
}

impl Port {
    fn close_window(&mut self, at: Nanos) {
        if at - self.window_start < WINDOW {
            return;
        }
        let counts = self.decoder.counts();
        // Where nothing at all can be read, lines of another kind are what the pattern should have been.
        let unread = counts.garbled() + counts.other_text;
        let good = counts.good - self.window_counts.0;
        let bad = match good {
            0 => unread - self.window_counts.1 - self.window_counts.2,
            _ => counts.garbled() - self.window_counts.1,
        };
        self.bad_share = bad >= 3 && bad * 4 > good;
        self.window_counts = (counts.good, counts.garbled(), counts.other_text);
        self.window_start = at;
    }
}

const IDENTITY: DepthScale = DepthScale {
    metres_per_unit: 1.0,
    zero: 0.0,
};

#[cfg(test)]
mod tests;
