//! The true history beside the record, with the definitions of the result file.
//!
//! Kept every 0.05 s. Strokes: at least 0.5 m between turning points, from 5 cm after one to 5 cm
//! before the next. States shorter than a quarter of a second are given to their neighbour. A bin
//! is through when at least half of its centimetres are split (`split` has the fraction).

mod json;

use super::cut::{CELL, Drag, Pipe};
use super::scenario::Scenario;

/// Step of the history, s.
const EVERY: f64 = 0.05;
/// Below this speed the tool is still, m/s.
const STILL: f64 = 0.02;
/// Shortest state kept, s.
const SHORTEST: f64 = 0.25;

/// One step of the bench.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// Time at the end of the step, s.
    pub time: f64,
    /// Length of the step, s.
    pub dt: f64,
    /// Middle of the wheels, m.
    pub depth: f64,
    /// Tool movement in the step, m.
    pub moved: f64,
    /// Forces of wheels and pipe.
    pub drag: Drag,
    /// Line tension above the stuffing box, N.
    pub tension: f64,
    /// Pull at the rope socket over tool weight along hole.
    pub socket_over_weight: f64,
    /// Held against moving up.
    pub held_up: bool,
    /// Held against moving down.
    pub held_down: bool,
    /// Wheels extended.
    pub out: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Still,
    Free,
    Cutting,
    Stalled,
    Slack,
}

