//! The figures of the run report, each from a result or traces to one SVG.

mod strokes;

pub(super) use strokes::{drag, strokes};

use super::close_ups::CloseUp;
use super::scale::{Gain, mark_beyond, range};
use super::svg::{Axis, Chart};
use super::traces::{Kind, Traces};
use crate::summary::spans_beyond;
use crate::units_shown::Units;
use kerfwatch::result::{Direction, RunResult, State};
use std::fmt::Write as _;

/// Groove by depth: estimate, 90 % interval, wall, couplings; depth grows down the page.
pub(crate) fn groove(result: &RunResult, units: Units) -> Option<String> {
    let first = result.groove.first()?;
    let last = result.groove.last()?;
    let (depth, mm) = (units.depth(), units.groove());
    let wall = result.groove.iter().map(|b| b.wall_mm).fold(0.0, f64::max);
    let deepest = result.groove.iter().map(|b| b.high_mm).fold(wall, f64::max);
    let length = last.bottom_m - first.top_m;
    let height = (length * 20.0).clamp(360.0, 640.0);
    let mut chart = Chart::new(
        800.0,
        height,
        Axis::new(
            format!("groove, {}", mm.unit),
            0.0,
            deepest * 1.06 * mm.factor,
        ),
        Axis::new(
            format!("depth along hole, {}", depth.unit),
            last.bottom_m * depth.factor,
            first.top_m * depth.factor,
        ),
    );
    for (a, b) in spans_beyond(result)
        .into_iter()
        .flatten()
        .filter(|(a, b)| b > a)
    {
        let span = (a * depth.factor, b * depth.factor);
        chart.area("shade", None, Some(span), "beyond the interval");
    }
    for run in runs(result, |b| b.coupling) {
        let (a, b) = (run.0 * depth.factor, run.1 * depth.factor);
        chart.area("hatch", None, Some((a, b)), "coupling: not cut");
    }
    // Couplings split the curve: what is estimated there is not about the tubing.
    for part in result.groove.chunk_by(|a, b| !a.coupling && !b.coupling) {
        if part.iter().any(|b| b.coupling) {
            continue;
        }
        let edges = || {
            part.iter()
                .flat_map(|b| [b.top_m, b.bottom_m].map(|d| (d, b)))
        };
        let band: Vec<(f64, f64, f64)> = edges()
            .map(|(d, b)| {
                (
                    d * depth.factor,
                    b.low_mm * mm.factor,
                    b.high_mm * mm.factor,
                )
            })
            .collect();
        chart.band(true, &band);
        chart.line(
            "main",
            edges().map(|(d, b)| (b.depth_mm * mm.factor, Some(d * depth.factor))),
        );
    }
    let (top, bottom) = (first.top_m * depth.factor, last.bottom_m * depth.factor);
    chart.line(
        "limit",
        [
            (wall * mm.factor, Some(top)),
            (wall * mm.factor, Some(bottom)),
        ],
    );
    for run in runs(result, |b| b.through) {
        let x = deepest * 1.035 * mm.factor;
        let (a, b) = (run.0 * depth.factor, run.1 * depth.factor);
        chart.line("split", [(x, Some(a)), (x, Some(b))]);
    }
    Some(chart.finish("Groove depth against depth along hole"))
}

/// Stretches of bins for which `yes` holds.
fn runs(
    result: &RunResult,
    yes: impl Fn(&kerfwatch::result::GrooveBin) -> bool,
) -> Vec<(f64, f64)> {
    let mut list: Vec<(f64, f64)> = Vec::new();
    for bin in result.groove.iter().filter(|b| yes(b)) {
        match list.last_mut() {
            Some(last) if (last.1 - bin.top_m).abs() < 1e-6 => last.1 = bin.bottom_m,
            _ => list.push((bin.top_m, bin.bottom_m)),
        }
    }
    list
}

