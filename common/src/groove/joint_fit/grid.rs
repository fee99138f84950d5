//! The grid of what the drag is not linear in, and the drag shapes there.
//!
//! Every third value of `m` is tried with every second bite and everything else; of what lies between only what is next
//! to something likely: the density is smooth in both, and the rest would carry no weight. A density can be as narrow as
//! the step of `m` is wide, so what was found is interpolated between the values tried.

use super::super::drag_model::{self, FitInput};
use super::super::pass_law::{Bend, PassLaw};
use super::super::wheel_sets::WheelSets;
use super::cases::CASES;
use super::least_squares::Shape;
use super::stroke_means::StrokeMean;
use super::{BENDS, BITES, M_POINTS, M_REACH, Point};

/// What lies so far below the best, as a logarithm of density, is not looked at more closely.
const UNLIKELY: f64 = 12.0;

/// Values of `m` from one that is tried in any case to the next.
const STRIDE: usize = 3;
/// The first of these.
const FIRST: usize = STRIDE / 2;
/// Parts into which each step of `m` is divided by interpolation.
const PARTS: usize = 4;

/// A point of the grid but for the case, of which all lie side by side.
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

/// What was found at a place, by case.
pub(super) type Found = [Point; CASES.len()];

impl Grid {
    pub(super) fn new(input: &FitInput, sets: &WheelSets, prior: (f64, f64)) -> Self {
        Self {
            passes: drag_model::total_passes(input, sets) as usize + 2,
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

    /// Points with any weight. `ask`: what the strokes, with the shapes given, say of a place, by case.
    pub(super) fn points(
        self,
        wheels: f64,
        used: &[StrokeMean],
        ask: impl Fn(Place, &[Shape]) -> Found,
    ) -> Vec<Point> {
        let mut search = Search {
            tried: vec![[[None; BITES.len()]; BENDS.len()]; M_POINTS],
            top: f64::MIN,
        };
        let mut laws: Vec<Option<[PassLaw; BENDS.len()]>> = vec![None; M_POINTS];
        let mut shapes = Vec::with_capacity(used.len());
        let mut try_at = |search: &mut Search, i: usize, is_wanted: Wanted| {
            let m = self.m(i);
            for (b, (bend, slips)) in BENDS.into_iter().enumerate() {
                for (d, bite) in BITES.into_iter().enumerate() {
                    if !is_wanted(search, b, d) {
                        continue;
                    }
                    let laws = laws[i].get_or_insert_with(|| {
                        PassLaw::with_bends(self.passes, (-m).exp(), BENDS.map(|b| b.0))
                    });
                    shapes.clear();
                    shapes.extend(used.iter().map(|s| shape(s, wheels, m, bite, &laws[b])));
                    let place = Place {
                        m,
                        bend,
                        slips,
                        bite,
                    };
                    search.note(i, b, d, ask(place, &shapes));
                }
            }
        };
        let coarse = || (FIRST..M_POINTS).step_by(STRIDE);
        for i in coarse() {
            try_at(&mut search, i, &|_, _, d| d % 2 == 0);
        }
        for i in coarse() {
            try_at(&mut search, i, &|search, b, d| {
                d % 2 == 1
                    && [d - 1, d + 1]
                        .iter()
                        .any(|d| search.is_likely_about(i, b, *d))
            });
        }
        for i in (0..M_POINTS).filter(|i| i % STRIDE != FIRST) {
            try_at(&mut search, i, &|search, b, d| {
                search.is_likely_about(i, b, d)
            });
        }
        search.points()
    }
}

/// Whether a bend and a bite are worth trying, by what was found so far.
type Wanted<'a> = &'a dyn Fn(&Search, usize, usize) -> bool;

/// What was found so far.
struct Search {
    /// By value of `m`, bend and bite.
    tried: Vec<[[Option<Found>; BITES.len()]; BENDS.len()]>,
    /// Best log density.
    top: f64,
}

impl Search {
    fn note(&mut self, i: usize, b: usize, d: usize, found: Found) {
        self.top = found.iter().map(|p| p.ln_p).fold(self.top, f64::max);
        self.tried[i][b][d] = Some(found);
    }

    fn found(&self, i: Option<usize>, b: usize, d: usize) -> Option<&Found> {
        self.tried.get(i?)?[b][d].as_ref()
    }

    fn may_weigh(&self, ln_p: f64) -> bool {
        ln_p > self.top - UNLIKELY
    }

    /// Something likely lies about here: in the steps that this value of `m` lies in, or ends, from one value tried in
    /// any case to the next.
    fn is_likely_about(&self, i: usize, b: usize, d: usize) -> bool {
        let above = (i + STRIDE - FIRST) / STRIDE;
        let is_end = i % STRIDE == FIRST;
        self.is_likely_step(above, b, d) || is_end && self.is_likely_step(above - 1, b, d)
    }

    /// The same of the step up to the `k`-th value tried in any case.
    fn is_likely_step(&self, k: usize, b: usize, d: usize) -> bool {
        let at = |k: Option<usize>| self.found(k.map(|k| FIRST + STRIDE * k), b, d);
        let (below, above) = (at(k.checked_sub(1)), at(Some(k)));
        let (before, after) = (at(k.checked_sub(2)), at(Some(k + 1)));
        (0..CASES.len()).any(|case| {
            let ln_p = |found: Option<&Found>| found.map(|found| found[case].ln_p);
            let (Some(low), Some(high)) = (ln_p(below), ln_p(above)) else {
                let mut ends = [below, above].into_iter().filter_map(ln_p);
                return ends.any(|p| self.may_weigh(p));
            };
            let middle = 0.5 * (low + high) + bow([ln_p(before), ln_p(after)], [low, high]);
            self.may_weigh(low.max(high).max(middle))
        })
    }

    /// What was found, and what lies between in `m` where that may weigh anything.
    fn points(&self) -> Vec<Point> {
        let mut points = Vec::new();
        let places = (0..BENDS.len()).flat_map(|b| (0..BITES.len()).map(move |d| (b, d)));
        for (i, b, d) in places.flat_map(|(b, d)| (0..M_POINTS).map(move |i| (i, b, d))) {
            let at = |i: Option<usize>| self.found(i, b, d);
            let Some(here) = at(Some(i)) else { continue };
            points.extend(*here);
            let Some(next) = at(Some(i + 1)) else {
                continue;
            };
            let (before, after) = (at(i.checked_sub(1)), at(Some(i + 2)));
            for (case, (here, next)) in here.iter().zip(next).enumerate() {
                let outer = [before, after].map(|found| found.map(|found| found[case].ln_p));
                let bow = bow(outer, [here.ln_p, next.ln_p]);
                if self.may_weigh(here.ln_p.max(next.ln_p)) {
                    let parts = (1..PARTS).map(|k| k as f64 / PARTS as f64);
                    points.extend(parts.map(|part| here.towards(next, part, bow)));
                }
            }
        }
        points
    }
}

/// By how much the middle of a step lies above the straight line between its ends: of the parabolas through them and
/// each of their neighbours `outer`, the mean.
fn bow(outer: [Option<f64>; 2], ends: [f64; 2]) -> f64 {
    let parabola = |outer: f64, near: f64, far: f64| (2.0 * near - outer - far) / 8.0;
    match outer {
        [Some(before), Some(after)] => {
            0.5 * (parabola(before, ends[0], ends[1]) + parabola(after, ends[1], ends[0]))
        }
        [Some(before), None] => parabola(before, ends[0], ends[1]),
        [None, Some(after)] => parabola(after, ends[1], ends[0]),
        [None, None] => 0.0,
    }
}

fn shape(s: &StrokeMean, wheels: f64, m: f64, bite: f64, law: &PassLaw) -> Shape {
    let (cut, ln_x) = s.uncut(wheels, bite, law);
    Shape {
        cut,
        flank: (m + ln_x).exp().min(1.0),
        left: CASES.map(|case| case.left(m + ln_x)),
    }
}