impl State {
    fn name(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Free => "free",
            Self::Cutting => "cutting",
            Self::Stalled => "stalled",
            Self::Slack => "slack",
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Moment {
    depth: f64,
    state: State,
    /// Cumulative plastic work, J.
    cut_work: f64,
    /// Cumulative work of all wheel drag, J.
    drag_work: f64,
    /// Cumulative distance with plastic drag, m.
    engaged: f64,
    tension: f64,
}

#[derive(Debug, Clone)]
struct Alarm {
    raised: f64,
    cleared: Option<f64>,
    peak: f64,
    excess: bool,
}

/// Groove of all bins at one time.
#[derive(Debug, Clone)]
struct Groove {
    time: f64,
    strokes: u32,
    depth_mm: Vec<f64>,
    split: Vec<f64>,
}

/// Collects the history.
#[derive(Debug)]
pub struct Recorder {
    moments: Vec<Moment>,
    next: f64,
    depth_before: f64,
    time_before: f64,
    plastic: bool,
    held_up: bool,
    held_down: bool,
    socket: f64,
    peak: f64,
    cut_work: f64,
    drag_work: f64,
    engaged: f64,
    alarms: Vec<Alarm>,
    pickup: Vec<f64>,
    limit: f64,
    overpull: f64,
    cutter_offset: f64,
    history: Vec<Groove>,
    passes: Vec<u32>,
    top: f64,
    bottom: f64,
    bin: f64,
    end: f64,
}

impl Recorder {
    /// `pickup`: pick-up weight every 20 m of rope socket depth.
    pub fn new(scenario: &Scenario, pickup: Vec<f64>) -> Self {
        let well = &scenario.well;
        let (top, bottom, bin) = (well.interval_top.0, well.interval_bottom.0, well.bin.0);
        let bins = ((bottom - top) / bin - 1e-6).ceil() as usize;
        Self {
            moments: Vec::new(),
            next: 0.0,
            depth_before: f64::NAN,
            time_before: 0.0,
            plastic: false,
            held_up: false,
            held_down: false,
            socket: 1.0,
            peak: 0.0,
            cut_work: 0.0,
            drag_work: 0.0,
            engaged: 0.0,
            alarms: Vec::new(),
            pickup,
            limit: scenario.alarm.tension_limit.0,
            overpull: scenario.alarm.overpull.0,
            cutter_offset: scenario.tool.cutter_offset.0,
            history: Vec::new(),
            passes: vec![0; bins],
            top,
            bottom,
            bin,
            end: 0.0,
        }
    }

    /// Takes one step.
    pub fn push(&mut self, sample: &Sample) {
        if self.depth_before.is_nan() {
            self.depth_before = sample.depth - sample.moved;
        }
        let distance = sample.moved.abs();
        self.cut_work += sample.drag.cutting * distance;
        self.drag_work += (sample.drag.cutting + sample.drag.other) * distance;
        if sample.drag.plastic {
            self.engaged += distance;
            self.plastic = true;
        }
        self.held_up |= sample.held_up;
        self.held_down |= sample.held_down;
        self.socket = self.socket.min(sample.socket_over_weight);
        self.peak = self.peak.max(sample.tension);
        if sample.out {
            self.count_pass(sample.depth - sample.moved, sample.depth);
        }
        self.watch_tension(sample);
        if sample.time < self.next {
            return;
        }
        let span = (sample.time - self.time_before).max(1e-9);
        let speed = (sample.depth - self.depth_before) / span;
        let state = if speed.abs() < STILL {
            if self.held_up {
                State::Stalled
            } else if self.socket < 0.05 || (self.held_down && self.socket < 0.5) {
                State::Slack
            } else {
                State::Still
            }
        } else if self.plastic {
            State::Cutting
        } else {
            State::Free
        };
        let moment = Moment {
            depth: sample.depth,
            state,
            cut_work: self.cut_work,
            drag_work: self.drag_work,
            engaged: self.engaged,
            tension: self.peak,
        };
        while self.next <= sample.time {
            self.moments.push(moment);
            self.next = self.moments.len() as f64 * EVERY;
        }
        self.depth_before = sample.depth;
        self.time_before = sample.time;
        self.plastic = false;
        self.held_up = false;
        self.held_down = false;
        self.socket = f64::INFINITY;
        self.peak = f64::NEG_INFINITY;
    }

    fn count_pass(&mut self, from: f64, to: f64) {
        let place = |x: f64| ((x - self.top) / self.bin - 0.5).ceil();
        let (a, b) = (place(from), place(to));
        if a != b {
            // The middle of bin k lies between the two positions.
            let k = a.min(b);
            if k >= 0.0 && (k as usize) < self.passes.len() {
                self.passes[k as usize] += 1;
            }
        }
    }

    fn watch_tension(&mut self, sample: &Sample) {
        let socket = (sample.depth - self.cutter_offset).max(0.0) / 20.0;
        let k = (socket as usize).min(self.pickup.len() - 2);
        let f = socket - k as f64;
        let expected = self.pickup[k] + f * (self.pickup[k + 1] - self.pickup[k]);
        let by_excess = expected + self.overpull < self.limit;
        let limit = self.limit.min(expected + self.overpull);
        match self
            .alarms
            .last_mut()
            .filter(|alarm| alarm.cleared.is_none())
        {
            Some(alarm) => {
                alarm.peak = alarm.peak.max(sample.tension);
                if sample.tension < 0.98 * limit {
                    alarm.cleared = Some(sample.time);
                }
            }
            None if sample.tension > limit => self.alarms.push(Alarm {
                raised: sample.time,
                cleared: None,
                peak: sample.tension,
                excess: by_excess,
            }),
            None => {}
        }
    }

    /// A stroke of cutting ended: keeps the groove every tenth.
    pub fn stroke_end(&mut self, number: u32, time: f64, pipe: &Pipe) {
        let newest = self.history.last().map_or(0, |groove| groove.strokes);
        if number.is_multiple_of(10) && newest < number {
            let groove = self.groove(number, time, pipe);
            self.history.push(groove);
        }
    }

    /// The record ended.
    pub fn finish(&mut self, time: f64, _pipe: &Pipe) {
        self.end = time;
    }

    fn bins(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        (0..self.passes.len()).map(|k| {
            let top = self.top + k as f64 * self.bin;
            (top, (top + self.bin).min(self.bottom))
        })
    }

    fn cells(&self, pipe: &Pipe, top: f64, bottom: f64) -> std::ops::Range<usize> {
        let first = ((top - pipe.top) / CELL).round() as usize;
        let last = ((bottom - pipe.top) / CELL).round() as usize;
        first..last.max(first + 1).min(pipe.groove.len())
    }

    fn groove(&self, strokes: u32, time: f64, pipe: &Pipe) -> Groove {
        let mut depth_mm = Vec::with_capacity(self.passes.len());
        let mut split = Vec::with_capacity(self.passes.len());
        for (top, bottom) in self.bins() {
            let cells = self.cells(pipe, top, bottom);
            let count = cells.len() as f64;
            depth_mm.push(1e3 * pipe.groove[cells.clone()].iter().sum::<f64>() / count);
            let open = pipe.through_s[cells]
                .iter()
                .filter(|t| t.is_finite())
                .count();
            split.push(open as f64 / count);
        }
        Groove {
            time,
            strokes,
            depth_mm,
            split,
        }
    }

    /// Bins, fraction of them split and mean groove depth in mm.
    pub fn groove_now(&self, time: f64, pipe: &Pipe) -> (usize, f64, f64) {
        let groove = self.groove(0, time, pipe);
        let count = groove.split.len() as f64;
        (
            groove.split.len(),
            groove.split.iter().filter(|s| **s >= 0.5).count() as f64 / count,
            groove.depth_mm.iter().sum::<f64>() / count,
        )
    }

    /// Strokes, fraction of bins split and mean groove depth in mm, for a line on the console.
    pub fn summary(&self, pipe: &Pipe) -> (usize, f64, f64) {
        let (_, split, depth) = self.groove_now(self.end, pipe);
        (self.turns().len().saturating_sub(1), split, depth)
    }
}
