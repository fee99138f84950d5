//! The grid of what the drag is not linear in, and the drag shapes there.
//!
//! Drift adds to drag and changes no shape, so the search before it is known and the one after it share them.

use super::super::drag_model::{self, FitInput};
use super::super::pass_law::PassLaw;
use super::least_squares::Lanes;
use super::{BITES, FADES, M_POINTS, M_REACH, SPREADS, StrokeMean, alive};

/// A point of the grid but for the spread, of which all that are tried lie side by side.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) m: f64,
    pub(super) fade: f64,
    pub(super) bite: f64,
}

/// All points, with the shapes of the drag of the strokes used.
#[derive(Debug)]
pub(super) struct Grid {
    pub(super) places: Vec<Place>,
    /// Place by place, by stroke: drag for an amplitude of one, by spread.
    pub(super) shapes: Vec<Lanes>,
    /// Wheel passes to tabulate.
    pub(super) passes: usize,
    /// Standard deviation of `m` before anything is seen.
    pub(super) m_sd: f64,
}

impl Grid {
    /// `reach_prior`: mean and standard deviation of `m` before anything is seen.
    pub(super) fn new(input: &FitInput, reach_prior: (f64, f64), used: &[StrokeMean]) -> Self {
        let (m0, m_sd) = reach_prior;
        let count = M_POINTS * FADES.len() * BITES.len();
        let mut grid = Self {
            places: Vec::with_capacity(count),
            shapes: Vec::with_capacity(count * used.len()),
            passes: drag_model::total_passes(input) as usize + 2,
            m_sd,
        };
        for i in 0..M_POINTS {
            let m = m0 + m_sd * M_REACH * (2.0 * i as f64 / (M_POINTS - 1) as f64 - 1.0);
            let laws = PassLaw::with_fades(grid.passes, (-m).exp(), FADES);
            for (law, fade) in laws.iter().zip(FADES) {
                for bite in BITES {
                    grid.places.push(Place { m, fade, bite });
                    grid.shapes.extend(used.iter().map(|s| {
                        let (h, ln_x) = s.uncut(input.wheels, bite, law);
                        SPREADS.map(|(spread, _)| alive(m + ln_x, spread) * h)
                    }));
                }
            }
        }
        grid
    }
}