/// Tension over the whole run with the states below.
pub(super) fn whole_run(
    result: &RunResult,
    traces: &Traces,
    limit_n: Option<f64>,
    units: Units,
) -> String {
    let force = units.force();
    let spans = || {
        let columns = traces.tension.iter().enumerate();
        columns.filter_map(|(i, span)| span.some().map(|s| (traces.time(i), s.low, s.high)))
    };
    let readings = spans().flat_map(|(_, low, high)| [low, high]);
    let kept = range(readings, Gain::Eighth).unwrap_or((0.0, 1.0));
    let (bottom, top) = (kept.0.min(0.0), kept.1.max(1.0));
    let mut chart = Chart::new(
        800.0,
        230.0,
        Axis::new("time from run start, h:mm", traces.from_s, traces.to_s).clock(),
        Axis::new(
            format!("line tension, {}", force.unit),
            bottom * 1.08 * force.factor,
            top * 1.08 * force.factor,
        ),
    )
    .room_above(26.0);
    for interval in &result.intervals {
        let class = match interval.state {
            State::Cutting => "shade",
            State::Stalled => "bar2",
            _ => continue,
        };
        let title = interval.state.word();
        chart.area(class, Some((interval.start_s, interval.end_s)), None, title);
    }
    let columns = traces.tension.iter().enumerate();
    let envelope = columns.flat_map(|(i, span)| {
        let at = traces.time(i);
        match span.some() {
            Some(s) => [
                (at, Some(s.low * force.factor)),
                (at, Some(s.high * force.factor)),
            ],
            None => [(at, None), (at, None)],
        }
    });
    chart.line("main", envelope);
    mark_beyond(&mut chart, kept, force, spans());
    let y = top * 1.08 * force.factor;
    for alarm in result.alarms.iter().filter(|a| a.kind == "overpull") {
        chart.dot("ring", alarm.raised_s, y, 4.0);
    }
    if let Some(limit) = limit_n.filter(|limit| *limit < 1.08 * top) {
        let at = Some(limit * force.factor);
        chart.line("limit", [(traces.from_s, at), (traces.to_s, at)]);
    }
    let mut legend = "grey: cutting; dark grey: stalled; ring: overpull alarm".to_owned();
    if let Some(limit) = limit_n {
        let _ = write!(
            legend,
            "; tension limit {} (dash-dot if within)",
            force.show(limit)
        );
    }
    chart.label(traces.from_s, y, "start", 8.0, &legend);
    chart.finish("Line tension over the whole run")
}

/// Mean tension against depth for one direction: free, early and late cutting strokes.
pub(super) fn tension_by_depth(
    traces: &Traces,
    direction: Direction,
    units: Units,
) -> Option<String> {
    let (depth, force) = (units.depth(), units.force());
    let series: Vec<_> = traces
        .by_depth
        .iter()
        .filter(|b| b.direction == direction)
        .collect();
    if series.is_empty() {
        return None;
    }
    let values = || {
        traces
            .by_depth
            .iter()
            .flat_map(|b| b.means())
            .filter_map(|(_, v)| v)
    };
    let (low, high) = range(values(), Gain::Eighth)?;
    let room = 0.06 * (high - low).max(1.0);
    let (top, bottom) = (
        traces.depth_m.0 * depth.factor,
        traces.depth_m.1 * depth.factor,
    );
    let mut chart = Chart::new(
        400.0,
        360.0,
        Axis::new(
            format!("line tension, {}", force.unit),
            (low - room) * force.factor,
            (high + room) * force.factor,
        ),
        Axis::new(format!("depth of the wheels, {}", depth.unit), bottom, top),
    );
    for line in series {
        let class = match line.kind {
            Kind::Free => "second",
            Kind::Early => "main",
            Kind::Late => "third",
        };
        let points: Vec<(f64, f64)> = (line.means())
            .filter_map(|(part, value)| Some((value?, top + part * (bottom - top))))
            .collect();
        let is_beyond = |value: f64| value < low || value > high;
        let far = (points.iter()).filter(|(value, _)| is_beyond(*value));
        if let Some((value, at)) = far.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs())) {
            // Tension runs across here: the farthest that the scale does not hold stands at that side.
            let (edge, anchor) = if *value > high {
                (high + room, "end")
            } else {
                (low - room, "start")
            };
            let words = format!("beyond the scale: {}", force.show(*value));
            chart.label(edge * force.factor, *at, anchor, 3.0, &words);
        }
        let points = points.iter();
        chart.line(
            class,
            points.map(|(value, at)| (value * force.factor, Some(*at))),
        );
    }
    Some(chart.finish("Mean line tension against depth"))
}

