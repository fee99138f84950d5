//! Where the tool is and how it moves, from line tension and line paid out.
//!
//! *Input*: [`Cell`]s. *Output*: [`Moment`]s, one per cell with data, late by the travel time of
//! the line plus two tenths of a second. Depths along hole, m; speeds positive down, m/s; forces N.
//!
//! depth of wheels = line paid out (unstretched) + elastic stretch of the tension profile that the
//! measured tension implies (with friction that remembers, [`friction_chain`]; waves taken out,
//! [`wave_window`]) + thermal and pressure strain + distance from rope socket to wheels.

mod footing;
pub mod friction_chain;
mod hanging;
mod line_out;
mod moment;
mod packing;
pub mod reread;
pub mod wave_window;

use crate::align::{CELL_S, Cell};
use crate::infer::friction::Learned;
use crate::job::{Counts, Job};
use crate::model::Motion;
use crate::model::profile_table::ProfileTable;
use footing::Footing;
use friction_chain::FrictionChain;
use packing::Packing;
use std::collections::VecDeque;
use wave_window::WaveWindow;

pub use hanging::Hanging;
pub use moment::Moment;

/// Following the line for so many cells, the tool moves whatever friction says.
const FOLLOWS_CELLS: u32 = 30;
/// Half width, in cells, of the difference that gives tool speed.
const SPEED_CELLS: usize = 2;

/// Turns cells into moments.
#[derive(Debug, Clone)]
pub struct ToolMotion {
    hanging: Hanging,
    friction: (f64, f64),
    /// Friction of the tool itself, up and down.
    tool_friction: (f64, f64),
    /// Reading of the cell at no load, learned, N.
    cell_offset: f64,
    /// Fluid drag on line (N per m/s and metre) and tool (N per m/s), learned.
    fluid: (f64, f64),
    nominal_weight: f64,
    nominal_packing: f64,
    packing: Packing,
    footing: Footing,
    /// Cells for which the tool has followed the line.
    follows_for: u32,
    /// From reference depths, m.
    correction: f64,
    table: ProfileTable,
    chain: FrictionChain,
    window: WaveWindow,
    counts: Counts,
    line: f64,
    last: Option<Cell>,
    /// Counted line, peak tension by cell, waiting for the window.
    waiting: VecDeque<(f64, f64)>,
    recent: VecDeque<Moment>,
    gap: u32,
    tau: f64,
}

impl ToolMotion {
    /// At the start of a run.
    pub fn new(job: &Job) -> Self {
        let hanging = Hanging::new(job);
        let friction = (job.line.friction_up, job.line.friction_down);
        let deepest = deepest(job);
        let table = ProfileTable::new(&hanging.path, hanging.wire, friction.0, friction.1, deepest);
        Self {
            window: WaveWindow::new(hanging.ea / hanging.wave_speed),
            friction,
            tool_friction: friction,
            cell_offset: 0.0,
            fluid: (0.0, 0.0),
            nominal_weight: hanging.tool_weight,
            nominal_packing: hanging.packing,
            packing: Packing::default(),
            footing: Footing::default(),
            follows_for: 0,
            correction: 0.0,
            table,
            chain: FrictionChain::default(),
            counts: job.counts,
            line: 0.0,
            last: None,
            waiting: VecDeque::with_capacity(96),
            recent: VecDeque::with_capacity(2 * SPEED_CELLS + 2),
            gap: 0,
            tau: 0.0,
            hanging,
        }
    }

    /// What hangs in the hole.
    pub fn hanging(&self) -> &Hanging {
        &self.hanging
    }

    /// The same with nominal weight of the tool and friction of the packing, from which what is learned counts.
    pub fn nominal_hanging(&self) -> Hanging {
        Hanging {
            tool_weight: self.nominal_weight,
            packing: self.nominal_packing,
            ..self.hanging.clone()
        }
    }

    /// Friction coefficients in use, up and down.
    pub fn friction(&self) -> (f64, f64) {
        self.friction
    }

    /// Uses what was learned while the tool ran free.
    pub fn use_learned(&mut self, learned: &Learned, deepest: f64) {
        let (up, down) = (learned.up, learned.down);
        self.friction = (up, down);
        self.tool_friction = (learned.tool, learned.tool);
        self.cell_offset = learned.offset;
        self.fluid = (learned.line_fluid, learned.tool_fluid);
        self.hanging.tool_weight = self.nominal_weight * learned.weight;
        self.hanging.packing = learned.surface;
        let h = &self.hanging;
        self.table = ProfileTable::new(&h.path, h.wire, up, down, deepest);
        self.lay_out_anew();
    }

    /// The cell reads so much more from now on with the same pull, N. By how much deeper the wheels are for it, m.
    pub fn shift_zero(&mut self, by_n: f64) -> f64 {
        self.cell_offset += by_n;
        self.lay_out_anew()
    }

