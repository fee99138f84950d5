//! What the instruments do when they misbehave, from inputs to readings and health.

use super::*;
use crate::calibrate::Flags;
use crate::decode::packet::Packet;
use crate::job::{
    AlarmLimits, Counts, Cutter, DepthChannel, Display, Fluid, JobInfo, Line, LoadChannel, Mount,
    Page, Protocol, Record, SurveyStation, Tool, Tubular,
};
use crate::units::*;

const MS: Nanos = 1_000_000;

fn channel(port: &str, protocol: Protocol) -> job::Channel {
    job::Channel {
        port: port.to_owned(),
        baud: 9600,
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

#[test]
fn silent_port_is_stale_and_the_next_reading_carries_the_gap() {
    let mut rig = Rig::new();
    rig.load(0, "100");
    rig.tick(1_900 * MS);
    assert_eq!(rig.fault(ChannelId::Load), "");
    for at in [2_100, 2_200, 4_000] {
        rig.tick(at * MS);
        assert_eq!(rig.fault(ChannelId::Load), "stale");
    }
    rig.load(5_000 * MS, "101");
    assert_eq!(rig.fault(ChannelId::Load), "");
    assert_eq!(rig.of_channel(ChannelId::Load)[1], (101.0, Flags::GAP));
    assert_eq!(rig.instruments.health(ChannelId::Load).gaps, 1);
}

#[test]
fn instrument_that_never_spoke_is_stale() {
    let mut rig = Rig::new();
    rig.tick(0);
    assert_eq!(rig.fault(ChannelId::Depth), "");
    rig.tick(2_500 * MS);
    assert_eq!(rig.fault(ChannelId::Depth), "stale");
    assert_eq!(rig.instruments.health(ChannelId::Depth).last_good_at, None);
}

#[test]
fn spike_is_set_aside_for_estimation_only_and_the_overpull_path_sees_it_at_once() {
    let mut rig = Rig::new();
    for index in 0..20 {
        rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
    }
    rig.load(2_000 * MS, "6000");
    assert_eq!(rig.every.last().unwrap().value, 6000.0);
    assert_eq!(rig.judged.len(), 20);
    rig.load(2_100 * MS, "2001");
    let judged = rig.of_channel(ChannelId::Load);
    assert_eq!(judged[20], (6000.0, Flags::SPIKE));
    assert_eq!(judged[21], (2001.0, Flags::NONE));
    assert_eq!(rig.instruments.health(ChannelId::Load).spikes, 1);
}

#[test]
fn pull_that_lasts_two_readings_is_handed_to_estimation() {
    let mut rig = Rig::new();
    for index in 0..20 {
        rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
    }
    rig.load(2_000 * MS, "6000");
    rig.load(2_100 * MS, "6020");
    let judged = rig.of_channel(ChannelId::Load);
    assert_eq!(judged[20..], [(6000.0, Flags::NONE), (6020.0, Flags::NONE)]);
    assert_eq!(rig.instruments.health(ChannelId::Load).spikes, 0);
}

#[test]
fn held_reading_comes_out_in_silence_and_at_the_end() {
    for end_of_run in [false, true] {
        let mut rig = Rig::new();
        for index in 0..20 {
            rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
        }
        rig.load(2_000 * MS, "6000");
        if end_of_run {
            let Rig {
                instruments,
                judged,
                ..
            } = &mut rig;
            instruments.finish(&mut |reading| judged.push(*reading));
        } else {
            rig.tick(4_100 * MS);
        }
        assert_eq!(
            rig.of_channel(ChannelId::Load).last(),
            Some(&(6000.0, Flags::NONE))
        );
    }
}

#[test]
fn out_of_range_value_is_flagged_counted_and_still_seen() {
    let mut rig = Rig::new();
    rig.load(0, "2000");
    rig.load(100 * MS, "32767");
    assert_eq!(rig.fault(ChannelId::Load), "range");
    assert_eq!(rig.every[1].value, 32_767.0);
    assert!(rig.judged[1].flags.has(Flags::OUT_OF_RANGE));
    assert!(!rig.judged[1].flags.usable());
    rig.load(200 * MS, "2000");
    assert_eq!(rig.fault(ChannelId::Load), "");
    let health = rig.instruments.health(ChannelId::Load);
    assert_eq!((health.out_of_range, health.readings), (1, 3));
}

#[test]
fn frozen_load_is_found_while_the_line_moves_and_not_while_it_rests() {
    for (speed, fault) in [(0.0, ""), (1.0, "frozen")] {
        let mut rig = Rig::new();
        for index in 0..100_u32 {
            let at = Nanos::from(index) * 100 * MS;
            rig.load(at, "2000");
            rig.depth(at, index, 1000.0 + speed * f64::from(index) * 0.1);
        }
        assert_eq!(rig.fault(ChannelId::Load), fault);
        let frozen = |(_, flags): &(f64, Flags)| flags.has(Flags::FROZEN);
        let seen = rig.of_channel(ChannelId::Load).iter().any(frozen);
        assert_eq!(seen, speed > 0.0);
        rig.load(10_000 * MS, "2001");
        assert_eq!(rig.fault(ChannelId::Load), "");
    }
}

#[test]
fn frozen_depth_is_found_while_tension_changes_much() {
    for (range, fault) in [(100.0, ""), (1500.0, "frozen")] {
        let mut rig = Rig::new();
        for index in 0..100_u32 {
            let at = Nanos::from(index) * 100 * MS;
            rig.load(
                at,
                &format!("{}", 2000.0 + range * f64::from(index) / 100.0),
            );
            rig.depth(at, index, 1000.0);
        }
        assert_eq!(rig.fault(ChannelId::Depth), fault);
    }
}

#[test]
fn duplicated_and_reordered_frames_are_set_aside_and_counted() {
    let mut rig = Rig::new();
    for (step, seq) in [1, 2, 2, 4, 3, 5].into_iter().enumerate() {
        rig.depth(step as Nanos * 50 * MS, seq, 1000.0 + f64::from(seq) * 0.01);
    }
    let flags: Vec<Flags> = (rig.of_channel(ChannelId::Depth).iter())
        .map(|(_, flags)| *flags)
        .collect();
    assert_eq!(
        flags,
        [
            Flags::NONE,
            Flags::NONE,
            Flags::DUPLICATE,
            Flags::NONE,
            Flags::REORDERED,
            Flags::NONE
        ]
    );
    let health = rig.instruments.health(ChannelId::Depth);
    assert_eq!(
        (health.duplicates, health.reordered, health.missing),
        (1, 1, 1)
    );
}

#[test]
fn instrument_that_repeats_one_frame_for_ever_is_stale() {
    let mut rig = Rig::new();
    for index in 0..40 {
        rig.depth(index * 100 * MS, 7, 1000.0);
    }
    assert_eq!(rig.fault(ChannelId::Depth), "stale");
}

#[test]
fn lost_port_is_closed_and_the_other_channel_goes_on() {
    let mut rig = Rig::new();
    rig.load(0, "2000");
    rig.depth(0, 1, 1000.0);
    rig.push(&Input::Port {
        port: 0,
        at: MS,
        open: false,
    });
    rig.depth(100 * MS, 2, 1000.1);
    assert_eq!(rig.fault(ChannelId::Load), "closed");
    assert_eq!(rig.fault(ChannelId::Depth), "");
    rig.push(&Input::Port {
        port: 0,
        at: 200 * MS,
        open: true,
    });
    rig.load(300 * MS, "00"); // may be the end of a longer line
    rig.load(400 * MS, "2000");
    assert_eq!(rig.fault(ChannelId::Load), "");
    let values: Vec<f64> = rig
        .of_channel(ChannelId::Load)
        .iter()
        .map(|v| v.0)
        .collect();
    assert_eq!(values, [2000.0, 2000.0]);
    assert_eq!(rig.instruments.health(ChannelId::Load).port_losses, 1);
}

#[test]
fn garbage_of_a_wrong_baud_rate_is_called_frames_and_not_silence() {
    let mut rig = Rig::new();
    for index in 0..60 {
        let bytes = vec![0xE6, 0x1E, 0x86, b'\n', 0x98, 0xFE, b'\r'];
        let at = index * 100 * MS;
        rig.push(&Input::Received { port: 0, at, bytes });
        rig.tick(at);
    }
    assert_eq!(rig.fault(ChannelId::Load), "frames");
    assert!(rig.instruments.health(ChannelId::Load).bad_frames > 100);
    assert!(rig.every.is_empty());
}

#[test]
fn rate_is_that_of_the_last_seconds() {
    let mut rig = Rig::new();
    for index in 0..100 {
        rig.load(index * 50 * MS, "1");
    }
    let health = rig.instruments.health(ChannelId::Load);
    assert!((health.rate_hz - 20.0).abs() < 1e-9, "{}", health.rate_hz);
    rig.tick(20_000 * MS);
    rig.tick(23_000 * MS);
    assert_eq!(rig.instruments.health(ChannelId::Load).rate_hz, 0.0);
}

#[test]
fn setting_the_counter_moves_depth_from_then_on() {
    let mut rig = Rig::new();
    rig.depth(0, 1, 1000.0);
    rig.push(&Input::Mark {
        at: MS,
        mark: crate::input::Mark {
            kind: MarkKind::Zero(1003.0),
            author: String::new(),
        },
    });
    rig.depth(2 * MS, 2, 1000.5);
    let depths: Vec<f64> = rig
        .of_channel(ChannelId::Depth)
        .iter()
        .map(|v| v.0)
        .collect();
    assert_eq!(depths, [1000.0, 1003.5]);
}

#[test]
fn imported_readings_need_no_port() {
    let mut job = invented_job();
    (job.load, job.depth) = (None, None);
    let mut rig = Rig::of(&job);
    rig.push(&Input::Reading {
        channel: ChannelId::Load,
        at: 0,
        value: 99_999.0,
    });
    assert_eq!(rig.of_channel(ChannelId::Load), [(99_999.0, Flags::NONE)]);
}

#[test]
fn one_port_may_carry_both_channels() {
    let mut job = invented_job();
    let port = job.load.as_ref().unwrap().channel.port.clone();
    let shared = channel(&port, Protocol::Packet);
    job.load.as_mut().unwrap().channel = shared.clone();
    job.depth.as_mut().unwrap().channel = shared;
    let mut rig = Rig::of(&job);
    let mut bytes = Vec::new();
    Packet::new(1, Some(2000.0), Some(1000.0)).encode(&mut bytes);
    rig.push(&Input::Received {
        port: 0,
        at: 0,
        bytes,
    });
    assert_eq!(rig.judged.len(), 2);
    let mut mixed = job.clone();
    let pattern = "(?<depth>.*)".to_owned();
    mixed.depth.as_mut().unwrap().channel = channel(&port, Protocol::Pattern { pattern });
    let error = Instruments::new(&mixed).unwrap_err();
    assert!(error.to_string().contains("share port"), "{error}");
}

#[test]
fn temperature_in_the_line_corrects_the_load_and_an_impossible_one_does_not() {
    let mut job = invented_job();
    if let Some(load) = &mut job.load {
        load.channel.protocol = Protocol::Pattern {
            pattern: r"^(?<load>\S+) (?<temperature>\S+)$".to_owned(),
        };
        load.temperature = Some(job::CellTemperature {
            zero_per_kelvin: Newtons(3.0),
            span_per_kelvin: 0.0002,
            reference_c: 20.0,
            constant_c: None,
            unit: job::TemperatureUnit::Celsius,
        });
    }
    let mut instruments = Instruments::new(&job).expect("set up");
    let mut values = Vec::new();
    // 2000 N at 45 degC: 2000 x 1.005 + 75 = 2085 (by hand).
    for line in ["2000 20.0", "2085 45.0", "2085 999", "1915 -5"] {
        let input = Input::Received {
            port: 0,
            at: 0,
            bytes: format!("{line}\r\n").into_bytes(),
        };
        instruments.push(&input, &mut |r| values.push(r.value), &mut |_| {});
    }
    let wanted = [2000.0, 2000.0, 2000.0, 2000.0];
    for (found, wanted) in values.iter().zip(wanted) {
        assert!((found - wanted).abs() < 0.02, "{values:?}");
    }
    assert_eq!(values.len(), 4);
    assert_eq!(instruments.health(ChannelId::Load).out_of_range, 1);
}
