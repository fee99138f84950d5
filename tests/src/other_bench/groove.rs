//! The wheels in their groove: where each stands, what it takes to move on, what it leaves behind.
//!
//! A wheel deepens a cell when it leaves it on the side opposite to where it came in: one pass. Until then its drag is that of
//! the pass it is about to make, so force over a cell's length is the work of the pass ([`super::cut_laws`]). A wheel let out
//! at rest makes its first pass whichever way it leaves. Couplings are nicked to a tenth of the wall and no further.

use super::cut_laws::{Pass, Spot};
use super::dice::Dice;
use super::pipe::Grid;
use super::well::Well;

/// A wheel moved further than this many cells at once is set down anew: it was carried with the wheels in.
const CARRIED: i64 = 500;
/// Hardness of a coupling over that of pipe.
const COUPLING_HARDNESS: f64 = 2.5;

/// Where a wheel came into its cell from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Above,
    Below,
}

#[derive(Debug, Clone)]
struct Wheel {
    /// Below the middle of the wheels, m.
    offset: f64,
    /// `None`: drawn in, or not set down yet.
    cell: Option<i64>,
    came_from: Option<Side>,
    drag: Drag,
}

/// Axial force of wheels, N.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Drag {
    /// Of cutting, going up.
    pub cut_up: f64,
    /// Of cutting, going down.
    pub cut_down: f64,
    /// Of rolling.
    pub rolling: f64,
}

/// Pipe and wheels.
#[derive(Debug, Clone)]
pub struct Groove {
    /// The pipe.
    pub pipe: Grid,
    wheels: Vec<Wheel>,
    /// Wear of the edges, 0 to 1.
    pub wear: f64,
}

impl Groove {
    /// Whole pipe, wheels in.
    pub fn new(well: &Well, dice: &mut Dice) -> Self {
        let middle = (well.cutter.wheels as f64 - 1.0) / 2.0;
        let wheel = |k| Wheel {
            offset: (k as f64 - middle) * well.cutter.spacing,
            cell: None,
            came_from: None,
            drag: Drag::default(),
        };
        Self {
            pipe: Grid::new(well, dice),
            wheels: (0..well.cutter.wheels).map(wheel).collect(),
            wear: 0.0,
        }
    }

    /// The wheels are let out; they touch the pipe where [`Groove::follow`] finds them next.
    pub fn let_out(&mut self) {
        for wheel in &mut self.wheels {
            wheel.cell = None;
        }
    }

    /// The wheels, let out, have moved so that their middle is at `depth`.
    pub fn follow(&mut self, well: &Well, depth: f64, time: f64) {
        for k in 0..self.wheels.len() {
            let now = self.pipe.number(depth + self.wheels[k].offset);
            match self.wheels[k].cell {
                Some(before) if before == now => continue,
                Some(before) if (now - before).abs() <= CARRIED => {
                    self.roll(well, k, before, now, time);
                }
                _ => self.wheels[k].came_from = None,
            }
            self.wheels[k].cell = Some(now);
            self.wheels[k].drag = self.drag_on(well, now);
        }
    }

    /// Rolls wheel `k` from cell to cell.
    fn roll(&mut self, well: &Well, k: usize, from: i64, to: i64, time: f64) {
        let up = to < from;
        let (step, entered) = if up {
            (-1, Side::Below)
        } else {
            (1, Side::Above)
        };
        let leaves_by = if up { Side::Above } else { Side::Below };
        let mut at = from;
        while at != to {
            if self.wheels[k].came_from != Some(leaves_by) {
                let pass = self.pass(well, at, up);
                let cut = pass.filter(|pass| pass.force > 0.0);
                self.pipe.pass_over(at, cut.map(|pass| pass.depth), time);
            }
            at += step;
            self.wheels[k].came_from = Some(entered);
        }
    }

    /// The pass over a cell that is about to be made; `None` where nothing is left to cut.
    fn pass(&self, well: &Well, number: i64, up: bool) -> Option<Pass> {
        let cell = self.pipe.cell(number)?;
        let nicked = cell.coupling && cell.depth > 0.10 * well.pipe.wall;
        if cell.split_at.is_some() || nicked {
            return None;
        }
        let spot = Spot {
            depth: cell.depth,
            wall: cell.wall.min(well.pipe.wall * 1.2),
            hardness: cell.hardness
                * if cell.coupling {
                    COUPLING_HARDNESS
                } else {
                    1.0
                },
        };
        Some(well.pass(spot, self.wear, up))
    }

