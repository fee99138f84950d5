//! The truth of a record, as `truth.json` has it.

use kerfwatch::result::{Direction, State};
use serde::Deserialize;

/// The parts of `truth.json` that are scored.
#[derive(Debug, Clone, Deserialize)]
pub struct Truth {
    /// Length of the record.
    pub run: Run,
    /// Strokes of the tool.
    pub strokes: Vec<Stroke>,
    /// States.
    pub intervals: Vec<Interval>,
    /// Groove at the end.
    pub groove: Vec<Bin>,
    /// Groove every ten strokes.
    pub groove_history: Vec<History>,
    /// Overpulls.
    pub alarms: Vec<Alarm>,
    /// Tool motion.
    pub tool: Track,
}

/// `run`
#[derive(Debug, Clone, Deserialize)]
pub struct Run {
    /// Length of the record, s.
    pub duration_s: f64,
}

/// A stroke.
#[derive(Debug, Clone, Deserialize)]
pub struct Stroke {
    /// Up or down.
    pub direction: Direction,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Travel, m.
    pub tool_travel_m: f64,
    /// Plastic work, J.
    pub cut_work_j: f64,
}

/// A state.
#[derive(Debug, Clone, Deserialize)]
pub struct Interval {
    /// Which.
    pub state: State,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
}

/// A bin at the end.
#[derive(Debug, Clone, Deserialize)]
pub struct Bin {
    /// Top, m.
    pub top_m: f64,
    /// Bottom, m.
    pub bottom_m: f64,
    /// Groove depth, mm.
    pub depth_mm: f64,
    /// Local wall, mm.
    pub wall_mm: f64,
    /// Split.
    pub through: bool,
    /// First centimetre split, s.
    pub first_through_s: Option<f64>,
    /// In a coupling.
    pub coupling: bool,
    /// Passes of the cutter.
    pub passes: u32,
}

/// Groove at one time.
#[derive(Debug, Clone, Deserialize)]
pub struct History {
    /// When.
    pub time_s: f64,
    /// Groove depth by bin, mm.
    pub depth_mm: Vec<f64>,
    /// Fraction split by bin.
    pub split: Vec<f64>,
}

/// An overpull.
#[derive(Debug, Clone, Deserialize)]
pub struct Alarm {
    /// When the line passed the limit, s.
    pub raised_s: f64,
    /// When it came back.
    pub cleared_s: Option<f64>,
    /// Highest tension, N.
    pub peak_n: f64,
}

/// Tool motion.
#[derive(Debug, Clone, Deserialize)]
pub struct Track {
    /// Step, s.
    pub every_s: f64,
    /// Depth of the middle of the wheels, m.
    pub depth_m: Vec<f64>,
}

impl Truth {
    /// Time of the first break-through anywhere, s; infinite when none.
    pub fn first_break(&self) -> f64 {
        self.groove
            .iter()
            .filter_map(|bin| bin.first_through_s)
            .fold(f64::INFINITY, f64::min)
    }
}
