//! From the state of the pipeline to what people and machines read: result and snapshot.

use crate::align::CELL_S;
use crate::decode::FrameCounts;
use crate::groove::GrooveEstimate;
use crate::groove::drag_model::NEVER;
use crate::groove::ledger::Row;
use crate::infer::hold::{Motionless, Phase};
use crate::infer::track::TrackPoint;
use crate::input::ChannelId;
use crate::model::Motion;
use crate::pipeline::Pipeline;
use crate::result::{
    DepthCheck, Direction, FORMAT, Friction, Interval, Quality, RunInfo, RunResult, State, Stroke,
    ToolTrack,
};
use crate::snapshot::{ChannelView, Glance, Snapshot};
use crate::time::seconds;
use std::collections::BTreeMap;

/// Step of the tool track in the result, s.
const TRACK_STEP: f64 = 1.0;
/// Strokes may run over the ends of the bins by this part of them.
const OVERRUN_PART: f64 = 0.5;
/// A reading older than this is not the present, s.
const GLANCE_S: f64 = 2.0;

/// The result of all inputs so far.
pub fn result(p: &Pipeline, id: &str) -> RunResult {
    let estimate = p.estimate();
    let (up, down) = p.motion.friction();
    RunResult {
        format: FORMAT,
        run: RunInfo {
            id: id.to_owned(),
            name: p.job.info.name.clone(),
            duration_s: p.first.map_or(0.0, |f| (p.last - f).max(0.0)),
            samples: p.samples,
        },
        strokes: strokes(p, &estimate),
        intervals: intervals(p, &estimate),
        joints: estimate.joints.clone(),
        groove: estimate.bins,
        alarms: p.watch.engine.records().to_vec(),
        tool: track(p),
        friction: Friction { up, down },
        line_wear: p.bends.wear(),
        quality: quality(p),
        depth_check: DepthCheck {
            couplings: p.coupling_marks.seen() as u64,
            slip_m: p.slip_m,
        },
    }
}

fn quality(p: &Pipeline) -> Quality {
    let a = p.aligner.counts();
    let load = p.instruments.health(ChannelId::Load);
    let depth = p.instruments.health(ChannelId::Depth);
    let shared = p
        .job
        .load
        .as_ref()
        .zip(p.job.depth.as_ref())
        .is_some_and(|(l, d)| l.channel.port == d.channel.port);
    Quality {
        bad_frames: load.bad_frames + if shared { 0 } else { depth.bad_frames },
        gaps: a.gaps + load.gaps + depth.gaps,
        late: a.late,
        lost_blocks: 0,
        out_of_range: a.out_of_range + load.out_of_range + depth.out_of_range,
        spikes: a.spikes + load.spikes + depth.spikes,
    }
}

fn strokes(p: &Pipeline, estimate: &GrooveEstimate) -> Vec<Stroke> {
    let bins = p.ledger.bins;
    p.ledger
        .rows
        .iter()
        .enumerate()
        .map(|(k, row)| {
            let base = estimate.fit.as_ref().map_or(0.0, |f| {
                (if row.up { f.base.0 } else { f.base.1 }) + f.drift[k]
            });
            let (mut sum, mut n, mut work, mut engaged) = (0.0, 0.0, 0.0, 0.0);
            for j in row.first..row.first + row.drag.len() {
                let Some(y) = row.at(j) else { continue };
                sum += y;
                n += 1.0;
                if cuts(estimate, k, j) {
                    work += (y - base) * bins.step;
                    engaged += bins.step;
                }
            }
            Stroke {
                n: k as u32 + 1,
                direction: if row.up {
                    Direction::Up
                } else {
                    Direction::Down
                },
                start_s: row.start,
                end_s: row.end,
                top_m: row.top,
                bottom_m: row.bottom,
                tool_travel_m: row.bottom - row.top,
                mean_drag_n: if n > 0.0 { sum / n } else { 0.0 },
                peak_tension_n: p.peaks[k],
                cut_work_j: f64::max(work, 0.0),
                engaged_m: engaged,
            }
        })
        .collect()
}

/// Did the wheels cut in this bin on this stroke? In a coupling they do, as far as they reach.
fn cuts(e: &GrooveEstimate, row: usize, bin: usize) -> bool {
    e.engaged[row] && (e.through_at[bin] == NEVER || row < e.through_at[bin])
}

