//! Two streams of different rate and jitter become one ordered timeline.
//!
//! *Input*: calibrated readings in arrival order (N, m; times in s). *Output*: [`Cell`]s of
//! [`CELL_S`] seconds, in order, each with the mean and the peak tension and the line length at the
//! middle of the cell.
//!
//! *Why cells*: the line's own modes lie at 0.3 to 2.5 Hz, so nothing below a tenth of a second
//! carries news of the tool; high rates only serve peak capture, which the overpull path does on
//! every reading, before this stage.
//!
//! *Limits*: a cell waits [`WAIT_CELLS`] for late readings of its own channel, `WAIT_LATE_CELLS` once
//! one has come too late for that, and [`PATIENCE_CELLS`] for a silent channel; later readings are
//! counted, never merged. Readings timed as they arrive are never late: no stall is told later for them.
//! Silences are bridged up to [`BRIDGE_S`]; beyond it the cell says `None`.

use crate::result::CounterLeap;
use crate::rounding::floor;
use counter_steps::{Counted, CounterSteps};
use std::collections::VecDeque;

mod counter_steps;
pub(crate) mod sudden_stop;

/// Length of a cell, s.
pub const CELL_S: f64 = 0.1;
/// Cells that must have passed on both channels before one is closed.
pub const WAIT_CELLS: i64 = 2;
/// Once a reading has come late by less than this.
const WAIT_LATE_CELLS: i64 = 3;
/// Cells after which one is closed even though a channel is silent.
pub const PATIENCE_CELLS: i64 = 20;
/// Longest silence that is interpolated over, s.
pub const BRIDGE_S: f64 = 2.0;
/// A time step larger than this many cells must be confirmed by several readings.
const JUMP_CELLS: i64 = 600;
/// Readings that confirm a jump of time or of the depth counter.
pub(crate) const CONFIRMATIONS: u32 = 4;
/// Line faster than this is not line movement but a counter fault, m/s.
const LINE_SPEED_MAX: f64 = 6.0;
/// And a step beyond that, m.
pub(crate) const LINE_STEP_MAX: f64 = 1.0;
/// No winch keeps up more than this for longer than so many seconds, m/s.
const WINCH_SPEED_MAX: f64 = 5.0;
const RUSH_S: f64 = 2.0;

/// How far line may have gone in so many seconds, one way or the other, m.
pub(crate) fn line_within(seconds: f64) -> f64 {
    let seconds = seconds.abs();
    let rest = (seconds - RUSH_S).max(0.0);
    LINE_STEP_MAX + LINE_SPEED_MAX * seconds.min(RUSH_S) + WINCH_SPEED_MAX * rest
}

/// One tenth of a second of both channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Number of the cell since run start; consecutive except after a long silence.
    pub index: i64,
    /// Mean line tension, N.
    pub tension: Option<f64>,
    /// Highest line tension, N.
    pub tension_max: Option<f64>,
    /// Counter reading at the middle of the cell, m, steps of the counter taken out.
    pub line: Option<f64>,
}

impl Cell {
    /// Time of the middle of the cell, s.
    pub fn time(&self) -> f64 {
        (self.index as f64 + 0.5) * CELL_S
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Pending {
    load_n: u32,
    load_sum: f64,
    load_t: f64,
    load_min: f64,
    load_max: f64,
    depth_n: u32,
    depth_sum: f64,
    depth_t: f64,
}

/// A mean value at a mean time.
#[derive(Debug, Clone, Copy)]
struct Point {
    t: f64,
    v: f64,
}

/// Steps of the counter that are told one by one; of a counter that leaps more often nothing is to be had.
const LEAPS_KEPT: usize = 50;

/// What was set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AlignCounts {
    /// Readings that came after their cell was closed.
    pub late: u64,
    /// Silences longer than [`BRIDGE_S`].
    pub gaps: u64,
    /// Readings that are not finite, or absurd.
    pub out_of_range: u64,
    /// Single readings whose time or value jumped and came back.
    pub spikes: u64,
    /// Steps of the depth counter that were no line movement.
    pub counter_steps: u64,
}

/// Merges the two channels.
#[derive(Debug, Clone)]
pub struct Aligner {
    next: i64,
    started: bool,
    /// Cells that must have passed on both channels before one is closed.
    wait: i64,
    ring: VecDeque<Pending>,
    latest: [i64; 2],
    before_load: Option<Point>,
    before_depth: Option<Point>,
    time_jump: u32,
    steps: CounterSteps,
    silent: [bool; 2],
    counts: AlignCounts,
    leaps: Vec<CounterLeap>,
    /// Last cell in which the line is not known, for the counter hung.
    unknown_to: i64,
}

impl Default for Aligner {
    fn default() -> Self {
        Self {
            next: 0,
            started: false,
            wait: WAIT_CELLS,
            ring: VecDeque::with_capacity(64),
            latest: [i64::MIN / 2; 2],
            before_load: None,
            before_depth: None,
            time_jump: 0,
            steps: CounterSteps::default(),
            silent: [false; 2],
            counts: AlignCounts::default(),
            leaps: Vec::new(),
            unknown_to: i64::MIN,
        }
    }
}

impl Aligner {
    /// The first steps of the depth counter that were no line movement.
    pub fn leaps(&self) -> &[CounterLeap] {
        &self.leaps
    }

