//! What the plots need from the readings themselves, gathered in one pass with bounded memory: tension
//! over the whole run, tension against depth by kind of stroke, close-ups of stalls and alarms, silences
//! of the instruments.

use super::close_ups::{CLOSE_POINTS, CloseUp, close_ups};
use super::happenings::Happenings;
use super::tension_cycles::TensionCycles;
use crate::failure::Failure;
use crate::readings::for_each_reading;
use crate::run_folder::RunFolder;
use kerfwatch::calibrate::Flags;
use kerfwatch::input::ChannelId;
use kerfwatch::result::{Direction, RunResult, Stroke, ToolTrack};
use kerfwatch::time::seconds;

/// Columns of the plot of the whole run.
const COLUMNS: usize = 900;
/// Depth bins of the tension plot.
const DEPTH_BINS: usize = 90;

/// Smallest and largest of what fell into one column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Span {
    pub(crate) low: f64,
    pub(crate) high: f64,
}

impl Span {
    pub(crate) const EMPTY: Self = Self {
        low: f64::INFINITY,
        high: f64::NEG_INFINITY,
    };

    pub(crate) fn take(&mut self, value: f64) {
        self.low = self.low.min(value);
        self.high = self.high.max(value);
    }

    /// `None` when nothing fell in.
    pub(crate) fn some(self) -> Option<Self> {
        (self.low <= self.high).then_some(self)
    }
}

/// Kind of stroke in the tension plot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Cutter in.
    Free,
    /// First third of the cutting strokes.
    Early,
    /// Last third of the cutting strokes.
    Late,
}

/// Mean tension by depth of one kind of stroke.
#[derive(Debug, Clone)]
pub(crate) struct ByDepth {
    pub(crate) direction: Direction,
    pub(crate) kind: Kind,
    sum: Vec<f64>,
    count: Vec<u64>,
}

impl ByDepth {
    /// `(part of the interval, mean tension)`; `None` where there is nothing.
    pub(crate) fn means(&self) -> impl Iterator<Item = (f64, Option<f64>)> + '_ {
        self.sum
            .iter()
            .zip(&self.count)
            .enumerate()
            .map(|(i, (sum, n))| {
                let part = (i as f64 + 0.5) / DEPTH_BINS as f64;
                (part, (*n > 0).then(|| sum / *n as f64))
            })
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.count.iter().all(|n| *n == 0)
    }
}

/// All of it.
#[derive(Debug)]
pub(crate) struct Traces {
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) tension: Vec<Span>,
    /// Depths of the tension plot.
    pub(crate) depth_m: (f64, f64),
    pub(crate) by_depth: Vec<ByDepth>,
    pub(crate) close_ups: Vec<CloseUp>,
    /// Events that had no room.
    pub(crate) not_shown: usize,
    pub(super) happenings: Happenings,
    pub(super) cycles: TensionCycles,
    /// Silences of an instrument, as long as the job calls stale or longer.
    pub(super) silences: Vec<Silence>,
}

/// An instrument was not heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Silence {
    pub(super) channel: ChannelId,
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

/// An instrument that is silent for so long before the run ends is told too, s.
const SILENT_END_S: f64 = 2.0;
/// Silences that are kept.
const SILENCES_MAX: usize = 200;

impl Traces {
    /// Middle of column `i`, s.
    pub(crate) fn time(&self, i: usize) -> f64 {
        self.from_s + (i as f64 + 0.5) / COLUMNS as f64 * (self.to_s - self.from_s)
    }
}