/// Did the wheels cut at a depth, on this stroke? Strokes run over the ends of what is kept account
/// of; with the cutter out they cut there too.
fn cuts_at(e: &GrooveEstimate, row: usize, bin: f64) -> bool {
    let count = e.through_at.len() as f64;
    if (0.0..count).contains(&bin) {
        cuts(e, row, bin as usize)
    } else {
        e.engaged[row] && bin > -OVERRUN_PART * count && bin < (1.0 + OVERRUN_PART) * count
    }
}

/// States over time: phases of the motion, with moving told apart into cutting and free by the
/// stroke, the bin and what the whole run says about both.
fn intervals(p: &Pipeline, e: &GrooveEstimate) -> Vec<Interval> {
    let phases = p.hold.phases();
    let points = p.track.points();
    let mut out: Vec<Interval> = Vec::new();
    let mut at = 0;
    for (i, phase) in phases.iter().enumerate() {
        let end = phases.get(i + 1).map_or(p.last, |n| n.start);
        if end <= phase.start {
            continue;
        }
        match plain_state(phase) {
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
    out
}

fn plain_state(phase: &Phase) -> Option<State> {
    match phase.what {
        Motionless::Unknown => Some(State::Unknown),
        Motionless::Still => Some(State::Still),
        Motionless::Stalled => Some(State::Stalled),
        Motionless::Slack => Some(State::Slack),
        Motionless::Up | Motionless::Down => None,
    }
}

fn time(p: &TrackPoint) -> f64 {
    (f64::from(p.index) + 0.5) * CELL_S
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
        let cutting = with_cutter && cuts_at(e, row, bin);
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
        }),
    }
}

