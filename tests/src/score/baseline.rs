//! The simple estimator ours has to beat: what a careful person would do with a spreadsheet.
//!
//! Strokes are reversals of the measuring wheel; the tool is where the wheel says (no stretch);
//! a stall is a tension slope above half the stiffness of the line; slack is tension well below
//! the hanging weight; it cuts whenever it moves between the cutter marks (or inside the interval
//! when nothing was marked); the groove grows as the cube root of nominal passes.

use super::estimate::{Estimate, Shown, Watch, Watched};
use super::record::Record;
use super::ten_strokes::Ahead;
use kerfwatch::input::{ChannelId, Input, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::result::{
    DepthCheck, Direction, FORMAT, Friction, GrooveBin, Interval, Joint, Quality, RunInfo,
    RunResult, State, Stroke, ToolTrack,
};
use kerfwatch::units::GRAVITY;

/// Step at which the spreadsheet looks at the data, s.
const STEP: f64 = 0.1;

/// Times for which a stall, slack or overpull must have lasted before it is told, s:
/// [`super::equal_alarms`] says which is compared with ours.
pub const PATIENCE: [f64; 9] = [0.0, 0.3, 0.6, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0];

/// Pipe beyond either end of the interval that the sheet has rows for, m: strokes run over.
const BEYOND_M: f64 = 3.0;
/// Contact pressure a person would assume, Pa (from memory of a handbook figure).
const PRESSURE: f64 = 1.2e9;

struct Sheet<'a> {
    job: &'a Job,
    time: Vec<f64>,
    line: Vec<f64>,
    tension: Vec<f64>,
    state: Vec<State>,
    cutter_out: Option<bool>,
    passes: Vec<u32>,
    overpulls: Vec<f64>,
    above: Lasting,
    held: Lasting,
    loose: Lasting,
    patience: f64,
    interval_top: f64,
    bins_top: f64,
    bin: f64,
    bins: usize,
    /// The bins of the interval.
    inside: std::ops::Range<usize>,
    stiffness: f64,
    weight_per_m: f64,
    tool_weight: f64,
}

/// Since when a condition holds, and whether that was told.
#[derive(Debug, Clone, Copy, Default)]
struct Lasting {
    since: Option<f64>,
    told: bool,
}

impl Lasting {
    /// Takes whether it holds at a time; true from when it has held for `patience`.
    fn holds(&mut self, holds: bool, time: f64, patience: f64) -> bool {
        self.since = holds.then(|| self.since.unwrap_or(time));
        self.since
            .is_some_and(|since| time - since >= patience - 1e-9)
    }

    /// The same, once each time.
    fn begins(&mut self, holds: bool, time: f64, patience: f64) -> bool {
        let now = self.holds(holds, time, patience);
        now && !std::mem::replace(&mut self.told, now)
    }
}

/// Runs the baseline; `patience`: for how long a stall, slack or overpull must have lasted, s.
pub fn estimate(record: &Record, patience: f64) -> Estimate {
    let began = std::time::Instant::now();
    let job = &record.job;
    let area = std::f64::consts::PI * 0.25 * job.line.diameter.si().powi(2);
    let density = job.fluid.density.si();
    let (top, bottom, bin) = (
        job.info.interval_top.si(),
        job.info.interval_bottom.si(),
        job.info.bin.si(),
    );
    let inside = ((bottom - top) / bin - 1e-6).ceil().max(1.0) as usize;
    let beyond = (BEYOND_M / bin).ceil() as usize;
    let bins = inside + 2 * beyond;
    let mut sheet = Sheet {
        job,
        time: Vec::new(),
        line: Vec::new(),
        tension: Vec::new(),
        state: Vec::new(),
        cutter_out: None,
        passes: vec![0; bins],
        overpulls: Vec::new(),
        above: Lasting::default(),
        held: Lasting::default(),
        loose: Lasting::default(),
        patience,
        interval_top: top,
        bins_top: top - beyond as f64 * bin,
        bin,
        bins,
        inside: beyond..beyond + inside,
        stiffness: job.line.modulus.si() * area,
        weight_per_m: (job.line.density.si() - density) * area * GRAVITY,
        tool_weight: job.tool.mass.si() * GRAVITY * (1.0 - density / 7850.0),
    };
    let truth = &record.truth;
    let mut history = truth.groove_history.iter().map(|h| h.time_s).peekable();
    let held = |interval: &&super::truth::Interval| {
        matches!(interval.state, State::Stalled | State::Slack)
    };
    let mut watch = Watch::new(truth.intervals.iter().filter(held).map(|i| i.start_s));
    let (mut load, mut depth) = (None, None);
    let (mut shown, mut watched) = (Vec::new(), Vec::new());
    record.feed(|time, input| {
        match input {
            Input::Reading {
                channel: ChannelId::Load,
                value,
                ..
            } => {
                load = Some(*value);
                sheet.watch_limit(time, *value);
            }
            Input::Reading {
                channel: ChannelId::Depth,
                value,
                ..
            } => depth = Some(*value),
            Input::Mark { mark, .. } => match mark.kind {
                MarkKind::CutterOut => sheet.cutter_out = Some(true),
                MarkKind::CutterIn => sheet.cutter_out = Some(false),
                _ => {}
            },
            _ => {}
        }
        if let (Some(load), Some(depth)) = (load, depth) {
            while sheet.time.len() as f64 * STEP <= time {
                sheet.push(depth, load);
            }
        }
        if history.next_if(|due| *due <= time).is_some() {
            shown.push(Shown {
                time_s: time,
                groove: sheet.groove(),
                joints: sheet.joints(),
                ahead: vec![sheet.ahead()],
            });
        }
        if watch.due(time) {
            watched.push(Watched {
                time_s: time,
                state: sheet.state.last().copied().unwrap_or(State::Unknown),
                line_m: depth.unwrap_or(0.0),
            });
        }
    });
    let result = sheet.result(&record.name);
    Estimate {
        result,
        shown,
        watched,
        overpulls: sheet.overpulls,
        took_s: began.elapsed().as_secs_f64(),
    }
}

