//! What the tool did and does: phases of its motion, with moving told apart into cutting and running free.

use super::time;
use crate::align::CELL_S;
use crate::groove::GrooveEstimate;
use crate::groove::drag_model::NEVER;
use crate::groove::ledger::Row;
use crate::infer::hold::Motionless;
use crate::infer::track::TrackPoint;
use crate::input::Mark;
use crate::pipeline::Pipeline;
use crate::result::{Interval, State};

/// Strokes may run over the ends of the bins by this part of them.
const OVERRUN_PART: f64 = 0.5;

/// Did the wheels cut in this bin on this stroke? In a coupling they do, as far as they reach.
pub(super) fn cuts(e: &GrooveEstimate, rows: &[Row], row: usize, bin: usize) -> bool {
    bites(e, rows, row) && row < e.through.since[bin]
}

/// Was this stroke made with the cutter out, and not in a groove that the way up had made deeper than it can?
fn bites(e: &GrooveEstimate, rows: &[Row], row: usize) -> bool {
    let only_rolls = !rows[row].up && e.rolls_down_from.is_some_and(|from| row >= from);
    e.engaged[row] && !only_rolls
}

/// Did the wheels cut at a depth, on this stroke? Strokes run over the ends of what is kept account
/// of; with the cutter out they cut there too.
fn cuts_at(e: &GrooveEstimate, rows: &[Row], row: usize, bin: f64, step: f64) -> bool {
    let count = e.through.at.len() as f64;
    if (0.0..count).contains(&bin) {
        // Wheels sit in line: while one of them cuts, the tool does.
        let half = 0.5 * e.through.span / step;
        [-half, 0.0, half].iter().any(|off| {
            let of_wheel = (bin + off).clamp(0.0, count - 1.0);
            cuts(e, rows, row, of_wheel as usize)
        })
    } else {
        bites(e, rows, row) && within_overrun(bin, e.through.at.len())
    }
}

fn within_overrun(bin: f64, bins: usize) -> bool {
    let count = bins as f64;
    bin > -OVERRUN_PART * count && bin < (1.0 + OVERRUN_PART) * count
}

/// States over time: phases of the motion, with moving told apart into cutting and free by the
/// stroke, the bin and what the whole run says about both.
pub(super) fn intervals(p: &Pipeline, e: &GrooveEstimate) -> Vec<Interval> {
    let phases = p.hold.phases();
    let points = p.track.points();
    let mut out: Vec<Interval> = Vec::new();
    let mut at = 0;
    for (i, phase) in phases.iter().enumerate() {
        let end = phases.get(i + 1).map_or(p.last, |n| n.start);
        if end <= phase.start {
            continue;
        }
        match unmoved(phase.what) {
            Some(state) => add(&mut out, state, phase.start, end),
            None => {
                while at < points.len() && time(&points[at]) < phase.start {
                    at += 1;
                }
                moving(
                    p,
                    e,
                    phase.start,
                    end,
                    &points[at.saturating_sub(1)..],
                    &mut out,
                );
            }
        }
    }
    for held in &mut out {
        if matches!(held.state, State::Stalled | State::Slack) {
            held.depth_m = depth_at(points, held.start_s);
        }
    }
    out
}

/// Depth of the wheels at a time, m; unknown where the track has a hole.
fn depth_at(points: &[TrackPoint], at: f64) -> Option<f64> {
    const HOLE_S: f64 = 1.0;
    let next = points.partition_point(|p| time(p) < at);
    let near = |p: &&TrackPoint| (time(p) - at).abs() <= HOLE_S;
    let before = next.checked_sub(1).and_then(|i| points.get(i));
    let point = points.get(next).filter(near).or(before.filter(near))?;
    Some(f64::from(point.depth))
}

/// `None` while it moves: then it cuts or runs free.
fn unmoved(what: Motionless) -> Option<State> {
    match what {
        Motionless::Unknown => Some(State::Unknown),
        Motionless::Still => Some(State::Still),
        Motionless::Stalled => Some(State::Stalled),
        Motionless::Slack => Some(State::Slack),
        Motionless::Up | Motionless::Down => None,
    }
}

