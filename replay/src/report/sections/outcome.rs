//! The answer first, with key figures and the caution.

use super::Source;
use crate::highest_tension;
use crate::report::page::Page;
use crate::summary::{
    NO_MARKS, beyond_interval, doubtful_length_m, split_length_m, split_part, time_in, times_in,
};
use crate::units_shown::{Units, counted, duration, times};
use kerfwatch::result::{Direction, RunResult, State};

/// The answer first, then key figures and the caution.
pub(in crate::report) fn outcome(page: &mut Page, s: &Source<'_>) {
    let (result, job, units) = (s.result(), s.job(), s.units);
    let depth = units.depth();
    let (split, whole) = split_length_m(result);
    let up = result
        .strokes
        .iter()
        .filter(|x| x.direction == Direction::Up)
        .count();
    let part = if whole > 0.0 {
        100.0 * split / whole
    } else {
        0.0
    };
    if !s.folder.what_if.is_empty() {
        page.paragraph(
            "caution",
            &format!(
                "What-if, not the result of the job on record. Changed: {}.",
                s.folder.what_if.join("; ")
            ),
        );
    }
    for doubt in &result.run.doubts {
        page.paragraph("caution", &format!("In doubt: {doubt}."));
    }
    if s.marks.none {
        page.paragraph("", &format!("Marks: {NO_MARKS}."));
    }
    let doubtful = match doubtful_length_m(result) {
        0.0 => String::new(),
        length => format!("; of {} it cannot be told", depth.show(length)),
    };
    page.paragraph(
        "lead",
        &format!(
            "{} Of {} of tubing in the interval (couplings left out), {} is taken \
             as split lengthwise ({part:.0} %){doubtful}. {}{}",
            strokes_sentence(result.strokes.len(), s.with_cutter_out),
            depth.show(whole),
            depth.show(split),
            left_sentence(result),
            beyond_sentence(result, s.units)
        ),
    );
    let work: f64 = result.strokes.iter().map(|x| x.cut_work_j).sum();
    let mut facts = vec![
        (
            "Interval",
            format!(
                "{} to {} along hole",
                depth.bare(job.info.interval_top.si()),
                depth.show(job.info.interval_bottom.si())
            ),
        ),
        (
            "Tubular",
            format!(
                "{} outside, wall {} nominal",
                units.diameter().show(job.tubular.od.si()),
                units.groove().show(job.tubular.wall.as_millimetres())
            ),
        ),
        (
            "Cutter",
            format!(
                "{}, radius {}, radial force {}{}",
                counted(job.cutter.wheels as usize, "wheel", "wheels"),
                units.diameter().show(job.cutter.radius.si()),
                units.force().show(job.cutter.radial_force.si()),
                if job.cutter.wheels == 1 { "" } else { " each" }
            ),
        ),
        (
            "Line",
            format!(
                "{} wire, breaking load {}",
                units.diameter().show(job.line.diameter.si()),
                units.force().show(job.line.breaking_load.si())
            ),
        ),
        (
            "Strokes",
            format!("{up} up, {} down", result.strokes.len() - up),
        ),
        ("Work on the groove", units.work().show(work)),
    ];
    if let Some(highest) = highest_tension::told(job, s.highest, units) {
        facts.push(("Highest tension", highest));
    }
    for state in [
        State::Cutting,
        State::Free,
        State::Still,
        State::Stalled,
        State::Slack,
    ] {
        let name = match state {
            State::Cutting => "Time cutting",
            State::Free => "Time free",
            State::Still => "Time still",
            State::Stalled => "Time stalled",
            _ => "Time slack",
        };
        let count = times_in(result, state);
        let time = duration(time_in(result, state));
        match state {
            _ if count == 0 => {}
            State::Stalled | State::Slack => {
                facts.push((name, format!("{time}, {}", times(count))));
            }
            _ => facts.push((name, time)),
        }
    }
    page.facts(&facts);
    page.paragraph(
        "caution",
        "Caution. This report is an aid, not a safety function. It rests on two instruments at \
         surface; nothing was measured at the cut itself. The line maker's limits, the operator's \
         procedures, local rules and licensed practice come first.",
    );
}

/// Running in and passes with the cutter in are strokes too, and cut nothing.
fn strokes_sentence(all: usize, with_cutter_out: usize) -> String {
    let made = match all {
        1 => "1 stroke was made".to_owned(),
        n => format!("{n} strokes were made"),
    };
    match with_cutter_out {
        0 if all == 0 => format!("{made}."),
        0 => format!("{made}, none with the cutter out."),
        out if out == all => format!("{made}, with the cutter out."),
        out => format!("{made}, {out} of them with the cutter out."),
    }
}

fn beyond_sentence(result: &RunResult, units: Units) -> String {
    beyond_interval(result, units)
        .map(|beyond| format!(" Beyond it the wheels went over {beyond}."))
        .unwrap_or_default()
}

fn left_sentence(result: &RunResult) -> String {
    if !result.joints.is_empty() && result.joints.iter().all(|j| split_part(result, j) < 0.005) {
        return "No joint is estimated to be split anywhere.".into();
    }
    let open: Vec<usize> = result
        .joints
        .iter()
        .enumerate()
        .filter(|(_, j)| split_part(result, j) < 0.995)
        .map(|(i, _)| i + 1)
        .collect();
    match open.as_slice() {
        [] if result.joints.is_empty() => String::new(),
        [] => "Every joint is estimated to be split over its whole length.".into(),
        [one] => format!("Joint {one} is not, or not wholly, split."),
        [many @ .., last] => {
            let names: Vec<String> = many.iter().map(ToString::to_string).collect();
            format!(
                "Joints {} and {last} are not, or not wholly, split.",
                names.join(", ")
            )
        }
    }
}