    /// The line under its present tension, as known now; by how much deeper the wheels are for it, m.
    fn lay_out_anew(&mut self) -> f64 {
        let h = &self.hanging;
        let length = self.chain.length();
        if length <= 0.0 {
            return 0.0;
        }
        let before = self.chain.tension_integral();
        let (low, high) = self.operating_tensions(length);
        self.chain.force_lay_out(&self.table, length, low, high);
        if let Some(last) = self.recent.back() {
            self.chain
                .drive(last.tension - self.cell_offset + h.pressure_force);
        }
        // The tool has not moved because we know more: earlier moments shift with it.
        let shift = (self.chain.tension_integral() - before) / h.ea;
        for m in &mut self.recent {
            m.depth += shift;
            m.line_depth += shift;
        }
        shift
    }

    /// Gains from tool to surface, up and down, at the present depth.
    pub fn gains(&self) -> (f64, f64) {
        (self.chain.gain(Motion::Up), self.chain.gain(Motion::Down))
    }

    /// Time after a change of speed until tension is steady again: two echoes, s.
    pub fn settle_time(&self) -> f64 {
        0.3 + 2.0 * self.tau
    }

    /// Expected surface tension, above the packing, of the free tool moving `motion` at its
    /// present depth with `drag` N at the tool.
    pub fn expected_surface(&self, motion: Motion, drag: f64) -> f64 {
        let md = self.chain.length();
        let h = &self.hanging;
        let (pull, packing) = match motion {
            Motion::Up => (
                h.tool_pull(motion, md, self.tool_friction.0) + drag,
                h.packing,
            ),
            Motion::Down => (
                h.tool_pull(motion, md, self.tool_friction.1) - drag,
                -h.packing,
            ),
            Motion::Rest => (h.tool_pull(motion, md, 0.0), 0.0),
        };
        let below = match motion {
            Motion::Rest => self.table.surface_tension(motion, pull, md.max(1.0)),
            _ => self.chain.surface(motion, pull),
        };
        below - h.pressure_force + packing + self.cell_offset
    }

    /// Takes a cell; what can now be told goes to `out`.
    pub fn push(&mut self, cell: &Cell, out: &mut impl FnMut(Moment)) {
        let (Some(tension), Some(counted)) = (cell.tension, cell.line) else {
            self.gap += 1;
            return;
        };
        if let Some(last) = self.last
            && cell.index != last.index + 1
        {
            // What the window still holds belongs to the time before the silence.
            self.drain(out);
            self.window.clear();
            self.recent.clear();
            self.gap = self.gap.max(1);
        }
        self.advance_line(tension, counted);
        self.last = Some(*cell);
        if self.waiting.len() > 96 {
            self.waiting.pop_front();
        }
        self.waiting
            .push_back((counted, cell.tension_max.unwrap_or(tension)));
        self.window.push(cell.index, self.line, tension);
        self.tau = self.line.max(0.0) / self.hanging.wave_speed;
        while let Some((index, ends)) = self.window.pop(self.tau) {
            self.tell(index, &ends, out);
        }
    }

    /// The counter was set anew: tells what waits and starts from the next reading.
    pub fn new_counter(&mut self, out: &mut impl FnMut(Moment)) {
        self.drain(out);
        self.window.clear();
        self.footing.new_counter();
        self.last = None;
        self.gap = 1;
    }

    /// The wheels are deeper by `by` m than told so far.
    pub fn correct_depth(&mut self, by: f64) {
        self.correction += by;
        self.footing.shift(by);
        for m in &mut self.recent {
            m.depth += by;
            m.line_depth += by;
        }
    }

    /// Tells what is left at the end of a run.
    pub fn finish(&mut self, out: &mut impl FnMut(Moment)) {
        self.drain(out);
    }

    fn drain(&mut self, out: &mut impl FnMut(Moment)) {
        while let Some((index, ends)) = self.window.pop_rest(self.tau) {
            self.tell(index, &ends, out);
        }
        // The last cells have no neighbours for a speed: they keep the last one told.
        while self.recent.len() > SPEED_CELLS {
            self.emit(out);
            self.recent.pop_front();
        }
        self.recent.clear();
        self.waiting.clear();
    }

    /// Surface tensions, below the packing, between which the chain is made linear.
    fn operating_tensions(&self, length: f64) -> (f64, f64) {
        let h = &self.hanging;
        let down = h
            .tool_pull(Motion::Down, length, self.friction.1)
            .max(0.2 * h.tool_weight);
        let up = h.tool_pull(Motion::Up, length, self.tool_friction.0);
        (
            self.table.surface_tension(Motion::Down, down, length),
            self.table.surface_tension(Motion::Up, up, length) + 200.0,
        )
    }

