//! One plain sentence for each alarm: what, how much, what to do.

use super::rule::{AlarmKind, Level};
use crate::input::ChannelId;
use crate::job::fixed;
use crate::units::{METRES_PER_FOOT, NEWTONS_PER_LBF};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// What a condition is measured against. No variant but those of text allocates.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Detail {
    /// Nothing more is known.
    #[default]
    None,
    /// The limit, in the unit of the value.
    Limit(f64),
    /// Pull above the expected pick-up weight: by how much now and at most, and how much is allowed, N.
    Excess {
        /// By how much, N.
        above_n: f64,
        /// By how much at most since it began, N.
        #[serde(default)]
        most_n: f64,
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
    /// The depth counter has leapt by so much, m.
    Leapt(f64),
    /// The load cell reads so much more than before, or less, up and down alike, N.
    ZeroStepped(f64),
    /// The same of an instrument of which a part can still be used.
    Partly(Cow<'static, str>),
    /// Nothing has come since the program itself did not run: no fault of the instrument yet.
    Away,
}

/// A value of a condition, in SI: the latest, and for forces the greatest since the alarm was raised.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Told {
    /// The latest while the condition held.
    pub(super) value: Option<f64>,
    /// The greatest.
    pub(super) peak: Option<f64>,
    /// The condition holds now, so that the latest is the present.
    pub(super) is_now: bool,
}

