//! The pipe along the interval on a grid of centimetres: wall, hardness, couplings, groove.
//!
//! Wall: nominal times bias, a step from joint to joint (1.5 %), a slow swing (eccentric pipe, the groove winding round it)
//! and roughness (0.4 % over 0.4 m), held within the 12.5 % that pipe standards allow. Hardness and the fraction of the wall
//! at which the rest breaks wander along the pipe (first-order autoregression). All sizes are invented.

use super::dice::Dice;
use super::well::Well;
use std::f64::consts::TAU;

/// Length of a cell, m.
pub const CELL: f64 = 0.01;
/// Pipe kept above and below the interval, m.
const MARGIN: f64 = 4.0;
const MARGIN_CELLS: usize = 400;
/// Cells in a bin of a decimetre, the unit of the truth.
const BIN_CELLS: usize = 10;
/// Length over which roughness and toughness change, m.
const ROUGHNESS_LENGTH: f64 = 0.4;

/// A centimetre of pipe.
#[derive(Debug, Clone)]
pub struct Cell {
    /// Groove depth, m; the wall once split.
    pub depth: f64,
    /// Local wall, m.
    pub wall: f64,
    /// Hardness over average.
    pub hardness: f64,
    /// Fraction of the wall at which what is left breaks.
    pub breaks_at: f64,
    /// In a coupling.
    pub coupling: bool,
    /// When it was split, s.
    pub split_at: Option<f64>,
    /// Passes of a wheel.
    pub passes: u32,
}

/// The pipe.
#[derive(Debug, Clone)]
pub struct Grid {
    /// Depth of the upper edge of the first cell, m.
    top: f64,
    /// Cells, downwards.
    cells: Vec<Cell>,
    bins: usize,
    split: usize,
    can_be_split: usize,
}

/// A decimetre of pipe, averaged over its pipe cells; over all where it counts as coupling.
#[derive(Debug, Clone, Copy)]
pub struct Bin {
    /// Three cells or more lie in a coupling.
    pub coupling: bool,
    /// Groove depth, mm; split cells count with their wall.
    pub depth_mm: f64,
    /// Share of cells that are split.
    pub split: f64,
    /// Wall, mm.
    pub wall_mm: f64,
}

/// First-order autoregression of standard deviation 1 over steps of a cell.
struct Wander {
    value: f64,
    keeps: f64,
    gets: f64,
}

impl Wander {
    fn new(length: f64, start: f64) -> Self {
        let keeps = (-CELL / length).exp();
        Self {
            value: start,
            keeps,
            gets: (1.0 - keeps * keeps).sqrt(),
        }
    }

    fn next(&mut self, dice: &mut Dice) -> f64 {
        self.value = self.keeps * self.value + self.gets * dice.normal();
        self.value
    }
}

impl Grid {
    /// Whole pipe.
    pub fn new(well: &Well, dice: &mut Dice) -> Self {
        let (hole, pipe, metal) = (&well.hole, &well.pipe, &well.metal);
        let top = hole.top - MARGIN;
        let count = ((hole.bottom - hole.top + 2.0 * MARGIN) / CELL).round() as usize;
        let mut hardness = Wander::new(metal.patch_length, dice.normal());
        let mut roughness = Wander::new(ROUGHNESS_LENGTH, dice.normal());
        let mut toughness = Wander::new(ROUGHNESS_LENGTH, dice.normal());
        let phase = dice.between(0.0, TAU);
        let winds_over = dice.between(3.0, 15.0);
        let joints: Vec<f64> = pipe
            .couplings
            .iter()
            .map(|_| dice.normal() * 0.015)
            .collect();
        let mut cells = Vec::with_capacity(count);
        for i in 0..count {
            let depth = top + (i as f64 + 0.5) * CELL;
            let hard = hardness.next(dice);
            let rough = roughness.next(dice);
            let tough = toughness.next(dice);
            let above = pipe.couplings.iter().rposition(|c| *c < depth);
            let joint = joints.get(above.unwrap_or(0)).copied().unwrap_or(0.0);
            let half = pipe.coupling_length / 2.0;
            let coupling = pipe.couplings.iter().any(|c| (c - depth).abs() < half);
            let swing = pipe.eccentricity * (TAU * depth / winds_over + phase).sin();
            let relative = 1.0 + pipe.wall_bias + joint + swing + 0.004 * rough;
            let sleeve = if coupling {
                (pipe.coupling_diameter - pipe.outer_diameter) / 2.0
            } else {
                0.0
            };
            cells.push(Cell {
                depth: 0.0,
                wall: pipe.wall * relative.clamp(0.875, 1.125) + sleeve,
                hardness: (1.0 + metal.patch_spread * hard).clamp(0.6, 1.5),
                breaks_at: (metal.breaks_at + 0.015 * tough).min(1.0),
                coupling,
                split_at: None,
                passes: 0,
            });
        }
        let bins = (hole.length() * 10.0).round() as usize;
        let interval = &cells[MARGIN_CELLS..MARGIN_CELLS + bins * BIN_CELLS];
        let can_be_split = interval.iter().filter(|cell| !cell.coupling).count();
        Self {
            top,
            cells,
            bins,
            split: 0,
            can_be_split,
        }
    }

