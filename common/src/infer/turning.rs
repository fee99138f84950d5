//! When the tool left a turning point, and when it came to one.
//!
//! A stroke starts and ends five centimetres from where the tool turns. While the line takes up, errors in friction show
//! as a tool that moves a little; these times are told apart from that. Times in s, depths along hole and line paid out
//! in m.

use crate::align::CELL_S;
use crate::motion::Moment;
use crate::result::Direction;
use std::collections::VecDeque;

/// Distance from a turning point at which a stroke starts and ends, m.
pub(super) const MARGIN: f64 = 0.05;
/// Slowest line movement that drives the tool, m/s.
pub(super) const LINE_MOVES: f64 = 0.01;
/// Slower than this part of the line's speed the tool does not follow it yet,
const GOES_PART: f64 = 0.3;
/// unless over a whole swing from there on it does by this part: a tool that has broken loose swings on its line, and
/// all but stands once in each swing.
const SWINGS_PART: f64 = 0.95;
/// Farther than this from its turning point a tool that seems to creep has really gone: m, and part of the line
/// taken up.
const CREEP_MAX: f64 = 0.25;
const CREEP_PART: f64 = 0.15;
/// Until the line has come back by this much, m, it has not pulled the tool: more than a step of the counter.
const LINE_BACK: f64 = 0.03;

/// A place of the tool at a time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turn {
    /// When, s.
    pub(super) t: f64,
    /// Depth of the wheels, m.
    pub(super) depth: f64,
    /// Line paid out, m.
    pub(super) line: f64,
}

/// When the tool came within the margin of the farthest point.
pub(super) fn arrival(approach: &VecDeque<Turn>, farthest: Turn) -> f64 {
    let turn = approach.back().map_or(farthest.depth, |last| last.depth);
    let mut before: Option<&Turn> = None;
    for here in approach {
        let b = (here.depth - turn).abs();
        if b <= MARGIN {
            let Some(last) = before else { return here.t };
            let a = (last.depth - turn).abs();
            let f = if a - b > 1e-9 {
                (a - MARGIN) / (a - b)
            } else {
                1.0
            };
            return last.t + (here.t - last.t) * f.clamp(0.0, 1.0);
        }
        before = Some(here);
    }
    farthest.t
}

/// When the tool left its turning point by the margin.
///
/// While the line stands or takes up, doubt in friction shows as a tool that creeps along with a small
/// part of the line's speed. Where it has crept only a little before it really went, it left from
/// there. `tail`: what came after the turning point `farthest`; `None`: it has crept nowhere.
pub(super) fn departure(tail: &[Moment], farthest: Turn, back: Direction) -> Option<f64> {
    let slow = |m: &Moment| m.speed.abs() < GOES_PART * m.line_speed.abs().max(LINE_MOVES);
    // Over the swing that follows `tail[i]`.
    let goes = |i: usize| {
        let swing = (tail[i].swing / CELL_S).round() as usize;
        tail.get(i + swing.max(1)).is_some_and(|later| {
            let line = along(back, later.counted - tail[i].counted);
            line > LINE_BACK && along(back, later.depth - tail[i].depth) > SWINGS_PART * line
        })
    };
    // The farthest the line went before it came back.
    let turned = (tail.iter()).fold(farthest.line, |turned, m| {
        if along(back, m.counted - turned) < 0.0 {
            m.counted
        } else {
            turned
        }
    });
    // An error in friction shows as a part of the line taken up.
    let near = |m: &Moment| {
        let taken_up = along(back, m.counted - turned).max(0.0);
        (m.depth - farthest.depth).abs() < CREEP_MAX + CREEP_PART * taken_up
    };
    let waits = |m: &Moment| along(back, m.counted - turned) < LINE_BACK;
    let i = (0..tail.len())
        .rev()
        .find(|&i| ((slow(&tail[i]) && !goes(i)) || waits(&tail[i])) && near(&tail[i]))?;
    let from = tail[i].depth;
    let mut last = &tail[i];
    for m in &tail[i + 1..] {
        let (a, b) = ((last.depth - from).abs(), (m.depth - from).abs());
        if b >= MARGIN {
            let part = ((MARGIN - a) / (b - a).max(1e-9)).clamp(0.0, 1.0);
            return Some(last.t + (m.t - last.t) * part);
        }
        last = m;
    }
    None
}

/// Distance along a direction: positive when going on that way.
pub(super) fn along(direction: Direction, change: f64) -> f64 {
    match direction {
        Direction::Up => -change,
        Direction::Down => change,
    }
}
