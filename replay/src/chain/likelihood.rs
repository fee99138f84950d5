//! How well does each shift explain the drag of a later run, for one direction: the model of
//! `depth_shift.rs`, stroke by stroke.

use super::depth_shift::{shift_at, shifts};
use super::fit::{Bounds, Freed, between, independent, residuals, square_sum};
use super::passes::{GRID_M, Passes, Wheels, freshness};
use super::trace::Trace;

/// Strokes of a direction taken from the end of the earlier runs, and from the start of the later one.
const EARLIER: usize = 8;
const LATER: usize = 6;
/// Fewest bins of a direction worth comparing.
const BINS_MIN: usize = 25;
/// Strokes and bins share what the model lacks: this part of the residuals counts as independent.
const INDEPENDENT: f64 = 0.4;

/// A stroke with what is compared of it.
struct Compared<'t> {
    stroke: &'t Trace,
    /// Passes of the strokes of its own run before it, in the depth of that run.
    before: Passes,
    points: Vec<(f64, f64)>,
}

/// Log likelihood by shift of one direction, less that of no relation at all; `None` where there is too
/// little to compare.
pub(super) fn likelihood(
    earlier: &[Trace],
    later: &[Trace],
    up: bool,
    wheels: &Wheels,
    bounds: Bounds,
) -> Option<Vec<f64>> {
    let (top, bottom) = reach(earlier)?;
    let old = compared(earlier, up, EARLIER, true, wheels)?;
    let new = compared(later, up, LATER, false, wheels)?;
    if new.iter().map(|c| c.points.len()).max()? < BINS_MIN {
        return None;
    }
    let nothing = Passes::none(top, top);
    let pattern = Pattern::new(&old, &nothing, wheels, up, bounds);
    let mut passed = Passes::none(top - 1.0, bottom + 1.0);
    for stroke in earlier.iter().filter(|t| t.out) {
        passed.add(stroke, wheels);
    }
    let drags: Vec<Freed> = new.iter().map(|c| Freed::new(&c.points)).collect();
    let y: Vec<Vec<f64>> = new
        .iter()
        .zip(&drags)
        .map(|(c, freed)| freed.of(c.points.iter().map(|p| p.1)))
        .collect();
    let none = square_sum(&y);
    let fits: Vec<Vec<Vec<f64>>> = (0..shifts())
        .map(|i| {
            let s = shift_at(i);
            let column = |value: &dyn Fn(&Compared<'_>, f64) -> f64| -> Vec<Vec<f64>> {
                let rows = new.iter().zip(&drags);
                rows.map(|(c, freed)| freed.of(c.points.iter().map(|p| value(c, p.0))))
                    .collect()
            };
            let x = column(&|_, z| pattern.at(z + s));
            let u = column(&|c, z| freshness(wheels, up, z, &c.before, (&passed, s)));
            residuals(&y, &x, &u, bounds)
        })
        .collect();
    let best = fits
        .iter()
        .min_by(|a, b| square_sum(a).total_cmp(&square_sum(b)))?;
    let points: Vec<&[(f64, f64)]> = new.iter().map(|c| c.points.as_slice()).collect();
    let independent = INDEPENDENT * independent(&points, best);
    // Rounding of readings is noise too: a fit can never be exact.
    let floor = y.iter().map(Vec::len).sum::<usize>() as f64;
    Some(
        fits.iter()
            .map(|fit| -0.5 * independent * ((square_sum(fit) + floor) / (none + floor)).ln())
            .collect(),
    )
}

/// Shallowest and deepest point of all strokes.
fn reach(traces: &[Trace]) -> Option<(f64, f64)> {
    let top = traces.iter().map(|t| t.top).reduce(f64::min)?;
    let bottom = traces.iter().map(|t| t.bottom).reduce(f64::max)?;
    Some((top, bottom))
}

/// The last or first strokes of a direction with the cutter out, and what had passed before each.
fn compared<'t>(
    all: &'t [Trace],
    up: bool,
    count: usize,
    last: bool,
    wheels: &Wheels,
) -> Option<Vec<Compared<'t>>> {
    let (top, bottom) = reach(all)?;
    let mut passes = Passes::none(top - 1.0, bottom + 1.0);
    let usable = |t: &Trace| t.out && t.up == up && t.points().count() >= BINS_MIN;
    let total = all.iter().filter(|t| usable(t)).count();
    let skip = if last { total.saturating_sub(count) } else { 0 };
    let mut found = Vec::new();
    let mut seen = 0;
    for stroke in all.iter().filter(|t| t.out) {
        if usable(stroke) {
            if seen >= skip && found.len() < count {
                found.push(Compared {
                    stroke,
                    before: passes.clone(),
                    points: stroke.points().collect(),
                });
            }
            seen += 1;
        }
        passes.add(stroke, wheels);
    }
    (!found.is_empty()).then_some(found)
}

/// What earlier strokes drag beyond the pass law, by depth; 0 where nobody was.
#[derive(Debug)]
struct Pattern {
    top: f64,
    grid: Vec<f64>,
}

impl Pattern {
    fn new(
        old: &[Compared<'_>],
        nothing: &Passes,
        wheels: &Wheels,
        up: bool,
        bounds: Bounds,
    ) -> Self {
        let rows: Vec<Freed> = old.iter().map(|c| Freed::new(&c.points)).collect();
        let column = |value: &dyn Fn(&Compared<'_>, (f64, f64)) -> f64| -> Vec<Vec<f64>> {
            let rows = old.iter().zip(&rows);
            rows.map(|(c, freed)| freed.of(c.points.iter().map(|p| value(c, *p))))
                .collect()
        };
        let y = column(&|_, p| p.1);
        let u = column(&|c, p| freshness(wheels, up, p.0, &c.before, (nothing, 0.0)));
        let zero: Vec<Vec<f64>> = y.iter().map(|row| vec![0.0; row.len()]).collect();
        let rest = residuals(&y, &zero, &u, bounds);
        let top = old
            .iter()
            .map(|c| c.stroke.top)
            .fold(f64::INFINITY, f64::min);
        let bottom = old.iter().map(|c| c.stroke.bottom).fold(top, f64::max);
        let cells = ((bottom - top) / GRID_M) as usize + 1;
        let grid = (0..cells)
            .map(|i| {
                let depth = top + i as f64 * GRID_M;
                let rows = old.iter().zip(&rest);
                median(
                    rows.filter_map(|(c, r)| between(&c.points, r, depth))
                        .collect(),
                )
                .unwrap_or(0.0)
            })
            .collect();
        Self { top, grid }
    }

    fn at(&self, depth: f64) -> f64 {
        let place = ((depth - self.top) / GRID_M).round();
        if place < 0.0 {
            return 0.0;
        }
        self.grid.get(place as usize).copied().unwrap_or(0.0)
    }
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(values[n / 2]),
        _ => Some(0.5 * (values[n / 2 - 1] + values[n / 2])),
    }
}
