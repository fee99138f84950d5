//! Soft-string drag and stretch, tabulated once and looked up live.
//!
//! *Input -> output*: path, line in fluid, friction pair, greatest depth -> tension along the line
//! from surface tension, its inverse, gain, and elastic stretch, for [`Motion::Up`], [`Motion::Down`],
//! [`Motion::Rest`]. "Surface tension" is that just below the stuffing box (see
//! [`LineInFluid::below_stuffing_box_n`]).
//! *How*: for each friction sign, tension is integrated downward from a grid of surface tensions
//! together with its slope and both running integrals; between grid tensions a cubic with the exact
//! slopes, between depths a straight (nodes lie on every station and close together in bends).
//! At rest everything is closed form. *Limits*: grid of surface tension from 0 to
//! [`STRAIN_MAX`]` x EA` (above the strength of any wire), straight continuation outside it; depth is
//! held within 0 to the greatest depth. *Accuracy*: better than 0.1 % of the tension range against
//! fine integration, tested over wells with doglegs, turns and drops; the inverse undoes the lookup
//! to rounding. *Cost*: lookups allocate nothing.

mod build;

use super::Motion;
use super::line::LineInFluid;
use super::soft_string::FrictionPair;
use super::wellpath::WellPath;
use build::{Cell, Node, grid, integrate_family};

/// Largest elastic strain of the tension grid; steel wire breaks near 1 %.
pub const STRAIN_MAX: f64 = 0.0125;
/// Intervals of the tension grid.
const TENSION_STEPS: usize = 128;

/// See the module doc.
///
/// ```
/// use kerfwatch::model::{Motion, line::LineInFluid, profile_table::ProfileTable, wellpath::WellPath};
/// let deg = f64::to_radians;
/// let path = WellPath::new([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1600.0, deg(60.0), 0.0)])?;
/// let line = LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0);
/// let table = ProfileTable::new(&path, line, 0.25, 0.25, 3000.0);
/// // Pulling 716.5 N at 3000 m takes 2033.7 N at surface.
/// assert!((table.surface_tension(Motion::Up, 716.5064, 3000.0) - 2033.7366).abs() < 0.5);
/// // One newton more at the tool is exp(mu theta) more at surface.
/// assert!((table.gain(Motion::Up, 716.5064, 3000.0) - 1.2993).abs() < 1e-3);
/// # Ok::<(), kerfwatch::model::wellpath::PathError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileTable {
    line: LineInFluid,
    friction: FrictionPair,
    nodes: Vec<Node>,
    tension_step_n: f64,
    up: Vec<Cell>,
    down: Vec<Cell>,
}

/// Place in the depth grid: node index and fraction to the next.
#[derive(Debug, Clone, Copy)]
struct Place {
    node: usize,
    fraction: f64,
    along_m: f64,
}

impl ProfileTable {
    /// Builds the table for depths 0 to `depth_max_m` (at least 1 m is taken).
    pub fn new(
        path: &WellPath,
        line: LineInFluid,
        mu_up: f64,
        mu_down: f64,
        depth_max_m: f64,
    ) -> Self {
        let friction = FrictionPair {
            up: mu_up,
            down: mu_down,
        };
        let (nodes, steps) = grid(path, depth_max_m.max(1.0));
        let tension_step_n = STRAIN_MAX * line.ea_n / TENSION_STEPS as f64;
        let fill = |signed_friction: f64| {
            integrate_family(
                &steps,
                nodes.len(),
                line.weight_n_m,
                signed_friction,
                tension_step_n,
            )
        };
        Self {
            line,
            friction,
            tension_step_n,
            up: fill(friction.signed(Motion::Up)),
            down: fill(friction.signed(Motion::Down)),
            nodes,
        }
    }

    /// The line the table was built for.
    pub fn line(&self) -> &LineInFluid {
        &self.line
    }

    /// The friction the table was built for.
    pub fn friction(&self) -> FrictionPair {
        self.friction
    }