    fn tell(&mut self, index: i64, ends: &wave_window::Ends, out: &mut impl FnMut(Moment)) {
        let (counted, tension_max) = self
            .waiting
            .pop_front()
            .unwrap_or((ends.line, ends.tension_now));
        let length = ends.line.max(1.0);
        let (low, high) = if (length - self.chain.length()).abs() < (0.005 * length).max(1.0) {
            (0.0, 0.0)
        } else {
            self.operating_tensions(length)
        };
        self.chain.lay_out(&self.table, length, low, high);
        let h = &self.hanging;
        let below = ends.tension_mean - self.cell_offset + h.pressure_force;
        let packing = (self.packing).push(
            below,
            (h.packing, self.nominal_packing),
            ends.line,
            ends.line_speed,
        );
        // Fluid drag on the line is spread over it: half of it acts above the middle. That on the tool acts below it.
        let line_fluid = ends.line_speed * self.fluid.0 * length;
        let fluid = line_fluid + ends.line_speed * self.fluid.1;
        self.chain.drive(below + packing + 0.5 * line_fluid);
        self.slide(ends.line_speed);
        let h = &self.hanging;
        let stretch = self.chain.tension_integral() / h.ea
            * (length / self.chain.length().max(1.0))
            + self.table.stretch_static_corrections(length);
        let (pull_up, pull_down) = h.tool_pulls(length, self.tool_friction);
        let end = ends.tension_end - self.cell_offset + h.pressure_force + fluid;
        let depth = ends.line + stretch + h.cutter_offset + self.correction;
        let moment = Moment {
            index,
            t: ends.t,
            depth,
            line_depth: depth,
            speed: 0.0,
            counted,
            line_speed: ends.line_speed,
            tension: ends.tension_now,
            tension_max,
            drag_up: self.chain.slipping(Motion::Up, end - h.packing) - pull_up,
            drag_down: pull_down - self.chain.slipping(Motion::Down, end + h.packing),
            hold_up: self
                .chain
                .slipping(Motion::Up, below + fluid.min(0.0) - h.packing)
                - pull_up,
            hold_down: pull_down
                - self
                    .chain
                    .slipping(Motion::Down, below + fluid.max(0.0) + h.packing),
            swing: h.swing_s(length),
            carried: self.chain.socket_tension() / h.tool_weight,
            unloaded: false,
            after_gap: self.gap > 0,
        };
        let moment = self.footing.push(moment);
        self.gap = 0;
        self.recent.push_back(moment);
        if self.recent.len() > 2 * SPEED_CELLS {
            self.emit(out);
            self.recent.pop_front();
        } else if self.recent.len() > SPEED_CELLS {
            // The first moments of a run: the speed of what is there.
            let i = self.recent.len() - 1 - SPEED_CELLS;
            let a = self.recent[0];
            let b = self.recent[self.recent.len() - 1];
            let mut m = self.recent[i];
            m.speed = (b.depth - a.depth) / ((b.index - a.index).max(1) as f64 * CELL_S);
            if self.recent.len() <= 2 * SPEED_CELLS {
                out(m);
            }
        }
    }

    /// Sustained movement of the tool with the line turns all friction that way. Before the whole line has turned,
    /// what looks like movement may be an error in stretch, which this would blow up.
    fn slide(&mut self, line_speed: f64) {
        let following = self.follows_for + 1;
        self.follows_for = 0;
        let (Some(a), Some(b)) = (self.recent.front(), self.recent.back()) else {
            return;
        };
        let span = (b.index - a.index) as f64 * CELL_S;
        if span < 0.15 {
            return;
        }
        let speed = (b.depth - a.depth) / span;
        if line_speed.abs() > 0.03 && speed * line_speed > 0.5 * line_speed * line_speed {
            let way = if line_speed < 0.0 {
                Motion::Up
            } else {
                Motion::Down
            };
            self.follows_for = following;
            if self.chain.turned() == Some(way) || following > FOLLOWS_CELLS {
                self.chain.slide(way);
            }
        }
    }

    fn emit(&self, out: &mut impl FnMut(Moment)) {
        let middle = SPEED_CELLS.min(self.recent.len() - 1);
        let (Some(a), Some(b)) = (self.recent.front(), self.recent.back()) else {
            return;
        };
        let mut m = self.recent[middle];
        let span = (b.index - a.index) as f64 * CELL_S;
        m.speed = if span > 0.0 {
            (b.depth - a.depth) / span
        } else {
            0.0
        };
        out(m);
    }
}

/// Deepest line length worth tabulating, m.
pub fn deepest(job: &Job) -> f64 {
    let survey = job.survey.last().map_or(0.0, |s| s.md.si());
    (job.info.interval_bottom.si() + 100.0).max(survey) + 50.0
}