    /// What was set aside so far.
    pub fn counts(&self) -> AlignCounts {
        self.counts
    }

    /// Takes a tension, N, at `t` s; closed cells go to `out`.
    #[inline]
    pub fn load(&mut self, t: f64, value: f64, out: &mut impl FnMut(Cell)) {
        // 1 MN is far beyond any single-strand line.
        if value.is_nan() || value.abs() >= 1e6 {
            self.counts.out_of_range += 1;
            return;
        }
        let Some((slot, is_ahead)) = self.slot(t, 0, out) else {
            return;
        };
        if slot.load_n == 0 {
            slot.load_min = value;
            slot.load_max = value;
        } else {
            slot.load_min = slot.load_min.min(value);
            slot.load_max = slot.load_max.max(value);
        }
        slot.load_n += 1;
        slot.load_sum += value;
        slot.load_t += t;
        if is_ahead {
            self.close_ready(out);
        }
    }

    /// Takes a counter reading, m, at `t` s; closed cells go to `out`.
    #[inline]
    pub fn depth(&mut self, t: f64, value: f64, out: &mut impl FnMut(Cell)) {
        // No hole is 50 km deep.
        if value.is_nan() || value.abs() >= 5e4 {
            self.counts.out_of_range += 1;
            return;
        }
        let value = match self.steps.take(t, value) {
            Counted::Line(value) => value,
            Counted::AfterSpike(value) => {
                self.counts.spikes += 1;
                value
            }
            Counted::AfterStep(value, by_m) => {
                self.counts.counter_steps += 1;
                if self.leaps.len() < LEAPS_KEPT {
                    self.leaps.push(CounterLeap { at_s: t, by_m });
                }
                value
            }
            Counted::AfterHanging(value) => {
                // Where the line was meanwhile nobody knows: it did not leap.
                self.counts.gaps += 1;
                self.unknown_to = floor(t * (1.0 / CELL_S));
                value
            }
            Counted::Waits => return,
        };
        let Some((slot, is_ahead)) = self.slot(t, 1, out) else {
            return;
        };
        slot.depth_n += 1;
        slot.depth_sum += value;
        slot.depth_t += t;
        if is_ahead {
            self.close_ready(out);
        }
    }

    /// The counter is about to be set anew: closes what waits; the next depth is taken as it comes.
    pub fn new_counter(&mut self, out: &mut impl FnMut(Cell)) {
        self.finish(out);
        self.started = false;
        self.latest = [i64::MIN / 2; 2];
        self.steps = CounterSteps::default();
        self.before_depth = None;
    }

    /// Closes what is left at the end of a run.
    pub fn finish(&mut self, out: &mut impl FnMut(Cell)) {
        while !self.ring.is_empty() {
            self.close_first(out);
        }
    }

    /// The cell of a reading, and whether its channel has come to a cell ahead of those before: only then can another
    /// be ready to be closed.
    #[inline]
    fn slot(
        &mut self,
        t: f64,
        channel: usize,
        out: &mut impl FnMut(Cell),
    ) -> Option<(&mut Pending, bool)> {
        let place = t * (1.0 / CELL_S);
        let latest = self.latest[channel] as f64;
        let index = if latest <= place && place < latest + 1.0 {
            // Nearly every reading is of the cell of the one before.
            self.latest[channel]
        } else if place.is_nan() || place.abs() >= 1e15 {
            self.counts.out_of_range += 1;
            return None;
        } else {
            floor(place)
        };
        if !self.started {
            self.started = true;
            self.next = index;
        }
        if index < self.next {
            self.counts.late += 1;
            if self.next - index < WAIT_LATE_CELLS {
                self.wait = WAIT_LATE_CELLS;
            }
            return None;
        }
        if index > self.next + self.ring.len() as i64 + JUMP_CELLS {
            self.time_jump += 1;
            if self.time_jump < CONFIRMATIONS {
                self.counts.spikes += 1;
                return None;
            }
            self.counts.spikes -= u64::from(CONFIRMATIONS - 1);
            self.finish(out);
            for silent in &mut self.silent {
                self.counts.gaps += u64::from(!std::mem::replace(silent, true));
            }
            self.next = index;
            self.before_load = None;
            self.before_depth = None;
            self.latest = [i64::MIN / 2; 2];
        }
        self.time_jump = 0;
        let at = (index - self.next) as usize;
        while self.ring.len() <= at {
            self.ring.push_back(Pending::default());
        }
        let is_ahead = index > self.latest[channel];
        if is_ahead {
            self.latest[channel] = index;
        }
        Some((&mut self.ring[at], is_ahead))
    }