    /// Greatest depth of the table, m.
    pub fn depth_max_m(&self) -> f64 {
        self.nodes[self.nodes.len() - 1].md_m
    }

    fn place(&self, md_m: f64) -> Place {
        let md = md_m.clamp(0.0, self.depth_max_m());
        let after = self.nodes.partition_point(|node| node.md_m <= md);
        let node = after.saturating_sub(1).min(self.nodes.len() - 2);
        let along_m = md - self.nodes[node].md_m;
        let span = self.nodes[node + 1].md_m - self.nodes[node].md_m;
        Place {
            node,
            fraction: along_m / span,
            along_m,
        }
    }

    fn family(&self, motion: Motion) -> Option<&[Cell]> {
        match motion {
            Motion::Up => Some(&self.up),
            Motion::Down => Some(&self.down),
            Motion::Rest => None,
        }
    }

    /// Values at grid tension `k` and a depth.
    fn column(&self, family: &[Cell], place: Place, k: usize) -> Cell {
        let row = TENSION_STEPS + 1;
        let a = family[place.node * row + k];
        let b = family[(place.node + 1) * row + k];
        let mut mixed = Cell::mix(a, b, place.fraction);
        // Tension is straight between nodes, so its integral is a trapezoid.
        let half = 0.5 * place.along_m;
        mixed.tension_integral = a.tension_integral + half * (a.tension + mixed.tension);
        mixed.slope_integral = a.slope_integral + half * (a.slope + mixed.slope);
        mixed
    }

    /// Interpolates at a surface tension.
    fn at_surface_tension(&self, family: &[Cell], place: Place, surface_n: f64) -> Cell {
        let s = surface_n / self.tension_step_n;
        let k = (s.max(0.0) as usize).min(TENSION_STEPS - 1);
        let a = self.column(family, place, k);
        let b = self.column(family, place, k + 1);
        self.between(a, b, s - k as f64)
    }

    fn between(&self, a: Cell, b: Cell, t: f64) -> Cell {
        let h = self.tension_step_n;
        let (tension, slope) = hermite(a.tension, b.tension, a.slope, b.slope, h, t);
        let (tension_integral, slope_integral) = hermite(
            a.tension_integral,
            b.tension_integral,
            a.slope_integral,
            b.slope_integral,
            h,
            t,
        );
        Cell {
            tension,
            slope,
            tension_integral,
            slope_integral,
        }
    }

    /// True vertical depth as the table has it, m.
    fn tvd(&self, place: Place) -> f64 {
        let (a, b) = (self.nodes[place.node], self.nodes[place.node + 1]);
        a.tvd_m + place.fraction * (b.tvd_m - a.tvd_m)
    }

    fn tvd_integral(&self, place: Place) -> f64 {
        let a = self.nodes[place.node];
        let b = self.nodes[place.node + 1];
        // The correction of a bend, carried in proportion, keeps the integral continuous.
        let trapezoid = 0.5 * (b.md_m - a.md_m) * (a.tvd_m + b.tvd_m);
        let bend = b.tvd_integral_m2 - a.tvd_integral_m2 - trapezoid;
        a.tvd_integral_m2
            + 0.5 * place.along_m * (a.tvd_m + self.tvd(place))
            + place.fraction * bend
    }

    /// Tension, N, at depth `md_m` for a surface tension, integrated downward.
    /// Negative: that surface tension does not carry the line down to there.
    pub fn tension_at(&self, motion: Motion, surface_tension_n: f64, md_m: f64) -> f64 {
        let place = self.place(md_m);
        match self.family(motion) {
            Some(family) => {
                self.at_surface_tension(family, place, surface_tension_n)
                    .tension
            }
            None => surface_tension_n - self.line.weight_n_m * self.tvd(place),
        }
    }

