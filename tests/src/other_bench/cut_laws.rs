//! What one wheel does in one pass over one spot: three laws. The first is of the family that the estimator and the first
//! bench assume (a wedge under even pressure), with piled-up lips, a blunt edge and metal that hardens; the second lets pipe
//! and thin wall give; the third owes nothing to either.
//!
//! Symbols: `d0`, `d1` depth of the groove before and after, m; `p = d1 - d0` advance; `t` wall; `N` radial force of the
//! wheel; `R` its radius; `beta` half the angle of its edge; `b` width of its edge; `H` contact pressure.
//!
//! - Radial force left: `N (1 - slope d0)`.
//! - `Indent`: `N = H L (2 tan(beta) c (d0 + 2 p / 3) + b)` on the chord `L = sqrt(2 R p - p²)`, solved for `p` by halving;
//!   `c` piling up at the lips, `H` growing in proportion to `d0 / t`.
//! - `Yielding`: the same with a share of `N` lost to springing the pipe, and `H` falling linearly once less than 35 % of the
//!   wall is left.
//! - `Power`: `p = p0 f² h⁻² g (d0 + s)^-n`, lengths in mm; `f` radial force over that on whole pipe, `h` local hardness,
//!   `g` what a worn edge leaves.
//! - Going down, `p` is less by the factor `bite_down`.
//! - Axial force: `F = k H (tan(beta) (d1² - d0²) + b (d1 - d0))`, the work of pushing the wedge's metal aside per length,
//!   times an invented factor `k`. Force and depth agree: work over a spot is force times its length.
//!
//! All are invented in form and size. No side walls, no temperature, no speed.

use super::well::{Law, Metal, Well};

/// Where the wall begins to yield: share of it that is left.
const YIELDS_BELOW: f64 = 0.35;

/// The spot a wheel rolls over, before the pass.
#[derive(Debug, Clone, Copy)]
pub struct Spot {
    /// Groove depth, m.
    pub depth: f64,
    /// Wall, m.
    pub wall: f64,
    /// Hardness over average.
    pub hardness: f64,
}

/// One pass of one wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pass {
    /// Groove depth after it, m.
    pub depth: f64,
    /// Axial force it takes, N.
    pub force: f64,
}

/// What the crew may reckon with, from average pipe.
#[derive(Debug, Clone, Copy)]
pub struct Prognosis {
    /// Strokes until split.
    pub strokes: usize,
    /// Drag of cutting of the first stroke, which goes up, N.
    pub first: f64,
    /// Drag of the second, which goes down, N.
    pub second: f64,
    /// Drag when half the wall is cut, N.
    pub half_way: f64,
}

impl Well {
    /// One pass; `wear` from 0 (edge new) to 1 (worn).
    pub fn pass(&self, spot: Spot, wear: f64, up: bool) -> Pass {
        let (cutter, metal) = (&self.cutter, &self.metal);
        let tangent = (cutter.edge_angle / 2.0).tan();
        let radial = (cutter.radial_force * (1.0 - cutter.force_slope * spot.depth * 1e3)).max(0.0);
        let edge = cutter.edge_width + cutter.edge_wear * wear;
        let pressure = contact_pressure(metal, spot);
        let advance = match metal.law {
            Law::Power => power_advance(metal, spot, radial / cutter.radial_force, edge),
            Law::Indent | Law::Yielding => {
                let pressing = if metal.law == Law::Yielding {
                    radial * (1.0 - metal.elastic_share)
                } else {
                    radial
                };
                chord_advance(cutter.radius, |advance, chord| {
                    let width =
                        2.0 * tangent * metal.pile_up * (spot.depth + 2.0 * advance / 3.0) + edge;
                    pressure * chord * width - pressing
                })
            }
        };
        let bite = if up { 1.0 } else { cutter.bite_down };
        let depth = (spot.depth + advance * bite).min(cutter.reach);
        // The power law knows no contact pressure: the metal's own gives the work.
        let resisting = if metal.law == Law::Power {
            metal.pressure * spot.hardness
        } else {
            pressure
        };
        let pushed_aside =
            tangent * (depth * depth - spot.depth * spot.depth) + edge * (depth - spot.depth);
        Pass {
            depth,
            force: metal.work_factor * resisting * pushed_aside,
        }
    }

    /// Cuts average pipe, as a person does who reckons before the job.
    pub fn prognosis(&self) -> Prognosis {
        let wall = self.pipe.wall * (1.0 + self.pipe.wall_bias);
        let mut depth = 0.0;
        let mut all = Prognosis {
            strokes: 0,
            first: 0.0,
            second: 0.0,
            half_way: 0.0,
        };
        while depth < self.metal.breaks_at * wall && all.strokes < 900 {
            let mut force = 0.0;
            for _ in 0..self.cutter.wheels {
                let spot = Spot {
                    depth,
                    wall,
                    hardness: 1.0,
                };
                let pass = self.pass(spot, wear_after(all.strokes), all.strokes.is_multiple_of(2));
                force += pass.force;
                depth = pass.depth;
            }
            match all.strokes {
                0 => all.first = force,
                1 => all.second = force,
                _ => {}
            }
            if depth > 0.5 * wall && all.half_way == 0.0 {
                all.half_way = force;
            }
            all.strokes += 1;
        }
        all
    }

    /// The advance of the power law, mm, that splits average pipe in about as many strokes: the sum over passes taken for an
    /// integral, `(t^(n+1) - s^(n+1)) / (n + 1) / passes`.
    pub fn power_advance_for(&self, strokes: f64) -> f64 {
        let (metal, shift) = (&self.metal, self.metal.power_shift);
        let wall = self.pipe.wall * 1e3 * metal.breaks_at * (1.0 + self.pipe.wall_bias);
        let passes = strokes * self.cutter.wheels as f64 * (1.0 + self.cutter.bite_down) / 2.0;
        let order = metal.power + 1.0;
        ((wall + shift).powf(order) - shift.powf(order)) / order / passes
    }
}

