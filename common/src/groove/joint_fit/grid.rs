//! The grid of what the drag is not linear in, and the drag shapes there.
//!
//! Every third value of `m` is tried with everything else; of those between only what lies next to something likely: the
//! density is smooth in `m`, and the rest would carry no weight.

use super::super::drag_model::{self, FitInput};
use super::super::pass_law::{Bend, PassLaw};
use super::least_squares::Shape;
use super::{BENDS, BITES, M_POINTS, M_REACH, Point, SPREADS, StrokeMean, alive};

/// What lies so far below the best, as a logarithm of density, is not looked at more closely.
const UNLIKELY: f64 = 15.0;

/// A point of the grid but for the spread, of which all that are tried lie side by side.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) m: f64,
    pub(super) bend: Bend,
    /// Flanks drag.
    pub(super) slips: bool,
    pub(super) bite: f64,
}

/// Values of `m`, and how many wheel passes laws are to be tabulated for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    /// Wheel passes to tabulate.
    pub(super) passes: usize,
    /// Mean and standard deviation of `m` before anything is seen.
    pub(super) prior: (f64, f64),
}

/// Best log density by bend and bite, for one value of `m`.
type Best = [[f64; BITES.len()]; BENDS.len()];

impl Grid {
    pub(super) fn new(input: &FitInput, prior: (f64, f64)) -> Self {
        Self {
            passes: drag_model::total_passes(input) as usize + 2,
            prior,
        }
    }

    fn m(self, i: usize) -> f64 {
        let (mean, sd) = self.prior;
        mean + sd * M_REACH * (2.0 * i as f64 / (M_POINTS - 1) as f64 - 1.0)
    }

    /// Half the step of `m`: nearer than that the grid cannot tell.
    pub(super) fn half_step(self) -> f64 {
        self.prior.1 * M_REACH / (M_POINTS - 1) as f64
    }

    /// Points with any weight. `ask`: what the strokes, with the shapes given, say of a place, by spread.
    pub(super) fn points(
        self,
        wheels: f64,
        used: &[StrokeMean],
        ask: impl Fn(Place, &[Shape]) -> [Point; SPREADS.len()],
    ) -> Vec<Point> {
        let mut points = Vec::new();
        let mut shapes = Vec::with_capacity(used.len());
        let mut at = |i: usize, wanted: &dyn Fn(usize, usize) -> bool| {
            let m = self.m(i);
            let mut best: Best = [[f64::MIN; BITES.len()]; BENDS.len()];
            let bent = |b: usize| (0..BITES.len()).any(|d| wanted(b, d));
            if !(0..BENDS.len()).any(bent) {
                return best;
            }
            let laws = PassLaw::with_bends(self.passes, (-m).exp(), BENDS.map(|b| b.0));
            for (b, (law, (bend, slips))) in laws.iter().zip(BENDS).enumerate() {
                for (d, bite) in BITES.into_iter().enumerate().filter(|(d, _)| wanted(b, *d)) {
                    shapes.clear();
                    shapes.extend(used.iter().map(|s| shape(s, wheels, m, bite, law)));
                    let place = Place {
                        m,
                        bend,
                        slips,
                        bite,
                    };
                    let found = ask(place, &shapes);
                    best[b][d] = found.iter().map(|p| p.ln_p).fold(f64::MIN, f64::max);
                    points.extend(found);
                }
            }
            best
        };
        let coarse: Vec<Best> = (1..M_POINTS)
            .step_by(3)
            .map(|i| at(i, &|_, _| true))
            .collect();
        let top = coarse.iter().flatten().flatten().copied();
        let top = top.fold(f64::MIN, f64::max);
        for i in (0..M_POINTS).filter(|i| i % 3 != 1) {
            let beside = [(i + 1) / 3, (i + 1) / 3 + 1].map(|k| k.clamp(1, coarse.len()) - 1);
            at(i, &|b, d| {
                beside.iter().any(|k| coarse[*k][b][d] > top - UNLIKELY)
            });
        }
        points
    }
}

fn shape(s: &StrokeMean, wheels: f64, m: f64, bite: f64, law: &PassLaw) -> Shape {
    let (cut, ln_x) = s.uncut(wheels, bite, law);
    Shape {
        cut,
        flank: (m + ln_x).exp().min(1.0),
        alive: SPREADS.map(|(spread, _)| alive(m + ln_x, spread)),
    }
}