    #[inline]
    fn close_ready(&mut self, out: &mut impl FnMut(Cell)) {
        loop {
            let both = self.latest[0].min(self.latest[1]);
            let any = self.latest[0].max(self.latest[1]);
            if self.ring.len() > 1
                && (both >= self.next + self.wait || any >= self.next + PATIENCE_CELLS)
            {
                self.close_first(out);
            } else {
                return;
            }
        }
    }

    fn close_first(&mut self, out: &mut impl FnMut(Cell)) {
        let Some(first) = self.ring.front().copied() else {
            return;
        };
        let middle = (self.next as f64 + 0.5) * CELL_S;
        let load_here = load_point(&first);
        let depth_here = depth_point(&first);
        let tension = self.value_at(middle, self.before_load, load_here, load_point, 0);
        let line = self.value_at(middle, self.before_depth, depth_here, depth_point, 1);
        if load_here.is_some() {
            self.before_load = load_here;
        }
        if depth_here.is_some() {
            self.before_depth = depth_here;
        }
        let line = if self.next <= self.unknown_to {
            self.before_depth = None;
            None
        } else {
            line
        };
        if let Some(tension) = tension {
            self.steps.pulls(middle, tension);
        }
        let cell = Cell {
            index: self.next,
            tension,
            tension_max: if first.load_n > 0 {
                Some(first.load_max)
            } else {
                tension
            },
            line,
        };
        self.ring.pop_front();
        self.next += 1;
        out(cell);
    }

    /// Value at `t`, from the cell's own mean and its neighbours.
    fn value_at(
        &mut self,
        t: f64,
        before: Option<Point>,
        here: Option<Point>,
        point: impl Fn(&Pending) -> Option<Point>,
        channel: usize,
    ) -> Option<f64> {
        let after = || self.ring.iter().skip(1).find_map(point);
        let (left, right) = match here {
            Some(p) if p.t >= t => (before.or(Some(p)), Some(p)),
            Some(p) => (Some(p), after().or(Some(p))),
            None => (before, after()),
        };
        let value = match (left, right) {
            (Some(a), Some(b)) if b.t - a.t <= BRIDGE_S => {
                let span = b.t - a.t;
                if span > 1e-9 {
                    Some(a.v + (b.v - a.v) * (t - a.t) / span)
                } else {
                    Some(a.v)
                }
            }
            _ => here.map(|p| p.v),
        };
        if value.is_some() {
            self.silent[channel] = false;
        } else if !self.silent[channel] {
            // One channel is often the first or the last of a run by a cell: that alone is no silence.
            let end = self.next + self.ring.len() as i64;
            let from = before.map_or(self.next as f64 * CELL_S, |p| p.t);
            let to = right.map_or(end as f64 * CELL_S, |p| p.t);
            self.silent[channel] = to - from > BRIDGE_S;
            self.counts.gaps += u64::from(self.silent[channel]);
        }
        value
    }
}

/// Mean tension without its highest and lowest reading where there are enough: one spike in a
/// cell must not pass for drag. (The overpull path sees every reading.)
fn load_point(p: &Pending) -> Option<Point> {
    if p.load_n == 0 {
        return None;
    }
    let n = f64::from(p.load_n);
    let v = if p.load_n >= 5 {
        (p.load_sum - p.load_min - p.load_max) / (n - 2.0)
    } else {
        p.load_sum / n
    };
    Some(Point { t: p.load_t / n, v })
}

fn depth_point(p: &Pending) -> Option<Point> {
    let n = f64::from(p.depth_n);
    (p.depth_n > 0).then(|| Point {
        t: p.depth_t / n,
        v: p.depth_sum / n,
    })
}

#[cfg(test)]
mod tests;
