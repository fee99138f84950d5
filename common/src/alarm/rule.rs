//! The kinds of alarms and how each behaves in time.

use crate::input::ChannelId;
use serde::{Deserialize, Serialize};

/// Priority.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Look soon.
    Low,
    /// Act now.
    High,
}

impl Level {
    /// `high` or `low`.
    pub const fn name(self) -> &'static str {
        match self {
            Level::Low => "low",
            Level::High => "high",
        }
    }
}

/// What an alarm is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmKind {
    /// `High`: tension at the limit of the weakest link. `Low`: pull above the expected pick-up
    /// weight. Two alarms of one name, told apart by their level.
    Overpull,
    /// The tension limit is near at the present slope.
    Approaching,
    /// The line does not carry its weight.
    Slack,
    /// The line moves and the tool does not.
    Stall,
    /// Line too fast.
    Speed,
    /// Tool above the upper stop.
    UpperStop,
    /// Tool below the lower stop.
    LowerStop,
    /// An instrument is silent, frozen, out of range or garbled; one alarm for each channel.
    Sensor(ChannelId),
    /// Bending life used up.
    LineLife,
    /// The recording is in trouble.
    Recorder,
    /// Forwarding is behind.
    Forward,
    /// A horn, relay or command does not answer.
    Output,
}

use AlarmKind as K;

impl AlarmKind {
    /// Every name, in the order of the kinds.
    pub const NAMES: [&'static str; 12] = [
        "overpull",
        "approaching",
        "slack",
        "stall",
        "speed",
        "upper_stop",
        "lower_stop",
        "sensor",
        "line_life",
        "recorder",
        "forward",
        "output",
    ];

    /// Name in records, events and commands; both channels share `sensor`
    /// ([`AlarmKind::name_of_one`] tells them apart).
    pub const fn name(self) -> &'static str {
        match self {
            K::Overpull => "overpull",
            K::Approaching => "approaching",
            K::Slack => "slack",
            K::Stall => "stall",
            K::Speed => "speed",
            K::UpperStop => "upper_stop",
            K::LowerStop => "lower_stop",
            K::Sensor(_) => "sensor",
            K::LineLife => "line_life",
            K::Recorder => "recorder",
            K::Forward => "forward",
            K::Output => "output",
        }
    }

    /// Whether `name` is of an alarm that the daemon judges about itself: never part of the result of a run.
    pub fn is_of_daemon(name: &str) -> bool {
        [K::Recorder, K::Forward, K::Output]
            .iter()
            .any(|kind| kind.name() == name)
    }

    /// Which of several alarms of one name: the instrument; else empty.
    pub const fn about(self) -> &'static str {
        match self {
            K::Sensor(ChannelId::Load) => "load",
            K::Sensor(ChannelId::Depth) => "depth",
            _ => "",
        }
    }

    /// The same for a record, which leaves it out where there is none.
    pub fn about_on_record(self) -> Option<String> {
        Some(self.about())
            .filter(|about| !about.is_empty())
            .map(str::to_owned)
    }

    /// Name in commands and marks of the one alarm of a kind that is about `about`: `sensor load`. The name of the
    /// kind alone means every alarm of it.
    pub fn name_of_one(kind: &str, about: &str) -> String {
        format!("{kind} {about}")
    }

    /// Such a name again: the kind and, unless all of it are meant, which one.
    pub fn split_name(name: &str) -> (&str, Option<&str>) {
        match name.split_once(' ') {
            Some((kind, about)) => (kind, Some(about)),
            None => (name, None),
        }
    }

    /// Priority where the caller has no reason for another.
    pub const fn usual_level(self) -> Level {
        match self {
            K::Overpull | K::Approaching | K::Stall | K::Sensor(_) | K::Recorder | K::Output => {
                Level::High
            }
            K::Slack | K::Speed | K::UpperStop | K::LowerStop | K::LineLife | K::Forward => {
                Level::Low
            }
        }
    }
}

/// The alarms that exist, in the order in which they are kept.
pub(super) const ALARMS: [(AlarmKind, Level); 14] = [
    (K::Overpull, Level::High),
    (K::Overpull, Level::Low),
    (K::Approaching, Level::High),
    (K::Slack, Level::Low),
    (K::Stall, Level::High),
    (K::Speed, Level::Low),
    (K::UpperStop, Level::Low),
    (K::LowerStop, Level::Low),
    (K::Sensor(ChannelId::Load), Level::High),
    (K::Sensor(ChannelId::Depth), Level::High),
    (K::LineLife, Level::Low),
    (K::Recorder, Level::High),
    (K::Forward, Level::Low),
    (K::Output, Level::High),
];

