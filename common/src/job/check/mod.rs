//! Values that are each readable but can't be true, alone or together.
//!
//! *Input*: a job in which an unreadable value is NaN. Every test is written so that NaN passes:
//! what could not be read was reported before. *Limits*: bounds are wide, they catch slips of unit
//! and of decimal point; the narrow ones say "warning" and name where they come from.

mod alarm;
mod cutter;
mod interval;
mod line;
mod services;

pub(super) use interval::{survey_order, survey_station};

use super::Job;
use super::report::Report;

/// Checks the whole job.
pub(super) fn check(job: &Job, report: &Report<'_>) {
    interval::interval(job, report);
    line::fluid(job, report);
    line::line(job, report);
    cutter::tool_and_cutter(job, report);
    cutter::tubular(job, report);
    interval::couplings(job, report);
    line::weight_on_line(job, report);
    alarm::alarm(job, report);
    services::services(job, report);
}