/// Wear of the edge after some strokes, 0 to 1.
pub fn wear_after(strokes: usize) -> f64 {
    (strokes as f64 / 150.0).min(1.0)
}

fn contact_pressure(metal: &Metal, spot: Spot) -> f64 {
    let whole = metal.pressure * spot.hardness * (1.0 + metal.hardening * (spot.depth / spot.wall));
    if metal.law != Law::Yielding {
        return whole;
    }
    let left = ((spot.wall - spot.depth) / spot.wall).clamp(0.0, 1.0);
    if left < YIELDS_BELOW {
        whole * (1.0 - metal.yielding * (1.0 - left / YIELDS_BELOW))
    } else {
        whole
    }
}

/// `force_share`: radial force over that on whole pipe. Returns m.
fn power_advance(metal: &Metal, spot: Spot, force_share: f64, edge: f64) -> f64 {
    let shifted = spot.depth * 1e3 + metal.power_shift;
    let sharp = (1.0 - 2.0 * edge * 1e3 * 0.3).max(0.3);
    let advance = metal.power_advance * force_share * force_share / spot.hardness.powi(2) * sharp
        / shifted.powf(metal.power);
    advance * 1e-3
}

/// The advance at which `excess(advance, chord)`, which grows with it, is nought; 34 halvings of 0.6 radii leave less than
/// a picometre.
fn chord_advance(radius: f64, excess: impl Fn(f64, f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, radius * 0.6);
    for _ in 0..34 {
        let middle = 0.5 * (low + high);
        let chord = (2.0 * radius * middle - middle * middle).max(0.0).sqrt();
        if excess(middle, chord) > 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;

    const LAWS: [Law; 3] = [Law::Indent, Law::Power, Law::Yielding];

    fn cut(well: &Well, passes: usize) -> Vec<Pass> {
        let mut depth = 0.0;
        (0..passes)
            .map(|_| {
                let spot = Spot {
                    depth,
                    wall: well.pipe.wall,
                    hardness: 1.0,
                };
                let pass = well.pass(spot, 0.0, true);
                depth = pass.depth;
                pass
            })
            .collect()
    }

    #[test]
    fn each_law_deepens_with_every_pass_and_ever_less() {
        for law in LAWS {
            let mut well = well();
            well.metal.law = law;
            // Where the wall yields it gives way faster again: looked at before that.
            let until = (1.0 - YIELDS_BELOW) * well.pipe.wall;
            let depths: Vec<f64> = cut(&well, 400)
                .into_iter()
                .map(|pass| pass.depth)
                .take_while(|depth| *depth < until)
                .collect();
            assert!(depths.len() > 20, "{law:?}: {} passes", depths.len());
            let advances: Vec<f64> = depths.windows(2).map(|d| d[1] - d[0]).collect();
            assert!(advances.iter().all(|a| *a > 0.0), "{law:?}");
            assert!(advances.windows(2).all(|a| a[1] < a[0]), "{law:?}");
        }
    }

    #[test]
    fn a_wall_that_yields_gives_way_faster_at_the_end_than_one_that_does_not() {
        let mut well = well();
        well.metal.elastic_share = 0.0;
        let passes = |well: &Well| {
            let through = well.pipe.wall * 0.95;
            let cuts = cut(well, 2000);
            cuts.iter().position(|pass| pass.depth > through).unwrap()
        };
        well.metal.law = Law::Indent;
        let stiff = passes(&well);
        well.metal.law = Law::Yielding;
        assert!(passes(&well) < stiff);
    }

    #[test]
    fn work_of_all_passes_is_that_of_the_metal_pushed_aside() {
        for law in LAWS {
            let mut well = well();
            well.metal.law = law;
            well.metal.hardening = 0.0;
            well.metal.yielding = 0.0;
            let cuts = cut(&well, 60);
            let per_length: f64 = cuts.iter().map(|pass| pass.force).sum();
            let depth = cuts.last().unwrap().depth;
            let tangent = (well.cutter.edge_angle / 2.0).tan();
            let section = tangent * depth * depth + well.cutter.edge_width * depth;
            let expected = well.metal.work_factor * well.metal.pressure * section;
            assert!((per_length / expected - 1.0).abs() < 1e-9, "{law:?}");
        }
    }

    #[test]
    fn the_wheel_carries_its_radial_force_at_the_depth_it_reaches() {
        let mut well = well();
        well.metal.law = Law::Indent;
        well.metal.hardening = 0.0;
        let spot = Spot {
            depth: 1e-3,
            wall: well.pipe.wall,
            hardness: 1.0,
        };
        let p = well.pass(spot, 0.0, true).depth - spot.depth;
        let chord = (2.0 * well.cutter.radius * p - p * p).sqrt();
        let tangent = (well.cutter.edge_angle / 2.0).tan();
        let width = 2.0 * tangent * well.metal.pile_up * (spot.depth + 2.0 * p / 3.0)
            + well.cutter.edge_width;
        let carried = well.metal.pressure * chord * width;
        assert!((carried / well.cutter.radial_force - 1.0).abs() < 1e-5);
    }

    #[test]
    fn no_pass_goes_deeper_than_the_cutter_reaches() {
        let mut well = well();
        well.cutter.reach = 2e-3;
        let cuts = cut(&well, 500);
        let last = cuts.last().unwrap();
        assert_eq!(last.depth, 2e-3);
        assert_eq!(last.force, 0.0);
    }
}
