//! Limits of alarms, alone and against the interval.

use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::job::report::Report;
use crate::job::significant;

pub(super) fn alarm(job: &Job, report: &Report<'_>) {
    let alarm = &job.alarm;
    if let Some(limit) = alarm.tension_limit {
        report.within("alarm", "tension_limit", limit.si(), D::Force, 100.0, 200e3);
    }
    let fraction = alarm.tension_fraction;
    if !(0.05..=1.0).contains(&fraction) {
        // A number above one has been taken for per cent, and would not be known again by its writer.
        report.fault(
            "alarm",
            "tension_fraction",
            format!("{fraction}, which is {} %", significant(100.0 * fraction)),
            "a number from 0.05 to 1, or per cent from 5 to 100",
        );
    }
    if alarm.tension_fraction > 0.8 && alarm.tension_fraction <= 1.0 {
        report.warn(
            "alarm",
            "tension_fraction",
            format!(
                "{}, leaving little time before the weakest link parts",
                alarm.tension_fraction
            ),
            "0.5 to 0.6 (common practice; ask the owner of the line)",
        );
    }
    report.number_within("alarm", "line_life", alarm.line_life, 0.01, 1.0);
    report.all_within(
        "alarm",
        &[
            ("overpull", alarm.overpull.si(), D::Force, 10.0, 200e3),
            ("slack", alarm.slack.si(), D::Force, 1.0, 200e3),
            ("speed", alarm.speed.si(), D::Speed, 0.01, 20.0),
            ("approaching", alarm.approaching.si(), D::Time, 0.0, 60.0),
        ],
    );
    if let Some(upper) = alarm.upper_stop
        && upper.si() > job.info.interval_top.si()
    {
        report.fault(
            "alarm",
            "upper_stop",
            format!(
                "{}, below the top of the interval at {}",
                D::Length.show(upper.si()),
                D::Length.show(job.info.interval_top.si())
            ),
            "a stop above the interval",
        );
    }
    if let Some(lower) = alarm.lower_stop
        && lower.si() < job.info.interval_bottom.si()
    {
        report.fault(
            "alarm",
            "lower_stop",
            format!(
                "{}, above the bottom of the interval at {}",
                D::Length.show(lower.si()),
                D::Length.show(job.info.interval_bottom.si())
            ),
            "a stop below the interval",
        );
    }
}
