//! What the instruments do when they misbehave, from inputs to readings and health.

mod doubtful;
mod frames;
mod silence;

use super::*;
use crate::calibrate::Flags;
use crate::decode::packet::Packet;
use crate::job;
use crate::job::{
    AlarmLimits, Counts, Cutter, DepthChannel, Display, Fluid, JobInfo, Line, LoadChannel, Mount,
    Page, Protocol, Record, SurveyStation, Tool, Tubular,
};
use crate::units::*;

const MS: Nanos = 1_000_000;

fn channel(port: &str, protocol: Protocol) -> job::Channel {
    job::Channel {
        port: port.to_owned(),
        serial: job::SerialLine::default(),
        protocol,
        stale_after: Seconds(2.0),
        frozen_after: Seconds(5.0),
        raw_min: -100.0,
        raw_max: 30_000.0,
    }
}

/// Load in lines on port 0, depth in packets on port 1; one raw unit is one newton or metre.
fn invented_job() -> Job {
    let pattern = r"^(?<load>[-+.\d]+)$".to_owned();
    Job {
        info: JobInfo {
            name: "invented".into(),
            well: "invented".into(),
            interval_top: Metres(1000.0),
            interval_bottom: Metres(1100.0),
            display: Display::Metric,
            bin: Metres(0.1),
        },
        survey: vec![SurveyStation {
            md: Metres(0.0),
            inc: Radians(0.0),
            azi: Radians(0.0),
        }],
        fluid: Fluid {
            density: KilogramsPerCubicMetre(1000.0),
            wellhead_pressure: Pascals(0.0),
            temperature_gradient: None,
        },
        line: Line {
            diameter: Metres(0.0027432),
            modulus: Pascals(200e9),
            density: KilogramsPerCubicMetre(7850.0),
            breaking_load: Newtons(10_000.0),
            expansion: PerKelvin(11.7e-6),
            length_on_drum: None,
            stuffing_box_friction: Newtons(0.0),
            friction_up: 0.2,
            friction_down: 0.2,
            sheaves: vec![],
            bending_life: None,
        },
        tool: Tool {
            mass: Kilograms(60.0),
            displaced_volume: CubicMetres(0.0076),
            weak_point: Newtons(7000.0),
            cutter_offset: Metres(2.0),
        },
        cutter: Cutter {
            wheels: 3,
            radius: Metres(0.01),
            edge_angle: Radians(0.52),
            reach: Metres(0.009),
            radial_force: Newtons(4000.0),
            radial_force_sd: None,
            contact_pressure: None,
        },
        tubular: Tubular {
            od: Metres(0.0889),
            wall: Metres(0.00645),
            wall_tolerance: 0.125,
            yield_strength: Pascals(552e6),
            coupling_od: Metres(0.108),
            coupling_length: Metres(0.14),
        },
        couplings: vec![],
        load: Some(LoadChannel {
            channel: channel("serial:/dev/load", Protocol::Pattern { pattern }),
            span: Newtons(1.0),
            tare: 0.0,
            mount: Mount::Deadline,
            temperature: None,
        }),
        depth: Some(DepthChannel {
            channel: channel("serial:/dev/depth", Protocol::Packet),
            metres_per_unit: Metres(1.0),
            direction: 1.0,
            zero: Metres(0.0),
        }),
        counts: Counts::Tensioned,
        alarm: AlarmLimits {
            tension_limit: None,
            tension_fraction: 0.5,
            overpull: Newtons(1000.0),
            slack: Newtons(300.0),
            speed: MetresPerSecond(2.0),
            upper_stop: None,
            lower_stop: None,
            approaching: Seconds(2.0),
            line_life: 0.8,
            outputs: Vec::new(),
        },
        record: Record {
            folder: "runs".into(),
            sync: Seconds(1.0),
        },
        forward: None,
        page: Page {
            listen: "127.0.0.1:0".into(),
            token_env: None,
        },
    }
}

/// Instruments with what came out of them.
struct Rig {
    instruments: Instruments,
    every: Vec<CalibratedReading>,
    judged: Vec<CalibratedReading>,
}

impl Rig {
    fn new() -> Self {
        Self::of(&invented_job())
    }

    fn of(job: &Job) -> Self {
        Self {
            instruments: Instruments::new(job).unwrap(),
            every: vec![],
            judged: vec![],
        }
    }

    fn push(&mut self, input: &Input) {
        let Self {
            instruments,
            every,
            judged,
        } = self;
        instruments.push(input, &mut |r| every.push(*r), &mut |r| judged.push(*r));
    }

    fn load(&mut self, at: Nanos, text: &str) {
        let bytes = format!("{text}\n").into_bytes();
        self.push(&Input::Received { port: 0, at, bytes });
    }

    fn depth(&mut self, at: Nanos, seq: u32, value: f64) {
        let mut bytes = Vec::new();
        Packet::new(seq, None, Some(value)).encode(&mut bytes);
        self.push(&Input::Received { port: 1, at, bytes });
    }

    fn tick(&mut self, at: Nanos) {
        self.push(&Input::Tick { at });
    }

    fn fault(&self, channel: ChannelId) -> &'static str {
        self.instruments.health(channel).fault.word()
    }

    fn of_channel(&self, channel: ChannelId) -> Vec<(f64, Flags)> {
        (self.judged.iter())
            .filter(|reading| reading.channel == channel)
            .map(|reading| (reading.value, reading.flags))
            .collect()
    }
}
