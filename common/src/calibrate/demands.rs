//! What a channel demands of its readings, from the job.

use super::Fault;
use super::stillness::Movement;
use crate::input::ChannelId;
use crate::job::{self, Job};
use crate::model::line::LineInFluid;
use crate::time::{Nanos, nanos};
use crate::units::Seconds;

/// Part of the line's breaking load below which a jump of the load is never a spike, m of line
/// likewise for depth. Chosen well above the noise of the instruments (common practice, no
/// source) and well below what matters to an alarm.
const SPIKE_FLOOR_LOAD: f64 = 0.005;
const SPIKE_FLOOR_DEPTH: f64 = 0.2;

/// Likewise what makes a fault when it comes often: far above the steps of a coarse indicator, and below the
/// weight of a tool. A load below the last is none at all.
const LEAP_FLOOR_LOAD: f64 = 0.025;
const LEAP_FLOOR_DEPTH: f64 = 5.0;
const NOTHING_LOAD: f64 = 0.01;

/// No zero error of a load cell is as large as this part of the breaking load, and no line pushes.
const NEGATIVE_LOAD: f64 = -0.05;

/// No counter reads less, whatever its zero is, m.
const DEPTH_MIN: f64 = -200.0;
const EVERYTHING: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

/// An unchanged load is frozen once the line moved this far, m; an unchanged depth while the tension moves to and fro
/// by this part of the breaking load. A line at rest does neither.
const FROZEN_NEEDS_LINE: f64 = 2.0;
const FROZEN_NEEDS_LOAD: f64 = 0.04;

/// Silence that counts as a gap where the job names no instrument (imported runs).
const STALE_AFTER: Seconds = Seconds(2.0);

/// What a channel demands of its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demands {
    /// Silence that counts as a gap.
    pub stale_after: Nanos,
    /// Time without change that may count as frozen; 0: never.
    pub frozen_after: Nanos,
    /// What the *other* channel does when an unchanged value is frozen.
    pub frozen_when: Movement,
    /// Smallest believable raw value.
    pub raw_min: f64,
    /// Largest believable raw value.
    pub raw_max: f64,
    /// Smallest and largest believable value of a reading that came raw, N or m.
    pub believable: (f64, f64),
    /// Jumps below this (N or m) are never spikes.
    pub spike_floor: f64,
    /// Spikes from this height on (N or m) make a fault when there are many.
    pub leap_floor: f64,
    /// A load below this is none, N; `None` for the depth.
    pub nothing: Option<f64>,
    /// Readings that stay below this (N) are no tension of a line.
    pub negative_below: f64,
}

impl Demands {
    /// What the job demands of a channel.
    pub fn of(job: &Job, channel: ChannelId) -> Self {
        let breaking = job.line.breaking_load.si();
        match channel {
            ChannelId::Load => Self {
                spike_floor: SPIKE_FLOOR_LOAD * breaking,
                leap_floor: LEAP_FLOOR_LOAD * breaking,
                nothing: Some(NOTHING_LOAD * breaking),
                negative_below: NEGATIVE_LOAD * breaking,
                frozen_when: Movement::Range(FROZEN_NEEDS_LINE),
                ..Self::of_instrument(job.load.as_ref().map(|load| &load.channel))
            },
            ChannelId::Depth => Self {
                spike_floor: SPIKE_FLOOR_DEPTH,
                leap_floor: LEAP_FLOOR_DEPTH,
                frozen_when: Movement::Swings {
                    least_n: FROZEN_NEEDS_LOAD * breaking,
                    ea_n: LineInFluid::from_job(&job.line, &job.fluid).ea_n,
                },
                believable: believable_depth(job),
                ..Self::of_instrument(job.depth.as_ref().map(|depth| &depth.channel))
            },
        }
    }

    /// What the section of the instrument says; of the rest nothing is demanded.
    fn of_instrument(channel: Option<&job::Channel>) -> Self {
        let time = |duration: Seconds| nanos(duration.si()).unwrap_or(Nanos::MAX);
        Self {
            stale_after: time(channel.map_or(STALE_AFTER, |channel| channel.stale_after)),
            frozen_after: channel.map_or(0, |channel| time(channel.frozen_after)),
            frozen_when: Movement::Range(f64::INFINITY),
            raw_min: channel.map_or(f64::NEG_INFINITY, |channel| channel.raw_min),
            raw_max: channel.map_or(f64::INFINITY, |channel| channel.raw_max),
            believable: EVERYTHING,
            spike_floor: 0.0,
            leap_floor: f64::INFINITY,
            nothing: None,
            negative_below: f64::NEG_INFINITY,
        }
    }

    /// Whether a reading is in range: raw, and what calibration makes of it.
    pub fn believes(&self, raw: f64, value: f64) -> bool {
        let (low, high) = self.believable;
        (self.raw_min..=self.raw_max).contains(&raw) && (low..=high).contains(&value)
    }

    /// Whether a tension is below any zero error.
    pub fn is_negative(&self, value: f64) -> bool {
        value < self.negative_below
    }

    /// What is wrong with such a reading when it lasts.
    pub fn objects(&self, raw: f64, value: f64) -> Fault {
        if !self.believes(raw, value) {
            Fault::Range
        } else if self.is_negative(value) {
            Fault::Negative
        } else {
            Fault::None
        }
    }
}

/// Line paid out that makes sense in this well, m: from well above any zero of a counter to well below the deepest
/// place that the job names. Where the job says itself what to believe, that holds alone.
fn believable_depth(job: &Job) -> (f64, f64) {
    let says = |channel: &job::Channel| channel.raw_min > f64::MIN || channel.raw_max < f64::MAX;
    if job.depth.as_ref().is_none_or(|depth| says(&depth.channel)) {
        return EVERYTHING;
    }
    let stations = job.survey.iter().map(|station| station.md.si());
    let deepest = stations.fold(job.info.interval_bottom.si(), f64::max);
    (DEPTH_MIN, 1.5 * deepest + 500.0)
}