/// A stall or alarm close up: tension, and the line paid out as a dashed line on its own scale.
pub(super) fn close_up(close: &CloseUp, limit_n: Option<f64>, units: Units) -> String {
    let force = units.force();
    let spans = || {
        let points = close.tension.iter().enumerate();
        points.filter_map(|(i, span)| span.some().map(|s| (close.time(i), s.low, s.high)))
    };
    let readings = spans().flat_map(|(_, low, high)| [low, high]);
    let (low, high) = range(readings, Gain::Eighth).unwrap_or((0.0, 1.0));
    let room = 0.08 * (high - low).max(50.0);
    // Room below is only air, unless the tension really was negative.
    let (from, to) = ((low - room).max(low.min(0.0)), high + room);
    let mut chart = Chart::new(
        400.0,
        220.0,
        Axis::new("time, h:mm:ss", close.from_s, close.to_s).clock(),
        Axis::new(
            format!("tension, {}", force.unit),
            from * force.factor,
            to * force.factor,
        ),
    );
    chart.area(
        "shade",
        Some((close.event.0, close.event.1.min(close.to_s))),
        None,
        &close.title,
    );
    let line: Vec<(f64, f64)> = close
        .line_m
        .iter()
        .enumerate()
        .filter_map(|(i, s)| s.some().map(|s| (close.time(i), 0.5 * (s.low + s.high))))
        .collect();
    let shallow = line.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let deep = line.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    if deep - shallow > 1e-3 {
        // Deeper is lower, on the full height of the plot.
        let scaled = line.iter().map(|(t, m)| {
            (
                *t,
                Some((to - (m - shallow) / (deep - shallow) * (to - from)) * force.factor),
            )
        });
        chart.line("second", scaled);
    }
    let points = close.tension.iter().enumerate().filter_map(|(i, s)| {
        let s = s.some()?;
        let at = close.time(i);
        Some([
            (at, Some(s.low * force.factor)),
            (at, Some(s.high * force.factor)),
        ])
    });
    chart.line("main", points.flatten());
    mark_beyond(&mut chart, (low, high), force, spans());
    if let Some(limit) = limit_n.filter(|l| *l < to) {
        let y = Some(limit * force.factor);
        chart.line("limit", [(close.from_s, y), (close.to_s, y)]);
    }
    chart.finish(&close.title)
}

/// Bends by section of line.
pub(super) fn line_wear(result: &RunResult, units: Units) -> Option<String> {
    let first = result.line_wear.first()?;
    let last = result.line_wear.last()?;
    let depth = units.depth();
    let most = result.line_wear.iter().map(|w| w.bends).max()?.max(1);
    let mut chart = Chart::new(
        800.0,
        180.0,
        Axis::new(
            format!("distance up the line from the rope socket, {}", depth.unit),
            first.from_m * depth.factor,
            last.to_m * depth.factor,
        ),
        Axis::new("bends", 0.0, f64::from(most.max(2)) * 1.08).whole(),
    );
    for section in &result.line_wear {
        let span = (section.from_m * depth.factor, section.to_m * depth.factor);
        chart.area("bar", Some(span), Some((0.0, f64::from(section.bends))), "");
    }
    Some(chart.finish("Bends of the line by section"))
}
