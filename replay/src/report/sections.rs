//! The sections of the run report, in reading order.

use super::figures;
use super::page::Page;
use super::traces::Traces;
use crate::run_folder::{Recomputed, RunFolder};
use crate::summary::{bins_of, joint_groove, split_length_m, strokes_left, time_in, times_in};
use crate::table::state_word;
use crate::units_shown::{Units, clock, count, duration};
use kerfwatch::job::{Job, Mount};
use kerfwatch::recording::{DigestState, Verification};
use kerfwatch::result::{Direction, RunResult, State};
use kerfwatch::time::seconds;

/// What all sections draw from.
pub(super) struct Source<'s> {
    pub(super) folder: &'s RunFolder,
    pub(super) done: &'s Recomputed,
    pub(super) traces: &'s Traces,
    pub(super) verified: &'s Verification,
    pub(super) units: Units,
}

impl Source<'_> {
    fn job(&self) -> &Job {
        &self.folder.job.job
    }

    fn result(&self) -> &RunResult {
        &self.done.result
    }
}

/// The answer first, then key figures and the caution.
pub(super) fn outcome(page: &mut Page, s: &Source<'_>) {
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
    page.paragraph(
        "lead",
        &format!(
            "{} strokes were made. Of {} of tubing in the interval (couplings left out), {} is taken \
             as split lengthwise ({part:.0} %). {}",
            result.strokes.len(),
            depth.show(whole),
            depth.show(split),
            left_sentence(result)
        ),
    );
    let work: f64 = result.strokes.iter().map(|x| x.cut_work_j).sum();
    let peak = result
        .strokes
        .iter()
        .map(|x| x.peak_tension_n)
        .fold(0.0, f64::max);
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
                "{} wheels, radius {}, radial force {} each",
                job.cutter.wheels,
                units.diameter().show(job.cutter.radius.si()),
                units.force().show(job.cutter.radial_force.si())
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
        ("Highest tension in a stroke", units.force().show(peak)),
    ];
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
        let times = times_in(result, state);
        let time = duration(time_in(result, state));
        match state {
            _ if times == 0 => {}
            State::Stalled | State::Slack => facts.push((name, format!("{time}, {times} times"))),
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

fn left_sentence(result: &RunResult) -> String {
    let open: Vec<usize> = result
        .joints
        .iter()
        .enumerate()
        .filter(|(_, j)| j.split_fraction < 0.995)
        .map(|(i, _)| i + 1)
        .collect();
    match open.as_slice() {
        [] if result.joints.is_empty() => String::new(),
        [] => "Every joint is estimated to be split over its whole length.".into(),
        [one] => format!("Joint {one} is not, or not wholly, split."),
        many => {
            let names: Vec<String> = many.iter().map(ToString::to_string).collect();
            format!("Joints {} are not, or not wholly, split.", names.join(", "))
        }
    }
}

/// Groove figure and joint table.
pub(super) fn groove(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    let (mm, depth) = (units.groove(), units.depth());
    page.heading("Groove and joints");
    if let Some(svg) = figures::groove(result, units) {
        page.figure(
            &svg,
            "Estimated groove depth (line) with its 90 % interval (band) against depth along hole. \
             Dash-dot: nominal wall. Grey bar at the right: taken as split. Hatched: coupling, which \
             the wheels do not cut.",
        );
    }
    let rows: Vec<Vec<String>> = result
        .joints
        .iter()
        .enumerate()
        .map(|(i, joint)| {
            let mut row = vec![
                format!("{}", i + 1),
                format!(
                    "{} to {}",
                    depth.bare(joint.top_m),
                    depth.bare(joint.bottom_m)
                ),
                format!("{:.0} %", 100.0 * joint.split_fraction),
            ];
            match joint_groove(result, joint) {
                Some(g) => row.extend([
                    mm.bare(g.mean_mm),
                    format!(
                        "{} ({} to {})",
                        mm.bare(g.least_mm),
                        mm.bare(g.least_low_mm),
                        mm.bare(g.least_high_mm)
                    ),
                    mm.bare((g.wall_mm - g.least_mm).max(0.0)),
                    format!("{} to {}", g.passes_min, g.passes_max),
                ]),
                None => row.extend(std::iter::repeat_n("-".to_owned(), 4)),
            }
            row.push(strokes_left(joint));
            row
        })
        .collect();
    page.table(
        &[
            "Joint",
            &format!("Depth, {}", depth.unit),
            "Split",
            &format!("Mean groove, {}", mm.unit),
            &format!("Least groove (90 %), {}", mm.unit),
            &format!("Most wall left, {}", mm.unit),
            "Strokes over it",
            "Strokes left (median to 90 %)",
        ],
        &rows,
        |_| false,
    );
    page.paragraph(
        "note",
        "Split: expected part of the length that is cut through. Least groove: the shallowest place \
         of the joint, with the interval that holds the truth with 90 % probability.",
    );
    let doubtful: f64 = result
        .joints
        .iter()
        .flat_map(|j| bins_of(result, j))
        .filter(|b| (0.1..0.9).contains(&b.through_probability))
        .map(|b| b.bottom_m - b.top_m)
        .sum();
    if doubtful > 0.0 {
        page.paragraph(
            "",
            &format!(
                "Over {} it cannot be told whether the wall is split or not (probability between \
                 10 and 90 %).",
                depth.show(doubtful)
            ),
        );
    }
}

/// Tension over time and against depth, stroke history.
pub(super) fn tension_and_strokes(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    page.heading("Tension");
    page.figure(
        &figures::whole_run(result, s.traces, units),
        "Line tension over the whole run, lowest to highest reading in each column.",
    );
    let pair: Vec<(String, String)> =
        [(Direction::Up, "Going up"), (Direction::Down, "Going down")]
            .into_iter()
            .filter_map(|(direction, name)| {
                let svg = figures::tension_by_depth(s.traces, direction, units)?;
                let caption = format!(
                    "{name}: mean tension against depth. Solid dark: first third of the cutting \
                 strokes. Solid grey: last third. Dashed: free strokes."
                );
                Some((svg, caption))
            })
            .collect();
    page.pair(&pair);
    page.heading("Strokes");
    if let Some(svg) = figures::strokes(result, units) {
        page.figure(
            &svg,
            "Work on the groove in each stroke. Dark: going up. Grey: going down.",
        );
    }
    if let Some(svg) = figures::drag(result, units) {
        page.figure(
            &svg,
            "Mean drag above the expected weight in each stroke. Dot: going up. Ring: going down. \
             Cutting drag falls as the groove deepens, and falls away where the wall gives way.",
        );
    }
}

/// Stalls and slacks shorter than this are only counted, s.
const SHORT_S: f64 = 2.0;

/// Stalls and alarms: list and close-ups.
pub(super) fn events(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    page.heading("Stalls, slack and alarms");
    let mut rows: Vec<(f64, Vec<String>)> = Vec::new();
    let at = |name: &str, start: f64, end: Option<f64>, peak: Option<f64>| {
        let lasted = end.map_or_else(|| "to the end".into(), |e| duration(e - start));
        let peak = peak.map_or_else(|| "-".into(), |p| units.force().show(p));
        (start, vec![clock(start), name.to_owned(), lasted, peak])
    };
    let mut short = 0;
    for i in &result.intervals {
        if !matches!(i.state, State::Stalled | State::Slack) {
            continue;
        }
        if i.end_s - i.start_s < SHORT_S {
            short += 1;
            continue;
        }
        rows.push(at(state_word(i.state), i.start_s, Some(i.end_s), None));
    }
    for a in &result.alarms {
        let name = format!("alarm: {} ({})", a.kind, a.level);
        rows.push(at(&name, a.raised_s, a.cleared_s, a.peak_n));
    }
    if rows.is_empty() && short == 0 {
        page.paragraph("", "None.");
        return;
    }
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    const SHOWN: usize = 60;
    let more = rows.len().saturating_sub(SHOWN);
    let rows: Vec<Vec<String>> = rows.into_iter().take(SHOWN).map(|r| r.1).collect();
    if !rows.is_empty() {
        page.columns_table(&["Time", "What", "Lasted", "Highest tension"], &rows);
    }
    let mut left_out = Vec::new();
    if short > 0 {
        left_out.push(format!(
            "{short} stalls or slacks shorter than {SHORT_S:.0} s are not listed."
        ));
    }
    if more > 0 {
        left_out.push(format!(
            "{more} later events are not listed; the JSON of recompute holds all."
        ));
    }
    if !left_out.is_empty() {
        page.paragraph("note", &left_out.join(" "));
    }
    let limit = s.job().alarm.tension_limit.map(|n| n.si());
    let close: Vec<(String, String)> = s
        .traces
        .close_ups
        .iter()
        .map(|c| {
            let caption = format!(
                "{} at {}. Solid: tension. Dashed: line paid out, deeper is lower.",
                c.title,
                clock(c.event.0)
            );
            (figures::close_up(c, limit, units), caption)
        })
        .collect();
    if !close.is_empty() {
        page.small_heading("Close-ups");
        page.pair(&close);
    }
    if s.traces.not_shown > 0 {
        page.paragraph(
            "note",
            &format!("{} shorter events are not drawn.", s.traces.not_shown),
        );
    }
}

/// Bending of the line and where to cut back.
pub(super) fn line_wear(page: &mut Page, s: &Source<'_>) {
    let (result, units) = (s.result(), s.units);
    let depth = units.depth();
    page.heading("Line");
    if let Some(svg) = figures::line_wear(result, units) {
        page.figure(
            &svg,
            "How often each section of the line was bent and straightened over sheaves.",
        );
    }
    let Some(worst) = result.line_wear.iter().max_by_key(|w| w.bends) else {
        page.paragraph("", "The job names no sheaves, so bends were not counted.");
        return;
    };
    let where_ = format!("{} to {}", depth.bare(worst.from_m), depth.show(worst.to_m));
    let text = match worst.life_used {
        Some(used) if used >= s.job().alarm.line_life => format!(
            "The section {where_} above the rope socket was bent {} times and has used {:.0} % of \
             the bending life given for this wire. Cutting back {} takes it off the line.",
            worst.bends,
            100.0 * used,
            depth.show(worst.to_m)
        ),
        Some(used) => format!(
            "The section bent most, {where_} above the rope socket, was bent {} times: {:.0} % of \
             the bending life given for this wire. Cutting back {} would take it off the line.",
            worst.bends,
            100.0 * used,
            depth.show(worst.to_m)
        ),
        None => format!(
            "The section bent most, {where_} above the rope socket, was bent {} times. No bending \
             life was given for this wire: compare with the owner's own cut-off practice. Cutting \
             back {} would take it off the line.",
            worst.bends,
            depth.show(worst.to_m)
        ),
    };
    page.paragraph("", &text);
    page.paragraph(
        "note",
        "A sum of bends against a life is an indication, never a safe life: corrosion and tension \
         change it by far.",
    );
}

/// Calibration and friction.
pub(super) fn calibration(page: &mut Page, s: &Source<'_>) {
    let (result, job, units) = (s.result(), s.job(), s.units);
    page.heading("Calibration and friction");
    let load = match &job.load {
        None => "readings came as line tension, already calibrated".to_owned(),
        Some(load) => {
            let mount = match load.mount {
                Mount::Deadline => "cell in the deadline".to_owned(),
                Mount::Sheave { angle } => {
                    format!(
                        "cell on a sheave, {:.1} deg between the lines",
                        angle.si().to_degrees()
                    )
                }
            };
            format!(
                "{:.6} N per unit, tare {}, {mount}",
                load.span.si(),
                load.tare
            )
        }
    };
    let depth = match &job.depth {
        None => "readings came as line paid out, already calibrated".to_owned(),
        Some(depth) => format!(
            "{:.8} m per unit, zero at {}",
            depth.metres_per_unit.si(),
            units.depth().show(depth.zero.si())
        ),
    };
    page.facts(&[
        ("Load cell", load),
        ("Depth counter", depth),
        (
            "Friction pulling out",
            format!(
                "{:.3} found, {:.3} in the job",
                result.friction.up, job.line.friction_up
            ),
        ),
        (
            "Friction running in",
            format!(
                "{:.3} found, {:.3} in the job",
                result.friction.down, job.line.friction_down
            ),
        ),
        (
            "Contact pressure",
            job.cutter.contact_pressure.map_or_else(
                || "not given; a wide range was assumed and narrowed by the data".to_owned(),
                |p| format!("{:.2} GPa given", p.si() * 1e-9),
            ),
        ),
    ]);
}

/// What was wrong with the data.
pub(super) fn quality(page: &mut Page, s: &Source<'_>) {
    page.heading("Data quality");
    let q = &s.result().quality;
    let v = s.verified;
    let sealed = match &v.digests {
        None => "the run was not finished: no digests".to_owned(),
        Some(files) if files.iter().all(|(_, d)| *d == DigestState::Right) => {
            format!(
                "all {} files are as sealed at the end of the run (SHA-256)",
                files.len()
            )
        }
        Some(files) => {
            let wrong = files
                .iter()
                .filter(|(_, d)| *d != DigestState::Right)
                .count();
            format!(
                "{wrong} of {} files changed since the run was sealed",
                files.len()
            )
        }
    };
    page.facts(&[
        ("Readings", count(s.result().run.samples)),
        ("Frames that did not decode", count(q.bad_frames)),
        ("Silences of an instrument", count(q.gaps)),
        ("Readings too late to be used", count(q.late)),
        ("Readings out of range", count(q.out_of_range)),
        ("Single spikes set aside", count(q.spikes)),
        ("Damaged places of the recording", count(q.lost_blocks)),
        ("Recording", sealed),
    ]);
    if !s.done.damage.is_empty() {
        page.small_heading("Damage");
        page.list(s.done.damage.iter().take(30));
    }
    if !v.silences.is_empty() {
        page.small_heading("No data at all");
        page.list(v.silences.iter().take(30).map(|(at, length)| {
            format!("{} for {}", clock(seconds(*at)), duration(seconds(*length)))
        }));
    }
}

/// What was changed against the recorded job, operator's marks.
pub(super) fn marks(page: &mut Page, s: &Source<'_>) {
    let notes = s.folder.notes();
    if !s.folder.job.changes.is_empty() {
        page.heading("What-if");
        page.paragraph("", "This report was computed with changes to the job:");
        page.list(&s.folder.job.changes);
    }
    if notes.is_empty() {
        return;
    }
    page.heading("Marks of the operator");
    let rows: Vec<Vec<String>> = notes
        .iter()
        .map(|n| vec![clock(n.at_s), super::mark_text(&n.kind), n.author.clone()])
        .collect();
    page.table(&["Time", "Mark", "By"], &rows, |_| false);
}

/// What the numbers rest on and their limits.
pub(super) fn foundations(page: &mut Page, s: &Source<'_>) {
    page.heading("What these numbers rest on, and their limits");
    page.list([
        "Measured: line tension and line paid out, at surface. Everything else is inferred.",
        "Depth of the tool: line paid out plus the stretch of the line under its tension, with \
         temperature and pressure. A slipping measuring wheel shows only at couplings.",
        "Cutting drag: tension above what the hanging line, its friction and the free tool explain at \
         the same depth and direction. Drag that does not fall with the cut is rolling, not cutting.",
        "Groove depth: two readings of the same physics together, the number of passes and the work \
         done per metre of groove. Before the wall first gives way the common scale of both is \
         uncertain; a break-through pins it.",
        "Split is a probability. Drag that falls away and stays away is the evidence; it was not seen \
         or measured down hole.",
        "Couplings are thicker than the wheels reach and are never counted as cut.",
        "Wear of the wheels, ovality of the pipe and debris are not modelled.",
    ]);
    let id = &s.result().run.id;
    page.paragraph(
        "note",
        &format!(
            "Recomputed from the raw recording of run {id} ({}) by kerfwatch-replay {}. Anyone with \
             the run folder can repeat it: kerfwatch-replay recompute RUN.",
            if s.folder.software.is_empty() { "unknown program" } else { &s.folder.software },
            env!("CARGO_PKG_VERSION")
        ),
    );
}
