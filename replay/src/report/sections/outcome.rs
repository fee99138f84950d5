//! The answer first, with key figures and the caution.

use super::Source;
use crate::highest_tension;
use crate::report::page::Page;
use crate::summary::{
    NO_MARKS, STATES, beyond_interval, split_length, split_part, time_in, times_in,
};
use crate::units_shown::{Units, counted, duration, times};
use kerfwatch::result::{Direction, RunResult, State};

/// The answer first, then key figures and the caution.
pub(in crate::report) fn outcome(page: &mut Page, s: &Source<'_>) {
    let (result, job, units) = (s.result(), s.job(), s.units);
    let depth = units.depth();
    let split = split_length(result);
    let up = result
        .strokes
        .iter()
        .filter(|x| x.direction == Direction::Up)
        .count();
    let part = if split.whole > 0.0 {
        100.0 * split.expected / split.whole
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
    let doubtful = match split.doubtful {
        0.0 => String::new(),
        length => format!(", of {} it cannot be told", depth.show(length)),
    };
    page.paragraph(
        "lead",
        &format!(
            "{} Of {} of tubing in the interval (couplings left out), {} is to be expected split \
             lengthwise ({part:.0} %): {} surely{doubtful}. {}{}",
            strokes_sentence(result.strokes.len(), s.with_cutter_out),
            depth.show(split.whole),
            depth.show(split.expected),
            depth.show(split.sure),
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
    facts.extend(times_of_states(result));
    page.facts(&facts);
    page.paragraph(
        "caution",
        "Caution. This report is an aid, not a safety function. It rests on two instruments at \
         surface; nothing was measured at the cut itself. The line maker's limits, the operator's \
         procedures, local rules and licensed practice come first.",
    );
}

/// Time in each state: together the length of the run, so that what is not known has a row of its own.
fn times_of_states(result: &RunResult) -> Vec<(&'static str, String)> {
    (STATES.into_iter())
        .filter(|state| times_in(result, *state) > 0)
        .map(|state| {
            let time = duration(time_in(result, state));
            let how_often = || times(times_in(result, state));
            match state {
                State::Cutting => ("Time cutting", time),
                State::Free => ("Time free", time),
                State::Still => ("Time still", time),
                State::Stalled => ("Time stalled", format!("{time}, {}", how_often())),
                State::Slack => ("Time slack", format!("{time}, {}", how_often())),
                State::Unknown => (
                    "Time unknown",
                    format!("{time}, for want of readings of both instruments"),
                ),
            }
        })
        .collect()
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
        return "No place is likelier to be split than not.".into();
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
        [] => "Every place is likelier to be split than not.".into(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::Interval;

    #[test]
    fn times_of_states_add_up_to_the_run_with_what_is_not_known() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let mut start_s = 0.0;
        for state in State::ALL {
            let end_s = start_s + 10.0;
            result.intervals.push(Interval {
                state,
                start_s,
                end_s,
                depth_m: None,
            });
            start_s = end_s;
        }
        let rows = times_of_states(&result);
        assert_eq!(rows.len(), State::ALL.len());
        assert!(
            rows.iter().all(|(_, time)| time.starts_with("10.0 s")),
            "{rows:?}"
        );
        let unknown = rows.iter().find(|row| row.0 == "Time unknown").unwrap();
        assert!(unknown.1.contains("want of readings"), "{unknown:?}");
    }
}