impl Sheet<'_> {
    fn watch_limit(&mut self, time: f64, load: f64) {
        let limit = self.job.alarm.tension_limit.map_or_else(
            || self.job.line.breaking_load.si() * self.job.alarm.tension_fraction,
            |limit| limit.si(),
        );
        // Pull above hanging weight, the only expectation a spreadsheet has.
        let line = self.line.last().copied().unwrap_or(0.0);
        let expected = self.tool_weight + self.weight_per_m * line;
        let above = load > limit.min(expected + self.job.alarm.overpull.si());
        if self.above.begins(above, time, self.patience) {
            self.overpulls.push(time);
        }
        self.above.told &= above;
    }

    fn push(&mut self, line: f64, tension: f64) {
        let k = self.time.len();
        self.time.push(k as f64 * STEP);
        let offset = self.job.tool.cutter_offset.si();
        let before = self.line.last().copied().unwrap_or(line);
        self.line.push(line);
        self.tension.push(tension);
        let back = k.saturating_sub(5);
        let span = (k - back).max(1) as f64 * STEP;
        let speed = (line - self.line[back]) / span;
        let long = k.saturating_sub(15);
        let (moved, rise) = (line - self.line[long], tension - self.tension[long]);
        let free = self.cutter_out != Some(true);
        let inside = line + offset > self.interval_top - 1.0 && self.cutter_out.is_none();
        let hanging = self.tool_weight + self.weight_per_m * line;
        let moves = speed.abs() >= 0.02;
        let steep = moved < -0.05 && rise / -moved > 0.5 * self.stiffness / line.max(1.0);
        let light = speed > 0.0 && tension < hanging - self.tool_weight;
        let (time, patience) = (self.time[k], self.patience);
        let held = self.held.holds(moves && steep, time, patience);
        let loose = self.loose.holds(moves && light, time, patience);
        let state = if !moves {
            State::Still
        } else if held {
            State::Stalled
        } else if loose {
            State::Slack
        } else if free && !inside {
            State::Free
        } else {
            State::Cutting
        };
        self.state.push(state);
        if self.cutter_out.unwrap_or(true) {
            let place = |line: f64| ((line + offset - self.bins_top) / self.bin - 0.5).ceil();
            let (a, b) = (place(before), place(line));
            let (from, to) = (a.min(b).max(0.0) as usize, a.max(b).max(0.0) as usize);
            for bin in from..to.min(self.bins) {
                self.passes[bin] += 1;
            }
        }
    }

    /// Cube-root law with nominal figures, every wheel biting both ways.
    fn depth_mm(&self, passes: u32) -> f64 {
        let cutter = &self.job.cutter;
        let n = f64::from(passes * cutter.wheels);
        if n == 0.0 {
            return 0.0;
        }
        let pressure = cutter.contact_pressure.map_or(PRESSURE, |p| p.si());
        let q = cutter.radial_force.si() / (2.0 * pressure * (0.5 * cutter.edge_angle.si()).tan());
        let radius = cutter.radius.si();
        let first = (1.5 * q / (2.0 * radius).sqrt()).powf(2.0 / 3.0);
        let cube = first.powi(3) + 3.0 * (n - 1.0) * q * q / (2.0 * radius);
        1e3 * cube.cbrt()
    }

    fn groove(&self) -> Vec<GrooveBin> {
        let wall = self.job.tubular.wall.as_millimetres();
        let half = 0.5 * self.job.tubular.coupling_length.si();
        let shown = |k: &usize| self.inside.contains(k) || self.passes[*k] > 0;
        (0..self.bins)
            .filter(shown)
            .map(|k| {
                let top = self.bins_top + k as f64 * self.bin;
                let middle = top + 0.5 * self.bin;
                let raw = self.depth_mm(self.passes[k]);
                let depth = raw.min(wall);
                let coupling = self
                    .job
                    .couplings
                    .iter()
                    .any(|c| (c.si() - middle).abs() < half);
                GrooveBin {
                    top_m: top,
                    bottom_m: top + self.bin,
                    depth_mm: if coupling { 0.0 } else { depth },
                    low_mm: 0.8 * depth,
                    high_mm: (1.2 * depth).min(wall),
                    wall_mm: wall,
                    passes: self.passes[k],
                    through: !coupling && raw >= wall,
                    // A person would call it when the count says so, with a margin both ways.
                    through_probability: if coupling {
                        0.0
                    } else {
                        ((raw / wall - 0.8) / 0.4).clamp(0.0, 1.0)
                    },
                    coupling,
                }
            })
            .collect()
    }

    /// The whole interval as one joint: strokes until the count of its least cut bin says through.
    fn joints(&self) -> Vec<Joint> {
        let wall = self.job.tubular.wall.as_millimetres();
        let (top, bottom) = (
            self.interval_top,
            self.interval_top + self.inside.len() as f64 * self.bin,
        );
        let within = |bin: &GrooveBin| (top..bottom).contains(&(bin.top_m + 0.5 * self.bin));
        let groove = self.groove();
        let least = groove.iter().filter(|bin| !bin.coupling && within(bin));
        let Some(passes) = least.map(|bin| bin.passes).min() else {
            return Vec::new();
        };
        let left = (passes..).take_while(|n| self.depth_mm(*n) < wall).count() as f64;
        vec![Joint {
            top_m: top,
            bottom_m: bottom,
            split_fraction: 0.0,
            min_depth_mm: self.depth_mm(passes).min(wall),
            strokes_left_p50: Some(left),
            strokes_left_p90: Some(left),
        }]
    }

    /// Ten more passes over every bin of the interval that the count does not call through.
    fn ahead(&self) -> Option<Ahead> {
        let wall = self.job.tubular.wall.as_millimetres();
        let now_and_then = (self.inside.clone())
            .map(|k| self.passes[k])
            .map(|n| (self.depth_mm(n), self.depth_mm(n + 10)));
        let open: Vec<(f64, f64)> = now_and_then.filter(|(now, _)| *now < wall).collect();
        let deeper = open.iter().map(|(now, then)| then.min(wall) - now);
        (!open.is_empty()).then(|| Ahead {
            deepen_mm: deeper.sum::<f64>() / open.len() as f64,
            split: open.iter().filter(|(_, then)| *then >= wall).count() as f64,
        })
    }

    fn strokes(&self) -> Vec<Stroke> {
        let line = &self.line;
        let mut turns = Vec::new();
        let (mut low, mut high) = (0, 0);
        let mut down: Option<bool> = None;
        for k in 0..line.len() {
            if line[k] > line[high] {
                high = k;
            }
            if line[k] < line[low] {
                low = k;
            }
            let fell = line[high] - line[k] >= 0.5;
            let rose = line[k] - line[low] >= 0.5;
            if fell && down != Some(false) {
                turns.push(high);
                down = Some(false);
                low = k;
            } else if rose && down != Some(true) {
                turns.push(low);
                down = Some(true);
                high = k;
            }
        }
        if let Some(down) = down {
            turns.push(if down { high } else { low });
        }
        let offset = self.job.tool.cutter_offset.si();
        turns
            .windows(2)
            .enumerate()
            .map(|(n, pair)| {
                let (a, b) = (line[pair[0]], line[pair[1]]);
                let start = (pair[0]..=pair[1]).rfind(|k| (line[*k] - a).abs() <= 0.05);
                let end = (pair[0]..=pair[1]).find(|k| (line[*k] - b).abs() <= 0.05);
                Stroke {
                    n: n as u32 + 1,
                    direction: if b > a {
                        Direction::Down
                    } else {
                        Direction::Up
                    },
                    start_s: self.time[start.unwrap_or(pair[0])],
                    end_s: self.time[end.unwrap_or(pair[1])],
                    top_m: a.min(b) + offset,
                    bottom_m: a.max(b) + offset,
                    tool_travel_m: (b - a).abs(),
                    mean_drag_n: 0.0,
                    peak_tension_n: 0.0,
                    cut_work_j: 0.0,
                    engaged_m: 0.0,
                }
            })
            .collect()
    }

    fn result(&self, id: &str) -> RunResult {
        let mut intervals: Vec<Interval> = Vec::new();
        for (time, state) in self.time.iter().zip(&self.state) {
            match intervals.last_mut() {
                Some(last) if last.state == *state => last.end_s = time + STEP,
                _ => intervals.push(Interval {
                    state: *state,
                    start_s: *time,
                    end_s: time + STEP,
                    depth_m: None,
                }),
            }
        }
        let offset = self.job.tool.cutter_offset.si();
        RunResult {
            format: FORMAT,
            run: RunInfo {
                id: id.to_owned(),
                ..RunInfo::default()
            },
            strokes: self.strokes(),
            intervals,
            groove: self.groove(),
            joints: Vec::new(),
            alarms: Vec::new(),
            tool: ToolTrack {
                every_s: STEP,
                depth_m: self.line.iter().map(|line| Some(line + offset)).collect(),
                speed_m_s: Vec::new(),
            },
            friction: Friction::default(),
            line_wear: Vec::new(),
            quality: Quality::default(),
            depth_check: DepthCheck::default(),
            other_wheels: Vec::new(),
        }
    }
}
