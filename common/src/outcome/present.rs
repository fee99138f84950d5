//! The present, for page and log, and the few figures that charts follow.

use super::after::quality;
use super::states::{cutter_out, newest_engaged, now};
use crate::decode::FrameCounts;
use crate::groove::engagement::FREE_STROKES_MAX;
use crate::groove::ledger::Row;
use crate::input::ChannelId;
use crate::model::Motion;
use crate::pipeline::Pipeline;
use crate::result::Direction;
use crate::snapshot::{ChannelView, Glance, HighestView, Snapshot};
use crate::time::seconds;
use std::collections::BTreeMap;

/// A reading older than this is not the present, s.
const GLANCE_S: f64 = 2.0;

/// The present.
pub fn snapshot(p: &Pipeline) -> Snapshot {
    let m = p.moment;
    let direction = p.finder.direction();
    // Until the first sign of a cut there is none to be shown.
    let live = (p.live.as_ref()).filter(|live| live.fit.is_some() && !is_before_cut(p));
    Snapshot {
        at_s: newest_s(p),
        watched_s: seconds(p.now),
        tension_n: p.newest[0].map(|n| n.1),
        expected_n: expected_n(p),
        limit_n: limit_n(p),
        time_to_limit_s: p.watch.verdict().and_then(|v| v.time_to_limit_s),
        highest: highest(p),
        line_m: p.newest[1].map(|n| n.1),
        line_speed_m_s: m.map(|m| m.line_speed),
        tool_depth_m: m.map(|m| m.depth),
        tool_speed_m_s: m.map(|m| m.speed),
        drag_n: drag_n(p),
        state: now(p, live),
        state_since_s: p.hold.phases().last().map_or(0.0, |f| f.start),
        direction,
        strokes: p.ledger.rows.len() as u32,
        strokes_out: live.map_or(0, |l| l.engaged.iter().filter(|out| **out).count() as u32),
        cutter_out: cutter_out(p, newest_engaged(live)),
        marks_turned: p.is_turned(),
        marks_doubted: p.live_doubts.clone(),
        other_wheels: live.map(|l| l.other_wheels.clone()).unwrap_or_default(),
        groove: live.map(|l| l.bins.clone()).unwrap_or_default(),
        joints: live.map(|l| l.joints.clone()).unwrap_or_default(),
        outlook: live.map(|l| l.outlook.clone()).unwrap_or_default(),
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

/// The limit that the newest load reading was held against: that of the depth, or the least of all while nobody knows it.
fn limit_n(p: &Pipeline) -> f64 {
    let by_depth = || p.watch.limit_n(p.newest[1].map(|n| n.1));
    p.watch.verdict().map_or_else(by_depth, |v| v.limit_n)
}

fn highest(p: &Pipeline) -> Option<HighestView> {
    p.highest_tension().map(|h| HighestView {
        at_s: h.at_s,
        tension_n: h.tension_n,
        depth_m: h.depth_m,
        limit_n: p.watch.limit_n(Some(h.line_m)),
    })
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

/// No stroke was made since a mark has said that the cutter is out, or a rise of drag has shown it, and none has had
/// the drag that wheels in a fresh wall make: the tool has only run free so far.
pub(crate) fn is_before_cut(p: &Pipeline) -> bool {
    let rows = &p.ledger.rows;
    if rows.iter().filter(|row| !row.drag.is_empty()).count() > FREE_STROKES_MAX {
        return false;
    }
    // The last stroke before the crew put the cutter out is told after they have.
    let was_before_out = |row: &Row| {
        let middle = 0.5 * (row.start + row.end);
        p.free_until.is_none_or(|out| middle < out)
    };
    let least = FIRST_PASS_SHARE * p.first_pass_drag;
    let ran_free = |row: &Row| {
        let (sum, n) = row.drag_sum();
        let is_marked_out = (row.marked_out).is_some_and(|said| p.is_out(row.start, said));
        !is_marked_out && sum <= least * f64::from(n)
    };
    rows.iter().all(|row| was_before_out(row) && ran_free(row))
}

fn bad_kinds(counts: &FrameCounts) -> BTreeMap<String, u64> {
    counts
        .by_kind()
        .filter(|(_, count)| *count > 0)
        .map(|(kind, count)| (kind.to_owned(), count))
        .collect()
}