/// The sentence.
pub(super) fn sentence(
    kind: AlarmKind,
    level: Level,
    told: Told,
    detail: &Detail,
    field_units: bool,
) -> String {
    let Told {
        value,
        peak,
        is_now,
    } = told;
    let force = |n: f64| {
        if field_units {
            format!("{} lbf", fixed(n / NEWTONS_PER_LBF, 0))
        } else {
            format!("{} N", fixed(n, 0))
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
        Detail::Text(text) | Detail::Partly(text) if !text.is_empty() => format!(" ({text})"),
        _ => String::new(),
    };
    match (kind, level) {
        (AlarmKind::Overpull, Level::High) => format!(
            "Line tension{} has reached the limit{}{}: stop pulling and slack off.",
            peak.or(value)
                .map_or_else(String::new, |n| format!(" {}", force(n))),
            limit(&force, "of"),
            now_if_less(value, peak, is_now)
                .map_or_else(String::new, |n| format!(" (now {})", force(n)))
        ),
        (AlarmKind::Overpull, Level::Low) => match detail {
            Detail::Excess {
                above_n,
                most_n,
                allowed_n,
            } => format!(
                "Pull is {} above the expected pick-up weight ({} allowed{}): stop and find out what holds the tool.",
                force(most_n.max(*above_n)),
                force(*allowed_n),
                now_if_less(Some(*above_n), Some(*most_n), is_now)
                    .map_or_else(String::new, |n| format!(", now {}", force(n)))
            ),
            _ => format!(
                "Pull{} is above the expected pick-up weight: stop and find out what holds the tool.",
                number(&force)
            ),
        },
        (AlarmKind::Approaching, _) => match detail {
            Detail::TimeToLimit { seconds, limit_n } if *seconds < 0.05 => format!(
                "Line tension is at the limit of {}: stop pulling.",
                force(*limit_n)
            ),
            Detail::TimeToLimit { seconds, limit_n } => format!(
                "Line tension reaches the limit of {} in about {:.1} s at this rate: stop pulling.",
                force(*limit_n),
                seconds.max(0.0)
            ),
            _ => "Line tension is about to reach the limit: stop pulling.".to_owned(),
        },
        // No limit of tension is undercut: it is found from the tool, which stands while line goes in.
        (AlarmKind::Slack, _) => format!(
            "The tool does not go down with the line, which is slack above it{}{}: stop lowering.",
            value.map_or_else(String::new, |n| format!(", line tension {}", force(n))),
            lowest_if_less(value, peak)
                .map_or_else(String::new, |n| format!(" (lowest {})", force(n)))
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
        // Neither cell nor encoder has had its time to speak.
        (AlarmKind::Sensor(channel), _) if *detail == Detail::Away => {
            let (what, missed) = match channel {
                ChannelId::Load => ("load", ", overpull was not watched meanwhile"),
                ChannelId::Depth => ("depth", ""),
            };
            format!(
                "kerfwatch itself did not run for a while and has had no {what} reading since{missed}: wait for the first one."
            )
        }
        (AlarmKind::Sensor(ChannelId::Load), _) => {
            let overpull = match detail {
                Detail::ZeroStepped(by_n) => {
                    let (way, late) = if *by_n < 0.0 {
                        ("less", ", and overpull may be told that much too late")
                    } else {
                        ("more", "")
                    };
                    return format!(
                        "The load cell reads {} {way} than before, up and down alike{late}: look at its zero, the tool's weight and the well's pressure, then mark a weight check.",
                        force(by_n.abs())
                    );
                }
                Detail::Partly(_) => "may be seen late or not at all",
                _ => "cannot be seen",
            };
            format!(
                "The load reading is not to be trusted{text}: overpull {overpull}, stop and look at the load cell."
            )
        }
        (AlarmKind::Sensor(ChannelId::Depth), _) => match detail {
            Detail::Leapt(by_m) => format!(
                "The depth counter leapt by {}: set the counter at a depth you know; until then overpull goes by the least limit of the well.",
                depth(*by_m)
            ),
            _ => format!(
                "The depth reading is not to be trusted{text}: go by the mechanical counter and look at the encoder."
            ),
        },
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

/// The present, where it is worth a word beside the peak: it lasts, and has fallen by a fiftieth.
fn now_if_less(value: Option<f64>, peak: Option<f64>, is_now: bool) -> Option<f64> {
    value.filter(|value| is_now && peak.is_some_and(|peak| *value < 0.98 * peak))
}

/// The lowest so far, where it is worth a word beside the latest.
fn lowest_if_less(value: Option<f64>, lowest: Option<f64>) -> Option<f64> {
    lowest.filter(|lowest| value.is_some_and(|value| *lowest < 0.98 * value))
}

#[cfg(test)]
mod tests {
    use super::super::rule::ALARMS;
    use super::*;

    fn of(value: f64) -> Told {
        Told {
            value: Some(value),
            ..Told::default()
        }
    }

    #[test]
    fn an_overpull_is_told_by_its_peak_and_by_the_present_while_it_lasts() {
        let mut told = Told {
            value: Some(4600.0),
            peak: Some(5200.0),
            is_now: true,
        };
        let text = |told, detail: &Detail| {
            let level = match detail {
                Detail::Limit(_) => Level::High,
                _ => Level::Low,
            };
            sentence(AlarmKind::Overpull, level, told, detail, false)
        };
        let limit = Detail::Limit(4500.0);
        let excess = Detail::Excess {
            above_n: 600.0,
            most_n: 900.0,
            allowed_n: 500.0,
        };
        let both = text(told, &limit);
        assert!(both.contains("5200 N has reached the limit of 4500 N (now 4600 N):"));
        assert!(text(told, &excess).contains("900 N above"));
        assert!(text(told, &excess).contains("(500 N allowed, now 600 N)"));
        told.is_now = false;
        assert!(!text(told, &limit).contains("now"));
        assert!(text(told, &limit).contains("5200 N"));
    }

    #[test]
    fn a_slack_line_is_told_by_the_tool_and_not_by_a_weight_that_was_not_undercut() {
        let told = |value, lowest| {
            let told = Told {
                value: Some(value),
                peak: Some(lowest),
                is_now: true,
            };
            sentence(AlarmKind::Slack, Level::Low, told, &Detail::None, false)
        };
        // The winch picks up already; the tool has not moved yet.
        assert_eq!(
            told(1276.0, 575.0),
            "The tool does not go down with the line, which is slack above it, line tension 1276 N (lowest 575 N): \
             stop lowering."
        );
        assert!(!told(575.0, 575.0).contains("lowest"));
    }

    #[test]
    fn every_alarm_has_one_sentence_that_ends_with_what_to_do() {
        for (kind, level) in ALARMS {
            for detail in [
                Detail::None,
                Detail::Limit(1.0),
                Detail::Text("stale".into()),
                Detail::Away,
            ] {
                let text = sentence(kind, level, of(2.0), &detail, false);
                assert!(text.ends_with('.') && text.contains(": "), "{text}");
                assert!(!text.contains("  ") && !text.contains("NaN"), "{text}");
            }
        }
    }

    #[test]
    fn figures_are_in_the_units_of_the_job() {
        let detail = Detail::Limit(4448.2);
        let metric = sentence(AlarmKind::Overpull, Level::High, of(4500.0), &detail, false);
        assert_eq!(
            metric,
            "Line tension 4500 N has reached the limit of 4448 N: stop pulling and slack off."
        );
        let field = sentence(AlarmKind::Overpull, Level::High, of(4500.0), &detail, true);
        assert!(
            field.contains("1012 lbf") && field.contains("1000 lbf"),
            "{field}"
        );
        // Words in the wrong order make such numbers.
        let absurd = sentence(AlarmKind::Overpull, Level::High, of(3e38), &detail, false);
        assert!(absurd.starts_with("Line tension 3.0e38 N has"), "{absurd}");
    }
}