    fn drag_on(&self, well: &Well, number: i64) -> Drag {
        let force = |up| self.pass(well, number, up).map_or(0.0, |pass| pass.force);
        let cutter = &well.cutter;
        let mut rolling = cutter.rolling * cutter.radial_force;
        if let Some(cell) = self.pipe.cell(number) {
            if cell.split_at.is_some() {
                rolling *= cutter.rolling_split;
            } else {
                rolling *= 1.0 - cutter.force_slope * cell.depth * 1e3;
            }
            if cell.coupling {
                rolling += well.troubles.bump / cutter.wheels as f64;
            }
        }
        Drag {
            cut_up: force(true),
            cut_down: force(false),
            rolling,
        }
    }

    /// Drag of all wheels.
    pub fn drag(&self) -> Drag {
        self.wheels.iter().fold(Drag::default(), |sum, wheel| Drag {
            cut_up: sum.cut_up + wheel.drag.cut_up,
            cut_down: sum.cut_down + wheel.drag.cut_down,
            rolling: sum.rolling + wheel.drag.rolling,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::pipe::CELL;
    use super::*;
    use crate::other_bench::sample::well;

    /// Moves the wheels in steps of a millimetre; returns force times way, J.
    fn travel(groove: &mut Groove, well: &Well, from: f64, to: f64) -> f64 {
        let steps = ((to - from).abs() / 1e-3).round();
        let step = (to - from) / steps;
        let mut work = 0.0;
        for i in 0..=steps as usize {
            groove.follow(well, from + i as f64 * step, 1.0);
            let drag = groove.drag();
            let force = if step < 0.0 {
                drag.cut_up
            } else {
                drag.cut_down
            };
            work += force * step.abs();
        }
        work
    }

    #[test]
    fn work_of_a_stroke_is_that_of_the_metal_pushed_aside() {
        let mut well = well();
        well.cutter.wheels = 1;
        well.metal.hardening = 0.0;
        well.pipe.couplings.clear();
        let mut groove = Groove::new(&well, &mut Dice::new(1));
        groove.let_out();
        let (top, bottom) = (well.hole.top, well.hole.bottom);
        let mut work = travel(&mut groove, &well, bottom, top);
        work += travel(&mut groove, &well, top, bottom);
        let tangent = (well.cutter.edge_angle / 2.0).tan();
        let mut stored = 0.0;
        for bin in 0..groove.pipe.bins() {
            for cell in groove.pipe.cells_of(bin) {
                let section =
                    tangent * cell.depth * cell.depth + well.cutter.edge_width * cell.depth;
                stored +=
                    well.metal.work_factor * well.metal.pressure * cell.hardness * section * CELL;
            }
        }
        assert!((work / stored - 1.0).abs() < 0.01, "{work} J, {stored} J");
    }

    #[test]
    fn a_wheel_that_turns_within_a_cell_cuts_it_no_deeper() {
        let mut well = well();
        well.cutter.wheels = 1;
        let mut groove = Groove::new(&well, &mut Dice::new(1));
        groove.let_out();
        let turn = well.hole.top + 1.005;
        travel(&mut groove, &well, turn + 0.5, turn);
        let number = groove.pipe.number(turn);
        let before = groove.pipe.cell(number).unwrap().depth;
        travel(&mut groove, &well, turn, turn + 0.5);
        assert_eq!(groove.pipe.cell(number).unwrap().depth, before);
        assert!(groove.pipe.cell(number + 1).unwrap().passes == 2);
    }

    #[test]
    fn wheels_carried_far_touch_nothing_in_between() {
        let well = well();
        let mut groove = Groove::new(&well, &mut Dice::new(1));
        groove.let_out();
        groove.follow(&well, well.hole.top, 0.0);
        groove.follow(&well, well.hole.top + 5.5, 0.0);
        let middle = groove.pipe.number(well.hole.top + 2.5);
        assert_eq!(groove.pipe.cell(middle).unwrap().passes, 0);
    }
}