fn track(p: &Pipeline) -> ToolTrack {
    let steps = if p.last > 0.0 {
        (p.last / TRACK_STEP) as usize + 1
    } else {
        0
    };
    let mut depth = Vec::with_capacity(steps);
    let mut speed = Vec::with_capacity(steps);
    let points = p.track.points();
    let mut i = 0;
    for s in 0..steps {
        let t = s as f64 * TRACK_STEP;
        while i + 1 < points.len() && time(&points[i + 1]) <= t {
            i += 1;
        }
        let value = points.get(i).and_then(|a| {
            let b = points.get(i + 1).unwrap_or(a);
            let (ta, tb) = (time(a), time(b));
            if t < ta - 0.5 || t > tb + 0.5 || tb - ta > 2.0 {
                return None;
            }
            let f = if tb > ta {
                ((t - ta) / (tb - ta)).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let mix = |x: f32, y: f32| f64::from(x) + f * (f64::from(y) - f64::from(x));
            Some((mix(a.depth, b.depth), mix(a.speed, b.speed)))
        });
        depth.push(value.map(|v| v.0));
        speed.push(value.map(|v| v.1));
    }
    ToolTrack {
        every_s: TRACK_STEP,
        depth_m: depth,
        speed_m_s: speed,
    }
}

/// The present.
pub fn snapshot(p: &Pipeline) -> Snapshot {
    let m = p.moment;
    let direction = p.finder.direction();
    // Until the first sign of a cut there is none to be shown.
    let live = p.live.as_ref().filter(|_| !is_before_cut(p));
    let state = match p.hold.now() {
        Motionless::Unknown => State::Unknown,
        Motionless::Still => State::Still,
        Motionless::Stalled => State::Stalled,
        Motionless::Slack => State::Slack,
        Motionless::Up | Motionless::Down => live_moving(p, live),
    };
    Snapshot {
        at_s: newest_s(p),
        tension_n: p.newest[0].map(|n| n.1),
        expected_n: expected_n(p),
        limit_n: p.watch.limit_n(p.newest[1].map(|n| n.1)),
        time_to_limit_s: p.watch.verdict().and_then(|v| v.time_to_limit_s),
        line_m: p.newest[1].map(|n| n.1),
        line_speed_m_s: m.map(|m| m.line_speed),
        tool_depth_m: m.map(|m| m.depth),
        tool_depth_error_m: None,
        tool_speed_m_s: m.map(|m| m.speed),
        drag_n: drag_n(p),
        state,
        state_since_s: p.hold.phases().last().map_or(0.0, |f| f.start),
        direction,
        strokes: p.ledger.rows.len() as u32,
        cutter_out: live.and_then(|l| l.engaged.last().copied()),
        groove: live.map(|l| l.bins.clone()).unwrap_or_default(),
        joints: live.map(|l| l.joints.clone()).unwrap_or_default(),
        alarms: p.watch.engine.views(),
        channels: channels(p),
        quality: quality(p),
        bends_max: p.bends.bends_max(),
        life_used: p.bends.life_used_max(),
    }
}

/// The figures for charts: as [`snapshot`], without what takes longer. `span_n` is what the pipeline
/// kept since it was asked last.
pub fn glance(p: &Pipeline, span_n: Option<(f64, f64)>) -> Glance {
    let at_s = newest_s(p);
    let fresh = |reading: Option<(f64, f64)>| reading.filter(|n| at_s - n.0 <= GLANCE_S);
    let tension = fresh(p.newest[0]);
    let line = fresh(p.newest[1]);
    let moment = p.moment.filter(|_| tension.is_some() && line.is_some());
    Glance {
        at_s,
        tension_n: tension.map(|n| n.1),
        span_n,
        expected_n: moment.and_then(|_| expected_n(p)),
        line_m: line.map(|n| n.1),
        tool_m: moment.map(|m| m.depth),
        drag_n: moment.and_then(|_| drag_n(p)),
    }
}

fn newest_s(p: &Pipeline) -> f64 {
    p.newest.iter().flatten().map(|n| n.0).fold(0.0, f64::max)
}

fn expected_n(p: &Pipeline) -> Option<f64> {
    let motion = match p.finder.direction() {
        Some(Direction::Up) => Motion::Up,
        Some(Direction::Down) => Motion::Down,
        None => Motion::Rest,
    };
    p.moment.map(|_| p.motion.expected_surface(motion, 0.0))
}

fn drag_n(p: &Pipeline) -> Option<f64> {
    let is_up = p.finder.direction() == Some(Direction::Up);
    p.moment
        .map(|m| if is_up { m.drag_up } else { m.drag_down })
}

fn channels(p: &Pipeline) -> Vec<ChannelView> {
    [(ChannelId::Load, "load", 0), (ChannelId::Depth, "depth", 1)]
        .into_iter()
        .map(|(id, name, i)| {
            let h = p.instruments.health(id);
            let frames = p.instruments.frame_counts_of(id);
            ChannelView {
                name: name.to_owned(),
                readings: h.readings,
                rate_hz: h.rate_hz,
                age_s: p.newest[i].map(|n| (seconds(p.now) - n.0).max(0.0)),
                bad_frames: h.bad_frames,
                bad_kinds: frames.map(bad_kinds).unwrap_or_default(),
                partial_frames: frames.map_or(0, |f| f.partial),
                gaps: h.gaps,
                out_of_range: h.out_of_range,
                frozen: h.frozen,
                spikes: h.spikes,
                duplicates: h.duplicates,
                reordered: h.reordered,
                missing: h.missing,
                port_losses: h.port_losses,
                fault: h.fault.word().to_owned(),
            }
        })
        .collect()
}

/// Part of the drag of a first pass that tells wheels in the wall from wheels in the body.
const FIRST_PASS_SHARE: f64 = 0.25;

/// Strokes over the interval that a crew makes with the cutter in before it starts, at most (common practice, no
/// source). Who strokes on after that cuts, however little it drags.
const FREE_STROKES_MAX: usize = 12;

/// No mark has said that the cutter is out, no rise of drag has shown it, and no stroke has had the
/// drag that wheels in a fresh wall make: the tool has only run free so far.
fn is_before_cut(p: &Pipeline) -> bool {
    let rows = &p.ledger.rows;
    if rows.iter().filter(|row| !row.drag.is_empty()).count() > FREE_STROKES_MAX {
        return false;
    }
    let least = FIRST_PASS_SHARE * p.first_pass_drag;
    let ran_free = |row: &Row| {
        let (sum, n) = row.drag_sum();
        row.marked_out != Some(true) && sum <= least * f64::from(n)
    };
    p.free_until.is_none() && rows.iter().all(ran_free)
}

fn bad_kinds(counts: &FrameCounts) -> BTreeMap<String, u64> {
    counts
        .by_kind()
        .filter(|(_, count)| *count > 0)
        .map(|(kind, count)| (kind.to_owned(), count))
        .collect()
}

fn live_moving(p: &Pipeline, live: Option<&GrooveEstimate>) -> State {
    let (Some(live), Some(m)) = (live, p.moment) else {
        return State::Free;
    };
    let bins = p.ledger.bins;
    let bin = (m.depth - bins.top) / bins.step;
    let last = live.engaged.len().checked_sub(1);
    if last.is_some_and(|row| cuts_at(live, row, bin)) {
        State::Cutting
    } else {
        State::Free
    }
}