/// Gathers everything; `cutter_out`: by stroke.
///
/// # Errors
/// A job whose instruments cannot be set up.
pub(crate) fn gather(
    folder: &mut RunFolder,
    result: &RunResult,
    cutter_out: &[bool],
) -> Result<Traces, Failure> {
    let info = &folder.job.job.info;
    let depth_m = (info.interval_top.si(), info.interval_bottom.si());
    let (from_s, to_s) = run_span(result);
    let (close_ups, not_shown) = close_ups(result);
    let mut traces = Traces {
        from_s,
        to_s,
        tension: vec![Span::EMPTY; COLUMNS],
        depth_m,
        by_depth: empty_by_depth(),
        close_ups,
        not_shown,
        happenings: Happenings::new(result),
        cycles: TensionCycles::new(folder.job.job.line.breaking_load.si()),
        silences: Vec::new(),
    };
    let mut heard = [from_s; 2];
    let kinds = stroke_kinds(&result.strokes, cutter_out);
    let mut stroke = 0;
    for_each_reading(folder, |reading| {
        let at = seconds(reading.at);
        let last = &mut heard[usize::from(reading.channel == ChannelId::Depth)];
        if reading.flags.has(Flags::GAP) && traces.silences.len() < SILENCES_MAX {
            traces.silences.push(Silence {
                channel: reading.channel,
                from_s: *last,
                to_s: at,
            });
        }
        *last = at;
        for close in &mut traces.close_ups {
            if at < close.from_s || at >= close.to_s {
                continue;
            }
            let i = column(at, close.from_s, close.to_s, CLOSE_POINTS);
            match reading.channel {
                ChannelId::Load => close.tension[i].take(reading.value),
                ChannelId::Depth => close.line_m[i].take(reading.value),
            }
        }
        if reading.channel != ChannelId::Load {
            return;
        }
        traces.tension[column(at, from_s, to_s, COLUMNS)].take(reading.value);
        traces.happenings.take(at, reading.value);
        traces.cycles.take(reading.value);
        while result.strokes.get(stroke).is_some_and(|s| s.end_s < at) {
            stroke += 1;
        }
        let Some(now) = result.strokes.get(stroke).filter(|s| s.start_s <= at) else {
            return;
        };
        let (Some(kind), Some(depth)) = (kinds[stroke], depth_at(&result.tool, at)) else {
            return;
        };
        let part = (depth - depth_m.0) / (depth_m.1 - depth_m.0);
        if !(0.0..1.0).contains(&part) {
            return;
        }
        let bin = (part * DEPTH_BINS as f64) as usize;
        let wanted = traces
            .by_depth
            .iter_mut()
            .find(|b| b.direction == now.direction && b.kind == kind);
        if let Some(series) = wanted {
            series.sum[bin] += reading.value;
            series.count[bin] += 1;
        }
    })?;
    for (channel, from_s) in [ChannelId::Load, ChannelId::Depth].into_iter().zip(heard) {
        if to_s - from_s > SILENT_END_S {
            traces.silences.push(Silence {
                channel,
                from_s,
                to_s,
            });
        }
    }
    traces.cycles.finish();
    traces.by_depth.retain(|b| !b.is_empty());
    Ok(traces)
}

/// First and last time of the run, never the same: pictures lie between them.
fn run_span(result: &RunResult) -> (f64, f64) {
    let (from, to) = result.span_s();
    match to > from {
        true => (from, to),
        false => (from, from + 1.0),
    }
}

fn column(at: f64, from: f64, to: f64, columns: usize) -> usize {
    let place = (at - from) / (to - from) * columns as f64;
    // Late readings from before the start go to the first column.
    (place.max(0.0) as usize).min(columns - 1)
}

fn empty_by_depth() -> Vec<ByDepth> {
    [Direction::Up, Direction::Down]
        .into_iter()
        .flat_map(|direction| {
            [Kind::Free, Kind::Early, Kind::Late].map(|kind| ByDepth {
                direction,
                kind,
                sum: vec![0.0; DEPTH_BINS],
                count: vec![0; DEPTH_BINS],
            })
        })
        .collect()
}

/// Kind of each stroke; the middle third of the cutting strokes has none, nor have those with the cutter
/// out that found nothing left to cut: rolling drags too.
fn stroke_kinds(strokes: &[Stroke], cutter_out: &[bool]) -> Vec<Option<Kind>> {
    let cutting = strokes.iter().filter(|s| s.engaged_m > 0.0).count();
    let third = cutting.div_ceil(3);
    let mut seen = 0;
    strokes
        .iter()
        .enumerate()
        .map(|(i, stroke)| {
            if stroke.engaged_m <= 0.0 {
                let out = cutter_out.get(i).copied().unwrap_or(false);
                return (!out).then_some(Kind::Free);
            }
            seen += 1;
            if seen <= third {
                Some(Kind::Early)
            } else if seen > cutting - third {
                Some(Kind::Late)
            } else {
                None
            }
        })
        .collect()
}

/// Depth of the wheels at a time, between the steps of the track.
fn depth_at(track: &ToolTrack, at: f64) -> Option<f64> {
    let place = at / track.every_s;
    if !(place >= 0.0 && track.every_s > 0.0) {
        return None;
    }
    let i = place as usize;
    let a = (*track.depth_m.get(i)?)?;
    match track.depth_m.get(i + 1).copied().flatten() {
        Some(b) => Some(a + (b - a) * place.fract()),
        None => Some(a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::{AlarmRecord, Interval, State};

    #[test]
    fn an_alarm_that_still_stands_is_shown_to_the_end_of_a_run_that_began_late() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        // An hour, ten hours after the zero of its table.
        result.run.duration_s = 3_600.0;
        result.intervals = vec![Interval {
            state: State::Free,
            start_s: 36_000.0,
            end_s: 39_600.0,
            depth_m: None,
        }];
        result.alarms = vec![AlarmRecord {
            kind: "overpull".to_owned(),
            about: None,
            level: "high".to_owned(),
            raised_s: 39_590.0,
            cleared_s: None,
            peak_n: Some(5_000.0),
        }];
        let (shown, _) = close_ups(&result);
        assert_eq!(shown[0].event, (39_590.0, 39_600.0));
        assert!(shown[0].from_s < 39_590.0 && shown[0].to_s > 39_600.0);
        assert_eq!(run_span(&result), (36_000.0, 39_600.0));
    }
}
