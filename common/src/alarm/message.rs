//! One plain sentence for each alarm: what, how much, what to do.

use super::rule::{AlarmKind, Level};
use crate::input::ChannelId;
use crate::units::{METRES_PER_FOOT, NEWTONS_PER_LBF};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// What a condition is measured against. No variant but `Text` allocates.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Detail {
    /// Nothing more is known.
    #[default]
    None,
    /// The limit, in the unit of the value.
    Limit(f64),
    /// Pull above the expected pick-up weight: by how much, and how much is allowed, N.
    Excess {
        /// By how much, N.
        above_n: f64,
        /// How much is allowed, N.
        allowed_n: f64,
    },
    /// Time to the limit, s, and the limit, N.
    TimeToLimit {
        /// Seconds.
        seconds: f64,
        /// Newtons.
        limit_n: f64,
    },
    /// A word or half a sentence, e.g. `stale` or `disk full`.
    Text(Cow<'static, str>),
}

/// The sentence. `value` is the latest (or worst) value of the condition, in SI.
pub(super) fn sentence(
    kind: AlarmKind,
    level: Level,
    value: Option<f64>,
    detail: &Detail,
    field_units: bool,
) -> String {
    let force = |n: f64| {
        if field_units {
            format!("{:.0} lbf", n / NEWTONS_PER_LBF)
        } else {
            format!("{n:.0} N")
        }
    };
    let depth = |m: f64| {
        if field_units {
            format!("{:.1} ft", m / METRES_PER_FOOT)
        } else {
            format!("{m:.1} m")
        }
    };
    let speed = |v: f64| {
        if field_units {
            format!("{:.0} ft/min", v / METRES_PER_FOOT * 60.0)
        } else {
            format!("{v:.2} m/s")
        }
    };
    let number =
        |show: &dyn Fn(f64) -> String| value.map_or_else(String::new, |v| format!(" {}", show(v)));
    let limit = |show: &dyn Fn(f64) -> String, word: &str| match detail {
        Detail::Limit(limit) => format!(" {word} {}", show(*limit)),
        _ => String::new(),
    };
    let text = match detail {
        Detail::Text(text) if !text.is_empty() => format!(" ({text})"),
        _ => String::new(),
    };
    match (kind, level) {
        (AlarmKind::Overpull, Level::High) => format!(
            "Line tension{} has reached the limit{}: stop pulling and slack off.",
            number(&force),
            limit(&force, "of")
        ),
        (AlarmKind::Overpull, Level::Low) => match detail {
            Detail::Excess { above_n, allowed_n } => format!(
                "Pull is {} above the expected pick-up weight ({} allowed): stop and find out what holds the tool.",
                force(*above_n),
                force(*allowed_n)
            ),
            _ => format!(
                "Pull{} is above the expected pick-up weight: stop and find out what holds the tool.",
                number(&force)
            ),
        },
        (AlarmKind::Approaching, _) => match detail {
            Detail::TimeToLimit { seconds, limit_n } => format!(
                "Line tension reaches the limit of {} in about {:.1} s at this rate: stop pulling.",
                force(*limit_n),
                seconds.max(0.0)
            ),
            _ => "Line tension is about to reach the limit: stop pulling.".to_owned(),
        },
        (AlarmKind::Slack, _) => format!(
            "Line tension{} is below the slack-off weight{}: stop lowering.",
            number(&force),
            limit(&force, "less the allowance,")
        ),
        (AlarmKind::Stall, _) => format!(
            "The line moves but the tool does not, line tension{}: stop, slack off, then try again.",
            number(&force)
        ),
        (AlarmKind::Speed, _) => format!(
            "Line speed{} is above the limit{}: slow down.",
            number(&speed),
            limit(&speed, "of")
        ),
        (AlarmKind::UpperStop, _) => format!(
            "The wheels are at{}, above the upper stop{}: stop pulling out.",
            number(&depth),
            limit(&depth, "at")
        ),
        (AlarmKind::LowerStop, _) => format!(
            "The wheels are at{}, below the lower stop{}: stop lowering.",
            number(&depth),
            limit(&depth, "at")
        ),
        (AlarmKind::Sensor(ChannelId::Load), _) => format!(
            "The load reading is not to be trusted{text}: overpull cannot be seen, stop and look at the load cell."
        ),
        (AlarmKind::Sensor(ChannelId::Depth), _) => format!(
            "The depth reading is not to be trusted{text}: go by the mechanical counter and look at the encoder."
        ),
        (AlarmKind::LineLife, _) => {
            let percent = |v: f64| format!("{:.0} %", v * 100.0);
            format!(
                "The most bent section of line has used{} of its bending life{}: cut back line or move the interval on the drum.",
                number(&percent),
                limit(&percent, "where the limit is")
            )
        }
        (AlarmKind::Recorder, _) => {
            format!(
                "The recording is in trouble{text}: free the disk, or what happens now may not be kept."
            )
        }
        (AlarmKind::Forward, _) => {
            format!("Forwarding to the server is behind{text}: nothing is lost, it is sent later.")
        }
        (AlarmKind::Output, _) => {
            format!(
                "An alarm output does not answer{text}: do not rely on horn or relay until it is put right."
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::rule::ALARMS;
    use super::*;

    #[test]
    fn every_alarm_has_one_sentence_that_ends_with_what_to_do() {
        for (kind, level) in ALARMS {
            for detail in [
                Detail::None,
                Detail::Limit(1.0),
                Detail::Text("stale".into()),
            ] {
                let text = sentence(kind, level, Some(2.0), &detail, false);
                assert!(text.ends_with('.') && text.contains(": "), "{text}");
                assert!(!text.contains("  ") && !text.contains("NaN"), "{text}");
            }
        }
    }

    #[test]
    fn figures_are_in_the_units_of_the_job() {
        let detail = Detail::Limit(4448.2);
        let metric = sentence(
            AlarmKind::Overpull,
            Level::High,
            Some(4500.0),
            &detail,
            false,
        );
        assert_eq!(
            metric,
            "Line tension 4500 N has reached the limit of 4448 N: stop pulling and slack off."
        );
        let field = sentence(
            AlarmKind::Overpull,
            Level::High,
            Some(4500.0),
            &detail,
            true,
        );
        assert!(
            field.contains("1012 lbf") && field.contains("1000 lbf"),
            "{field}"
        );
    }
}
