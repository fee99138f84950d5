//! Where the cut is to be: survey, interval and couplings against each other.

use crate::job::quantity::Dimension as D;
use crate::job::report::Report;
use crate::job::{Job, SurveyStation};
use crate::model::wellpath::{PathError, WellPath};
use std::f64::consts::PI;

/// Wells that are drilled level do go up a little on their way; a tool on a line does not get up more.
const UPHILL: f64 = 100.0 / 180.0 * PI;

/// One station by itself.
pub(in crate::job) fn survey_station(name: &str, station: &SurveyStation, report: &Report<'_>) {
    report.all_within(
        name,
        &[
            ("md", station.md.si(), D::Length, 0.0, 15_000.0),
            ("inc", station.inc.si(), D::Angle, 0.0, PI),
            ("azi", station.azi.si(), D::Angle, -2.0 * PI, 2.0 * PI),
        ],
    );
    let inc = station.inc.si();
    if inc > UPHILL && inc <= PI {
        report.warn(
            name,
            "inc",
            format!(
                "{}, a hole that goes up: 90 deg is level",
                D::Angle.show(inc)
            ),
            "the angle from straight down, below 90 deg where the hole goes down",
        );
    }
}

/// Stations against each other, in file order.
pub(in crate::job) fn survey_order(survey: &[SurveyStation], report: &Report<'_>) {
    for (position, pair) in survey.windows(2).enumerate() {
        if pair[1].md.si() <= pair[0].md.si() {
            report.fault(
                &format!("survey {}", position + 2),
                "md",
                format!(
                    "{}, not below the station before it at {}",
                    D::Length.show(pair[1].md.si()),
                    D::Length.show(pair[0].md.si())
                ),
                "the stations in order of measured depth, each depth once",
            );
        }
    }
    if let Err(PathError::Opposite { station }) = WellPath::from_survey(survey) {
        report.fault(
            &format!("survey {}", station + 1),
            "inc",
            "the direction is opposite to that before it, so nobody can tell which way the pipe turns",
            "one more [[survey]] station between the two",
        );
    }
}

pub(super) fn interval(job: &Job, report: &Report<'_>) {
    let top = job.info.interval_top.si();
    let bottom = job.info.interval_bottom.si();
    report.all_within(
        "job",
        &[
            ("interval_top", top, D::Length, 0.0, 15_000.0),
            ("interval_bottom", bottom, D::Length, 0.0, 15_000.0),
        ],
    );
    let bin_fits = report.within("job", "bin", job.info.bin.si(), D::Length, 0.01, 10.0);
    if top >= bottom {
        report.fault(
            "job",
            "interval_bottom",
            format!(
                "{}, which is not below interval_top at {}",
                D::Length.show(bottom),
                D::Length.show(top)
            ),
            "the greater depth in interval_bottom (depth grows down the hole)",
        );
    } else if bin_fits && bottom - top < job.info.bin.si() {
        report.fault(
            "job",
            "bin",
            format!(
                "{}, longer than the interval",
                D::Length.show(job.info.bin.si())
            ),
            "a bin shorter than the interval, e.g. bin = \"0.1 m\"",
        );
    } else if bottom - top > 1000.0 {
        report.warn(
            "job",
            "interval_bottom",
            format!("an interval of {}", D::Length.show(bottom - top)),
            "the interval that is cut in one job, if this is not it",
        );
    }
    // A single station at the surface means a vertical well, as deep as it takes.
    if let Some(last) = job.survey.last()
        && job.survey.len() > 1
    {
        let beyond = bottom - last.md.si();
        let found = format!(
            "{}, which is {} below the last survey station",
            D::Length.show(bottom),
            D::Length.show(beyond)
        );
        // About one stand-off of survey stations; the usual spacing is 30 m (common practice).
        if beyond > 50.0 {
            report.fault(
                "job",
                "interval_bottom",
                found,
                "a survey that reaches the interval, or an interval inside it",
            );
        } else if beyond > 0.0 {
            report.warn(
                "job",
                "interval_bottom",
                found,
                "one more [[survey]] station below the interval; the last direction is carried on",
            );
        }
    }
}

pub(super) fn couplings(job: &Job, report: &Report<'_>) {
    let length = job.tubular.coupling_length.si();
    for (position, coupling) in job.couplings.iter().enumerate() {
        let name = format!("joint {}", position + 1);
        let depth = coupling.si();
        report.within(&name, "coupling", depth, D::Length, 0.0, 15_000.0);
        let Some(before) = position.checked_sub(1).and_then(|p| job.couplings.get(p)) else {
            continue;
        };
        let spacing = depth - before.si();
        if spacing <= 0.0 {
            report.fault(
                &name,
                "coupling",
                format!(
                    "{}, not below the coupling before it at {}",
                    D::Length.show(depth),
                    D::Length.show(before.si())
                ),
                "the couplings in order of depth, each once",
            );
        } else if spacing < length.max(0.3) {
            report.fault(
                &name,
                "coupling",
                format!(
                    "{}, only {} below the one before it",
                    D::Length.show(depth),
                    D::Length.show(spacing)
                ),
                "the depth of the middle of each coupling",
            );
        } else if spacing > 15.0 {
            report.warn(
                &name,
                "coupling",
                format!(
                    "{} below the one before it, longer than a joint",
                    D::Length.show(spacing)
                ),
                "every coupling of the tally in and next to the interval",
            );
        }
    }
    let (top, bottom) = (job.info.interval_top.si(), job.info.interval_bottom.si());
    if job.couplings.is_empty() {
        report.warn(
            "joint",
            "",
            "no [[joint]], so couplings are not known and the interval counts as one joint",
            "one [[joint]] with coupling = \"...\" for each coupling of the tally",
        );
    } else if !job
        .couplings
        .iter()
        .any(|c| c.si() > top - 15.0 && c.si() < bottom + 15.0)
        && top < bottom
    {
        report.warn(
            "joint 1",
            "coupling",
            "no coupling in or next to the interval",
            "the couplings of the tally from above the interval to below it",
        );
    }
}