fn moving(
    p: &Pipeline,
    e: &GrooveEstimate,
    start: f64,
    end: f64,
    points: &[TrackPoint],
    out: &mut Vec<Interval>,
) {
    let rows = &p.ledger.rows;
    let bins = p.ledger.bins;
    let mut row = rows.partition_point(|r| r.end < start);
    let mut from = start;
    for point in points {
        let t = time(point);
        if t >= end {
            break;
        }
        while row < rows.len() && rows[row].end < t {
            row += 1;
        }
        let bin = (f64::from(point.depth) - bins.top) / bins.step;
        // What is too short for a stroke, between two with the cutter out, is made with it out.
        let with_cutter =
            row < rows.len() && (t >= rows[row].start - 1.0 || row > 0 && e.engaged[row - 1]);
        let cutting = with_cutter && cuts_at(e, rows, row, bin, bins.step);
        let state = if cutting { State::Cutting } else { State::Free };
        let until = (t + CELL_S).min(end);
        if until > from {
            add(out, state, from, until);
            from = until;
        }
    }
    if end > from {
        let state = match out.last() {
            Some(l) if matches!(l.state, State::Cutting | State::Free) && l.end_s == from => {
                l.state
            }
            _ => State::Free,
        };
        add(out, state, from, end);
    }
}

fn add(out: &mut Vec<Interval>, state: State, start: f64, end: f64) {
    match out.last_mut() {
        Some(last) if last.state == state => last.end_s = end,
        _ => out.push(Interval {
            state,
            start_s: start,
            end_s: end,
            depth_m: None,
        }),
    }
}

/// What the tool does now, by the newest estimate of the groove.
pub(super) fn now(p: &Pipeline, live: Option<&GrooveEstimate>) -> State {
    unmoved(p.hold.now()).unwrap_or_else(|| moving_now(p, live))
}

fn moving_now(p: &Pipeline, live: Option<&GrooveEstimate>) -> State {
    let Some(m) = p.moment else {
        return State::Free;
    };
    let bins = p.ledger.bins;
    let bin = (m.depth - bins.top) / bins.step;
    let split = live.is_some_and(|l| {
        let inside = (0.0..bins.count as f64).contains(&bin);
        inside && l.through.since[bin as usize] != NEVER
    });
    let rolls = m.speed > 0.0 && live.is_some_and(|l| l.rolls_down_from.is_some());
    if split || rolls {
        State::Free
    } else {
        moving_with(p, cutter_out(p, newest_engaged(live)))
    }
}

/// What a tool that moves does where the cutter is out, or is not.
fn moving_with(p: &Pipeline, cutter_out: Option<bool>) -> State {
    let bins = p.ledger.bins;
    let over = |depth: f64| within_overrun((depth - bins.top) / bins.step, bins.count);
    if cutter_out == Some(true) && p.moment.is_some_and(|m| over(m.depth)) {
        State::Cutting
    } else {
        State::Free
    }
}

/// What the tool does now, as told by motion, marks and the drag of strokes alone. The groove estimate, by which
/// [`now`] knows where the wall is split, is made when the processor has time for it: no two runs of the same inputs
/// have it at the same moment.
pub(crate) fn told(p: &Pipeline) -> State {
    unmoved(p.hold.now()).unwrap_or_else(|| moving_with(p, cutter_out(p, p.engaged_told)))
}

/// Whether the newest stroke that the estimate knows was made with the cutter out.
pub(super) fn newest_engaged(live: Option<&GrooveEstimate>) -> Option<bool> {
    live.and_then(|l| l.engaged.last().copied())
}

/// Whether the cutter is out: as marked since the last stroke, or as on the newest stroke (`engaged`).
pub(super) fn cutter_out(p: &Pipeline, engaged: Option<bool>) -> Option<bool> {
    let last = p.ledger.rows.last();
    let ended = last.map_or(f64::NEG_INFINITY, |r| r.end);
    let mut since = p.marks.iter().rev().take_while(|m| m.0 > ended);
    let says = |m: &(f64, Mark)| p.says_out(m.0, &m.1.kind);
    since
        .find_map(says)
        .or(engaged)
        .or_else(|| last.and_then(|r| r.marked_out.map(|said| p.is_out(r.start, said))))
        // Of marks that contradict each other, the newest until the drag has spoken.
        .or_else(|| p.marks.iter().rev().find_map(says))
}