/// Position in [`ALARMS`]; the level only matters for overpull.
pub(super) fn slot(kind: AlarmKind, level: Level) -> usize {
    match (kind, level) {
        (K::Overpull, Level::High) => 0,
        (K::Overpull, Level::Low) => 1,
        (K::Approaching, _) => 2,
        (K::Slack, _) => 3,
        (K::Stall, _) => 4,
        (K::Speed, _) => 5,
        (K::UpperStop, _) => 6,
        (K::LowerStop, _) => 7,
        (K::Sensor(ChannelId::Load), _) => 8,
        (K::Sensor(ChannelId::Depth), _) => 9,
        (K::LineLife, _) => 10,
        (K::Recorder, _) => 11,
        (K::Forward, _) => 12,
        (K::Output, _) => 13,
    }
}

/// Whether the value must stay below or above the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Alarm at or above the limit.
    Above,
    /// Alarm at or below the limit.
    Below,
}

/// How an alarm behaves in time.
///
/// Pull above pick-up weight waits 0.1 s, for what a coupling or a jerk of the winch does; the limit itself waits for
/// nothing.
///
/// *Source*: an overpull alarm with 0 to 0.3 s of on-delay, seconds of off-delay, a deadband of
/// 1-2 % of the limit, a latch and no shelving follows from how fast a stall reaches the limit (`EA/L` times line
/// speed, seconds); the other figures are common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// The clear limit lies this fraction of the limit inside of it.
    pub deadband: f64,
    /// The condition must hold this long, s.
    pub on_delay_s: f64,
    /// The condition must be gone this long, s.
    pub off_delay_s: f64,
    /// Held until acknowledged and reset.
    pub latching: bool,
    /// May the operator put it aside for a while.
    pub shelvable: bool,
}

impl Rule {
    /// The rule of a kind at a level.
    pub fn of(kind: AlarmKind, level: Level) -> Rule {
        let rule = |deadband, on_delay_s, off_delay_s| Rule {
            deadband,
            on_delay_s,
            off_delay_s,
            latching: false,
            shelvable: true,
        };
        match (kind, level) {
            (K::Overpull, Level::High) => Rule {
                deadband: 0.015,
                on_delay_s: 0.0,
                off_delay_s: 3.0,
                latching: true,
                shelvable: false,
            },
            (K::Overpull, Level::Low) => rule(0.05, 0.1, 3.0),
            (K::Approaching, _) => rule(0.0, 0.0, 2.0),
            // A tool that nearly stands while it cuts its first passes is no slack line yet.
            (K::Slack, _) => rule(0.02, 1.0, 3.0),
            (K::Stall, _) => rule(0.0, 0.0, 2.0),
            (K::Speed, _) => rule(0.05, 1.0, 3.0),
            // A stop is a place: its deadband would grow with depth, the delay does the work.
            (K::UpperStop | K::LowerStop, _) => rule(0.0, 0.0, 2.0),
            // Stale and frozen have their delay in the channel already.
            (K::Sensor(_), _) => rule(0.0, 0.0, 5.0),
            (K::LineLife, _) => rule(0.01, 0.0, 10.0),
            (K::Recorder, _) => rule(0.0, 0.0, 10.0),
            // What the daemon judges itself has its on-delay there.
            (K::Forward, _) => rule(0.0, 0.0, 30.0),
            (K::Output, _) => rule(0.0, 0.0, 10.0),
        }
    }

    /// Whether `value` is a reason for alarm, when it was one before (`was`) or not.
    /// NaN is none: a sensor that gives no number is the sensor alarm's business.
    pub fn exceeds(&self, was: bool, value: f64, limit: f64, sense: Sense) -> bool {
        let band = if was {
            self.deadband * limit.abs()
        } else {
            0.0
        };
        match sense {
            Sense::Above => value >= limit - band,
            Sense::Below => value <= limit + band,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_alarm_has_its_own_slot() {
        for (position, (kind, level)) in ALARMS.into_iter().enumerate() {
            assert_eq!(slot(kind, level), position, "{kind:?}");
        }
    }

    #[test]
    fn the_list_of_names_is_that_of_the_kinds() {
        let mut names: Vec<&str> = ALARMS.iter().map(|(kind, _)| kind.name()).collect();
        names.dedup();
        assert_eq!(names, AlarmKind::NAMES);
    }

    #[test]
    fn deadband_moves_only_the_clear_limit() {
        let rule = Rule::of(K::Overpull, Level::High);
        assert!(!rule.exceeds(false, 990.0, 1000.0, Sense::Above));
        assert!(rule.exceeds(true, 990.0, 1000.0, Sense::Above));
        assert!(!rule.exceeds(true, 980.0, 1000.0, Sense::Above));
        let rule = Rule::of(K::Slack, Level::Low);
        assert!(rule.exceeds(false, 999.0, 1000.0, Sense::Below));
        assert!(rule.exceeds(true, 1015.0, 1000.0, Sense::Below));
        assert!(!rule.exceeds(true, 1025.0, 1000.0, Sense::Below));
        assert!(!rule.exceeds(true, f64::NAN, 1000.0, Sense::Below));
    }

    #[test]
    fn top_level_overpull_has_no_delay_latches_and_cannot_be_shelved() {
        let rule = Rule::of(K::Overpull, Level::High);
        assert!(rule.on_delay_s <= 0.3 && rule.latching && !rule.shelvable);
    }
}
