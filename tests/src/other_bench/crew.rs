//! The crew: what it knows, what it is doing, what it does next ([`plan`]), how it runs the winch ([`leg`]).
//!
//! It sees counter, smoothed tension and, as crews do from experience, about where the tool is. It checks weight, cuts up and
//! down, pauses, stops pulling when the line gets tight and lowering when it gets slack, and tries again. All invented; speed
//! of the winch is changed no faster than it can be.

pub mod leg;
pub mod plan;

use super::cut_laws::wear_after;
use super::dice::Dice;
use super::snags::Snags;
use super::well::Well;
use super::wire;
use leg::Leg;
use std::collections::VecDeque;

/// One thing to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Order {
    /// Wait, s.
    Wait(f64),
    /// Run until the tool is at a depth (m), at a speed (m/s).
    ToolTo(f64, f64),
    /// Run until the counter shows a depth (m), at a speed (m/s).
    CounterTo(f64, f64),
    /// Run so much line out (m, in negative), at a speed (m/s).
    CounterBy(f64, f64),
    /// Let the wheels out.
    CutterOut,
    /// Draw the wheels in.
    CutterIn,
    /// Say that the weight is checked.
    WeightCheck,
}

/// Part of the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    Arrival,
    Cutting,
    Leaving,
    Gone,
}

/// What the crew sees.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// Time, s.
    pub time: f64,
    /// Middle of the wheels, m.
    pub tool: f64,
    /// Line paid out, m.
    pub counter: f64,
    /// Tension, smoothed, N; `None` before the first reading.
    pub tension: Option<f64>,
    /// Speed of the winch, m/s, down positive.
    pub winch: f64,
    /// Share of the interval's pipe that is split.
    pub split: f64,
}

/// What a crew knows of its well before it starts, and learns.
#[derive(Debug, Clone, Copy)]
struct Knowledge {
    /// Tension going up without cutting, N.
    free_up: f64,
    /// Tension going down without cutting, N.
    free_down: f64,
    /// Below this the line gets slack, N.
    slack_below: f64,
    /// Tension going up while cutting, N; learned.
    usual_up: f64,
    /// Pull that stretches the line by a metre, N.
    spring: f64,
    /// Counter less tool depth at the upper and lower turn, m; learned.
    offset_up: Option<f64>,
    offset_down: Option<f64>,
}

impl Knowledge {
    /// As a person reckons before the job, the tool's rope socket at `depth`.
    fn new(well: &Well, depth: f64) -> Self {
        let packing = well.wire.packing;
        let below = |direction: f64, at_tool: f64| {
            wire::sliding(well, depth, direction, at_tool).tension - well.pressure_force()
        };
        let free_up = below(1.0, well.tool_tension(depth, 1.0)) + packing;
        let free_down = below(-1.0, well.tool_tension(depth, -1.0)) - packing;
        // A tool that rests with nine tenths of its weight on something.
        let resting = below(-1.0, 0.10 * well.tool.weight * well.cos_at(depth)) - packing;
        let capstan = (well.wire.friction_up * well.hole.inclination_most).exp();
        let cutting = well.prognosis().first * 1.15 + well.rolling_drag();
        Self {
            free_up,
            free_down,
            slack_below: resting + 0.05 * (free_down - resting),
            usual_up: free_up + cutting * capstan,
            spring: well.stiffness() / depth,
            offset_up: None,
            offset_down: None,
        }
    }
}

/// The crew.
#[derive(Debug, Clone)]
pub struct Crew {
    stage: Stage,
    knows: Knowledge,
    orders: VecDeque<Order>,
    leg: Option<Leg>,
    /// Strokes ordered.
    strokes: usize,
    /// Strokes since the last check.
    since_check: usize,
    next_up: bool,
    /// Times the present stroke was broken off.
    retries: usize,
    last_partial: bool,
    cutter_out: bool,
    /// Strokes finished.
    cut: usize,
}

/// What is to be written down about an order that was begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// The wheels were let out.
    CutterOut,
    /// The wheels were drawn in.
    CutterIn,
    /// The weight is checked.
    WeightCheck,
}

impl Act {
    /// What the crew writes.
    pub fn word(self) -> &'static str {
        match self {
            Self::CutterOut => "cutter_out",
            Self::CutterIn => "cutter_in",
            Self::WeightCheck => "weight_check",
        }
    }
}

impl Crew {
    /// Starts with the tool's rope socket at `depth`, by first doing `orders`.
    pub fn new(well: &Well, depth: f64, orders: Vec<Order>) -> Self {
        Self {
            stage: Stage::Arrival,
            knows: Knowledge::new(well, depth),
            orders: orders.into(),
            leg: None,
            strokes: 0,
            since_check: 0,
            next_up: true,
            retries: 0,
            last_partial: false,
            cutter_out: false,
            cut: 0,
        }
    }

    /// Whether the wheels are out.
    pub fn cutter_is_out(&self) -> bool {
        self.cutter_out
    }

    /// Wear of the wheels, 0 to 1.
    pub fn wear(&self) -> f64 {
        wear_after(self.strokes)
    }

    /// Goes on to the next order when the last is done; `told` hears what is to be written down. False: the job is over.
    pub fn go_on(
        &mut self,
        well: &Well,
        seen: Seen,
        snags: &mut Snags,
        dice: &mut Dice,
        mut told: impl FnMut(Act),
    ) -> bool {
        while self.leg.is_none() {
            if self.orders.is_empty() && !self.plan(well, seen, snags, dice) {
                return false;
            }
            if let Some(order) = self.orders.pop_front()
                && let Some(act) = self.begin(order, seen)
            {
                told(act);
            }
        }
        true
    }

    fn begin(&mut self, order: Order, seen: Seen) -> Option<Act> {
        match order {
            Order::CutterOut => {
                self.cutter_out = true;
                Some(Act::CutterOut)
            }
            Order::CutterIn => {
                self.cutter_out = false;
                Some(Act::CutterIn)
            }
            Order::WeightCheck => Some(Act::WeightCheck),
            _ => {
                self.leg = Leg::begin(order, seen);
                None
            }
        }
    }

    /// The tool moved just now.
    pub fn notice_motion(&mut self, counter: f64) {
        if let Some(leg) = &mut self.leg {
            leg.notice_motion(counter);
        }
    }
}
