//! How the table of [`super::ProfileTable`] is made: nodes along the well, and tension carried down from node to
//! node for every tension of the grid.

use super::TENSION_STEPS;
use crate::model::soft_string::{side_force_n_m, tension_rate_n_m};
use crate::model::wellpath::{LocalGeometry, WellPath};

/// Longest node spacing, m.
const SPACING_MAX_M: f64 = 50.0;
/// Largest turn between nodes, rad: keeps the error of the straight between nodes below
/// `T (mu turn)^2/8`, about 1e-5 of T.
const TURN_MAX_RAD: f64 = 0.03;
/// Integration steps between nodes.
const SUBSTEPS: usize = 2;

/// Tension, its slope by surface tension, and the integrals of both from surface.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Cell {
    pub(super) tension: f64,
    pub(super) slope: f64,
    pub(super) tension_integral: f64,
    pub(super) slope_integral: f64,
}

impl Cell {
    pub(super) fn mix(a: Self, b: Self, w: f64) -> Self {
        let m = |x: f64, y: f64| x + w * (y - x);
        Self {
            tension: m(a.tension, b.tension),
            slope: m(a.slope, b.slope),
            tension_integral: m(a.tension_integral, b.tension_integral),
            slope_integral: m(a.slope_integral, b.slope_integral),
        }
    }
}

/// A depth at which the table has values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Node {
    pub(super) md_m: f64,
    pub(super) tvd_m: f64,
    pub(super) tvd_integral_m2: f64,
}

/// One integration step: its length, m, and the geometry at its start, middle and end.
type Step = (f64, [LocalGeometry; 3]);

/// Nodes from surface to `depth_max_m`, and the integration steps between them, both in order of depth.
pub(super) fn grid(path: &WellPath, depth_max_m: f64) -> (Vec<Node>, Vec<Step>) {
    let mut nodes = vec![Node {
        md_m: 0.0,
        tvd_m: 0.0,
        tvd_integral_m2: 0.0,
    }];
    let mut steps = Vec::new();
    path.for_each_stretch(depth_max_m, |top, bottom, curvature, geometry| {
        let length = bottom - top;
        let by_turn = (length * curvature / TURN_MAX_RAD).ceil();
        let count = (length / SPACING_MAX_M).ceil().max(by_turn).max(1.0) as usize;
        for i in 0..count {
            let at = |f: f64| top + length * (i as f64 + f) / count as f64;
            let h = length / (count * SUBSTEPS) as f64;
            for s in 0..SUBSTEPS {
                let f = |x: f64| (s as f64 + x) / SUBSTEPS as f64;
                steps.push((
                    h,
                    [
                        geometry(at(f(0.0))),
                        geometry(at(f(0.5))),
                        geometry(at(f(1.0))),
                    ],
                ));
            }
            let before = nodes[nodes.len() - 1];
            let md_m = if i + 1 == count { bottom } else { at(1.0) };
            let tvd_m = path.position(md_m).tvd_m;
            let span = md_m - before.md_m;
            // Trapezoid with end slopes: exact for a straight, fourth order in a bend.
            let bend = geometry(before.md_m).cos_inc - geometry(md_m).cos_inc;
            nodes.push(Node {
                md_m,
                tvd_m,
                tvd_integral_m2: before.tvd_integral_m2
                    + 0.5 * span * (before.tvd_m + tvd_m)
                    + span * span / 12.0 * bend,
            });
        }
    });
    (nodes, steps)
}

/// Integrates downward from every grid tension; row by node, column by grid tension.
pub(super) fn integrate_family(
    steps: &[Step],
    nodes: usize,
    weight_n_m: f64,
    mu: f64,
    tension_step_n: f64,
) -> Vec<Cell> {
    let row = TENSION_STEPS + 1;
    let mut cells = vec![Cell::default(); nodes * row];
    for (k, cell) in cells[..row].iter_mut().enumerate() {
        cell.tension = tension_step_n * k as f64;
        cell.slope = 1.0;
    }
    for node in 1..nodes {
        let (before, here) = cells.split_at_mut(node * row);
        let before = &before[(node - 1) * row..];
        here[..row].copy_from_slice(before);
        for (h, geometry) in &steps[(node - 1) * SUBSTEPS..node * SUBSTEPS] {
            match straight_rates(geometry, weight_n_m, mu) {
                Some(rates) => {
                    for cell in &mut here[..row] {
                        *cell = carry(*cell, *h, |i, _| (rates[i], 0.0));
                    }
                }
                None => {
                    for cell in &mut here[..row] {
                        *cell = carry(*cell, *h, |i, tension| {
                            let at = &geometry[i];
                            (
                                tension_rate_n_m(tension, weight_n_m, mu, at),
                                slope_rate_per_m(tension, weight_n_m, mu, at),
                            )
                        });
                    }
                }
            }
        }
    }
    cells
}

/// Rates of tension at start, middle and end of a step on which the well does not turn: there they are the same for
/// every tension, and most wells are straight for most of their length.
fn straight_rates(geometry: &[LocalGeometry; 3], weight_n_m: f64, mu: f64) -> Option<[f64; 3]> {
    let is_straight =
        |at: &LocalGeometry| at.curvature_per_m == 0.0 && at.cos_inc_rate_per_m == 0.0;
    geometry
        .iter()
        .all(is_straight)
        .then(|| geometry.map(|at| tension_rate_n_m(0.0, weight_n_m, mu, &at)))
}

/// One fourth-order step of tension, its slope and the integrals of both. `rate(i, tension)`: rate of tension and of the
/// logarithm of its slope at start, middle and end of the step (0, 1, 2).
#[inline]
fn carry(from: Cell, h: f64, rate: impl Fn(usize, f64) -> (f64, f64)) -> Cell {
    let (k1, l1) = rate(0, from.tension);
    let t2 = from.tension + 0.5 * h * k1;
    let (k2, l2) = rate(1, t2);
    let t3 = from.tension + 0.5 * h * k2;
    let (k3, l3) = rate(1, t3);
    let t4 = from.tension + h * k3;
    let (k4, l4) = rate(2, t4);
    let tension = from.tension + h / 6.0 * (k1 + 2.0 * (k2 + k3) + k4);
    let slope = from.slope * grown(h / 6.0 * (l1 + 2.0 * (l2 + l3) + l4));
    let middle_slope = from.slope * grown(0.25 * h * (l1 + l2));
    Cell {
        tension,
        slope,
        tension_integral: from.tension_integral + h / 6.0 * (from.tension + 2.0 * (t2 + t3) + t4),
        slope_integral: from.slope_integral + h / 6.0 * (from.slope + 4.0 * middle_slope + slope),
    }
}

/// The exponential; where the well is straight it is one and need not be worked out.
fn grown(log: f64) -> f64 {
    if log == 0.0 { 1.0 } else { log.exp() }
}

/// `d(dT/ds)/dT`, 1/m: how fast the log of the slope changes down the hole.
fn slope_rate_per_m(tension_n: f64, weight_n_m: f64, mu: f64, at: &LocalGeometry) -> f64 {
    let side = side_force_n_m(tension_n, weight_n_m, at);
    if side <= 1e-12 {
        return 0.0;
    }
    let k2 = at.curvature_per_m * at.curvature_per_m;
    -mu * (tension_n * k2 + weight_n_m * at.cos_inc_rate_per_m) / side
}