    /// Number of the cell at a depth; cells that are not kept have numbers too.
    pub fn number(&self, depth: f64) -> i64 {
        ((depth - self.top) / CELL).floor() as i64
    }

    /// A cell, if it is kept.
    pub fn cell(&self, number: i64) -> Option<&Cell> {
        self.cells.get(usize::try_from(number).ok()?)
    }

    /// One more pass over a cell, which leaves it `depth` deep if it cut at all.
    pub fn pass_over(&mut self, number: i64, depth: Option<f64>, time: f64) {
        let Ok(place) = usize::try_from(number) else {
            return;
        };
        let Some(cell) = self.cells.get_mut(place) else {
            return;
        };
        cell.passes += 1;
        let Some(depth) = depth else { return };
        cell.depth = depth;
        if !cell.coupling && depth >= cell.breaks_at * cell.wall {
            cell.depth = cell.wall;
            cell.split_at = Some(time);
            let interval = MARGIN_CELLS..MARGIN_CELLS + self.bins * BIN_CELLS;
            if interval.contains(&place) {
                self.split += 1;
            }
        }
    }

    /// Number of bins in the interval.
    pub fn bins(&self) -> usize {
        self.bins
    }

    /// Cells of a bin.
    pub fn cells_of(&self, bin: usize) -> &[Cell] {
        let first = MARGIN_CELLS + bin * BIN_CELLS;
        &self.cells[first..first + BIN_CELLS]
    }

    /// A bin.
    pub fn bin(&self, bin: usize) -> Bin {
        let cells = self.cells_of(bin);
        let coupling = cells.iter().filter(|cell| cell.coupling).count() >= 3;
        let counted: Vec<&Cell> = cells.iter().filter(|c| coupling || !c.coupling).collect();
        let count = counted.len() as f64;
        let split = counted.iter().filter(|c| c.split_at.is_some()).count();
        Bin {
            coupling,
            depth_mm: counted.iter().map(|c| c.depth).sum::<f64>() / count * 1e3,
            split: split as f64 / count,
            wall_mm: counted.iter().map(|c| c.wall).sum::<f64>() / count * 1e3,
        }
    }

    /// Share of the interval's pipe that is split.
    pub fn split_fraction(&self) -> f64 {
        self.split as f64 / self.can_be_split.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;

    #[test]
    fn pipe_has_its_couplings_and_walls_within_tolerance() {
        let well = well();
        let grid = Grid::new(&well, &mut Dice::new(1));
        let couplings = grid.cells.iter().filter(|cell| cell.coupling).count();
        assert!(couplings > 0);
        for cell in grid.cells.iter().filter(|cell| !cell.coupling) {
            assert!((cell.wall / well.pipe.wall - 1.0).abs() <= 0.125 + 1e-12);
        }
    }

    #[test]
    fn a_cell_breaks_at_its_own_depth_and_counts_once() {
        let well = well();
        let mut grid = Grid::new(&well, &mut Dice::new(1));
        let number = grid.number(well.hole.top + 0.005);
        let cell = grid.cell(number).unwrap().clone();
        assert!(!cell.coupling);
        grid.pass_over(number, Some(0.5 * cell.wall), 1.0);
        assert_eq!(grid.split_fraction(), 0.0);
        grid.pass_over(number, Some(cell.wall), 2.0);
        grid.pass_over(number, None, 3.0);
        let now = grid.cell(number).unwrap();
        assert_eq!((now.split_at, now.passes), (Some(2.0), 3));
        assert_eq!(grid.split, 1);
        assert!((grid.bin(0).split - 0.1).abs() < 1e-12);
    }

    #[test]
    fn pipe_that_is_not_kept_is_no_error() {
        let mut grid = Grid::new(&well(), &mut Dice::new(1));
        assert!(grid.cell(-1).is_none() && grid.cell(1_000_000).is_none());
        grid.pass_over(-1, Some(1.0), 0.0);
        grid.pass_over(1_000_000, Some(1.0), 0.0);
    }
}
