//! How fresh is the wall: what the pass law expects of drag from the strokes that went before.
//!
//! A groove that few wheels have passed drags more than one that many have, and the wall beyond the
//! ends of all strokes drags most. Wheels sit in line, so near the ends of strokes some of them roll in
//! the groove and others beyond it. Shapes only, without units: the size is fitted.

use super::trace::Trace;
use kerfwatch::groove::pass_law::{Bend, PassLaw};

/// Step of the grid along the pipe, m.
pub(super) const GRID_M: f64 = 0.02;
/// What a pass down counts against one up; the fit of drag hardly depends on it.
const BITE_DOWN: f64 = 0.75;
/// Passes beyond which the wall counts as old.
const PASSES_MAX: usize = 400;
/// Entries of the table for one pass.
const PER_PASS: f64 = 4.0;

/// The wheels in line, and what one of them drags after so many passes.
#[derive(Debug, Clone)]
pub(super) struct Wheels {
    /// Place of each wheel below the middle, in cells, from the top.
    offsets: Vec<i64>,
    /// Drag of one pass by quarters of passes before it.
    drag: Vec<f64>,
}

impl Wheels {
    /// So many wheels over `span` metres.
    pub(super) fn new(count: u32, span: f64) -> Self {
        let count = count.max(1);
        let place = |k: u32| {
            let part = if count == 1 {
                0.0
            } else {
                f64::from(k) / f64::from(count - 1) - 0.5
            };
            (part * span / GRID_M).round() as i64
        };
        let law = PassLaw::new(PASSES_MAX + 2, f64::MAX, Bend::default());
        let drag = (0..=PASSES_MAX * PER_PASS as usize)
            .map(|i| {
                let n = i as f64 / PER_PASS;
                law.drag(n, n + 1.0)
            })
            .collect();
        Self {
            offsets: (0..count).map(place).collect(),
            drag,
        }
    }

    /// All of them over a wall that nobody cut.
    pub(super) fn first_pass(&self) -> f64 {
        (0..self.offsets.len()).map(|k| self.one(k as f64)).sum()
    }

    fn one(&self, passes: f64) -> f64 {
        let at = (passes * PER_PASS).round() as usize;
        self.drag[at.min(self.drag.len() - 1)]
    }
}

/// Wheel passes along the pipe.
#[derive(Debug, Clone)]
pub(super) struct Passes {
    /// Cell 0 begins here, m.
    top: f64,
    count: Vec<f64>,
}

impl Passes {
    /// None yet, from `top` to `bottom`; beyond them nothing is counted.
    pub(super) fn none(top: f64, bottom: f64) -> Self {
        let cells = ((bottom - top) / GRID_M).ceil().max(0.0) as usize + 1;
        Self {
            top,
            count: vec![0.0; cells],
        }
    }

    /// A stroke with the cutter out.
    pub(super) fn add(&mut self, stroke: &Trace, wheels: &Wheels) {
        let add = bite(stroke.up);
        for offset in &wheels.offsets {
            let first = self.cell(stroke.top) + offset;
            let last = self.cell(stroke.bottom) + offset;
            for cell in first.max(0)..=last.min(self.count.len() as i64 - 1) {
                self.count[cell as usize] += add;
            }
        }
    }

    fn cell(&self, depth: f64) -> i64 {
        ((depth - self.top) / GRID_M).floor() as i64
    }

    fn at(&self, cell: i64) -> f64 {
        usize::try_from(cell)
            .ok()
            .and_then(|cell| self.count.get(cell).copied())
            .unwrap_or(0.0)
    }
}

/// Expected cutting drag, without units, of a stroke `up` or down whose wheels' middle is at `depth`,
/// after the `earlier` passes of the pipe that lies `deeper` than the `own` passes count.
pub(super) fn freshness(
    wheels: &Wheels,
    up: bool,
    depth: f64,
    own: &Passes,
    (earlier, deeper): (&Passes, f64),
) -> f64 {
    let here = own.cell(depth);
    let there = earlier.cell(depth + deeper);
    let add = bite(up);
    let mut sum = 0.0;
    for (k, offset) in wheels.offsets.iter().enumerate() {
        // The leading wheel finds the pipe as it was, the next ones as their forerunners left it.
        let ahead = if up { k } else { wheels.offsets.len() - 1 - k };
        let before = own.at(here + offset) + earlier.at(there + offset) + ahead as f64 * add;
        sum += wheels.one(before);
    }
    sum
}

fn bite(up: bool) -> f64 {
    if up { 1.0 } else { BITE_DOWN }
}
