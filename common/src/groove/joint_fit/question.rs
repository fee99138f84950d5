//! What strokes say of a place of the grid, priors included.

use super::super::drag_model::{BITE, FADE, FitInput};
use super::super::posterior::Nominal;
use super::super::wheel_sets::WheelSets;
use super::cases::CASES;
use super::grid::{Found, Grid, Place};
use super::least_squares::{Shape, solve};
use super::stroke_means::{StrokeMean, scatter};
use super::{Point, SD_MIN};

/// What is the same however wheels and drift are taken.
#[derive(Clone, Copy)]
pub(super) struct Question<'a> {
    pub(super) input: &'a FitInput<'a>,
    pub(super) nominal: &'a Nominal,
    pub(super) ln_wall: f64,
    /// Strokes with their drag as measured, each pass counting as one of its wheels.
    pub(super) used: &'a [StrokeMean],
}

/// Strokes with wheels and drift taken in one way, and the grid for them.
pub(super) struct Strokes {
    pub(super) used: Vec<StrokeMean>,
    /// Scatter of a stroke's mean, N.
    sd: f64,
    pub(super) grid: Grid,
}

impl Question<'_> {
    /// `drift`: by row, N, taken from its drag.
    pub(super) fn strokes(&self, sets: &WheelSets, drift: &[f64]) -> Strokes {
        let taken = |s: &StrokeMean| StrokeMean {
            y: s.y - drift[s.row],
            ..s.counted(sets)
        };
        let used: Vec<StrokeMean> = self.used.iter().map(taken).collect();
        let prior = self.nominal.reach_prior(self.ln_wall);
        Strokes {
            sd: scatter(&used).max(SD_MIN),
            used,
            grid: Grid::new(self.input, sets, prior),
        }
    }

    /// What they say of a place, by case; `shapes`: of their drag there.
    pub(super) fn ask(&self, strokes: &Strokes, place: Place, shapes: &[Shape]) -> Found {
        let input = self.input;
        let (a0, a_sd) = (input.amplitude_prior.0.ln(), input.amplitude_prior.1);
        let found = solve(input, &strokes.used, shapes, strokes.sd, place.slips);
        std::array::from_fn(|i| {
            let case = CASES[i];
            let ln_a = found[i].ln_amplitude;
            let (mean, m_sd) = self.nominal.reach_given_amplitude(self.ln_wall, ln_a);
            let ln_priors = case.ln_prior + ln_bite_prior(place.bite)
                - 0.5 * ((place.bend.fade - FADE.0) / FADE.1).powi(2)
                - 0.5 * ((ln_a - a0) / a_sd).powi(2)
                - 0.5 * ((place.m - mean) / m_sd).powi(2)
                - input.base_prior.cost(found[i].base);
            Point {
                place,
                case,
                found: found[i],
                ln_p: found[i].ln_p + ln_priors,
            }
        })
    }
}

/// Logarithm of the prior weight of a bite down.
fn ln_bite_prior(bite: f64) -> f64 {
    let both = (-0.5 * ((bite - BITE.0) / BITE.1).powi(2)).exp();
    (both + 0.2).ln()
}