    /// Surface tension, N, that gives `tension_at_md_n` at depth `md_m`: the inverse of
    /// [`Self::tension_at`].
    pub fn surface_tension(&self, motion: Motion, tension_at_md_n: f64, md_m: f64) -> f64 {
        let place = self.place(md_m);
        match self.family(motion) {
            Some(family) => self.invert(family, place, tension_at_md_n).0,
            None => tension_at_md_n + self.line.weight_n_m * self.tvd(place),
        }
    }

    /// Change of surface tension for a change of tension at depth `md_m` (no unit): as a
    /// rule above 1 pulling out and below 1 running in (the reverse where the line lies on the low
    /// side of a build), 1 at rest.
    pub fn gain(&self, motion: Motion, tension_at_md_n: f64, md_m: f64) -> f64 {
        let place = self.place(md_m);
        match self.family(motion) {
            Some(family) => 1.0 / self.invert(family, place, tension_at_md_n).1.slope,
            None => 1.0,
        }
    }

    /// Elastic stretch, m, of the line from surface to depth `md_m` under its tension alone.
    pub fn stretch(&self, motion: Motion, surface_tension_n: f64, md_m: f64) -> f64 {
        let place = self.place(md_m);
        let integral = match self.family(motion) {
            Some(family) => {
                self.at_surface_tension(family, place, surface_tension_n)
                    .tension_integral
            }
            None => {
                let md = self.nodes[place.node].md_m + place.along_m;
                surface_tension_n * md - self.line.weight_n_m * self.tvd_integral(place)
            }
        };
        integral / self.line.ea_n
    }

    /// Change of length, m, from surface to depth `md_m` that does not depend on tension: thermal
    /// (against surface temperature) and fluid pressure.
    pub fn stretch_static_corrections(&self, md_m: f64) -> f64 {
        let place = self.place(md_m);
        let integral = self.tvd_integral(place);
        let md = self.nodes[place.node].md_m + place.along_m;
        self.line.thermal_stretch_integral(integral)
            + self.line.pressure_strain_integral(md, integral)
    }

    /// Surface tension and the cell there for a tension at depth.
    fn invert(&self, family: &[Cell], place: Place, tension_n: f64) -> (f64, Cell) {
        let h = self.tension_step_n;
        // Tension at depth grows with surface tension: find the grid interval by halving.
        let (mut low, mut high) = (0, TENSION_STEPS);
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if self.column(family, place, middle).tension <= tension_n {
                low = middle;
            } else {
                high = middle;
            }
        }
        let a = self.column(family, place, low);
        let b = self.column(family, place, low + 1);
        let mut t = if a.tension > tension_n {
            (tension_n - a.tension) / (a.slope * h)
        } else if b.tension < tension_n {
            1.0 + (tension_n - b.tension) / (b.slope * h)
        } else {
            (tension_n - a.tension) / (b.tension - a.tension)
        };
        // The cubic is nearly straight: a few Newton steps reach rounding.
        for _ in 0..6 {
            let found = self.between(a, b, t);
            let step = (tension_n - found.tension) / (found.slope * h);
            t += step;
            if step.abs() < 1e-14 {
                break;
            }
        }
        ((low as f64 + t) * h, self.between(a, b, t))
    }
}

/// Cubic through `a`, `b` with slopes `sa`, `sb` over an interval `h`, at fraction `t`: value and
/// slope; a straight outside 0..1.
fn hermite(a: f64, b: f64, sa: f64, sb: f64, h: f64, t: f64) -> (f64, f64) {
    if t <= 0.0 {
        return (a + sa * h * t, sa);
    }
    if t >= 1.0 {
        return (b + sb * h * (t - 1.0), sb);
    }
    let rise = b - a;
    let (ma, mb) = (sa * h, sb * h);
    let (c2, c3) = (3.0 * rise - 2.0 * ma - mb, ma + mb - 2.0 * rise);
    (
        a + t * (ma + t * (c2 + t * c3)),
        (ma + t * (2.0 * c2 + 3.0 * t * c3)) / h,
    )
}

#[cfg(test)]
mod tests;
