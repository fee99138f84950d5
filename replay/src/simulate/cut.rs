//! The pipe on a grid of centimetres and the wheels that roll over it.
//!
//! Per pass, one wheel under radial load N deepens a groove from d0 by p, where
//! `2 s tan(b) sqrt(2 R p) (d0 + 2 p / 3) = N` (s contact pressure, R wheel radius, 2 b edge
//! angle), and takes `s tan(b) (d1^2 - d0^2)` of axial force: energy and depth agree exactly.
//! Ours, derived from the uniform contact pressure of a wedge; rigid-plastic half space. Real grooves follow no
//! one law: a scenario may let the contact pressure grow or fall with depth (`hardening`) and fall in the second half
//! of the wall (`thin_wall`), both invented in form and size.

use super::rng::{Rng, normal_cdf};
use super::scenario::{Pipe as Spec, Scale};

/// Length of a cell, m.
pub const CELL: f64 = 0.01;

/// Groove depth after one pass, m.
pub fn pass(d0: f64, load: f64, pressure: f64, radius: f64, tangent: f64) -> f64 {
    if load <= 0.0 {
        return d0;
    }
    // With y = sqrt(p): y (d0 + 2 y^2 / 3) = q, one real root, convex: Newton from above.
    let q = load / (2.0 * pressure * tangent * (2.0 * radius).sqrt());
    let mut y = (1.5 * q).cbrt();
    if d0 > 0.0 {
        y = y.min(q / d0);
    }
    for _ in 0..12 {
        let step = (y * (d0 + 2.0 / 3.0 * y * y) - q) / (d0 + 2.0 * y * y);
        y -= step;
        if step.abs() < 1e-12 * y {
            break;
        }
    }
    d0 + y * y
}

/// One wheel.
#[derive(Debug, Clone)]
pub struct Wheel {
    /// Below the middle of the wheels, m.
    pub offset: f64,
    /// Radial force over nominal.
    pub factor: f64,
    /// Phase of its run-out, rad.
    pub phase: f64,
    /// Growth of contact pressure with distance rolled, 1/m.
    pub wear: f64,
    rolled: f64,
    cell: Option<i64>,
    force: f64,
    plastic: bool,
}

impl Wheel {
    /// A new wheel.
    pub fn new(offset: f64, factor: f64, phase: f64, wear: f64) -> Self {
        Self {
            offset,
            factor,
            phase,
            wear,
            rolled: 0.0,
            cell: None,
            force: 0.0,
            plastic: false,
        }
    }
}

/// True properties of the cutter.
#[derive(Debug, Clone)]
pub struct Cutter {
    /// Wheels in one groove.
    pub wheels: Vec<Wheel>,
    /// Radial force, N.
    pub load: f64,
    /// Contact pressure, Pa.
    pub pressure: f64,
    /// Wheel radius, m.
    pub radius: f64,
    /// Tangent of half the edge angle.
    pub tangent: f64,
    /// Reach below the inner surface, m.
    pub reach: f64,
    /// Axial force over that of the plastic work alone.
    pub energy: f64,
    /// Radial force down over up.
    pub bite_down: f64,
    /// Relative change of radial force per metre of groove depth.
    pub slope: f64,
    /// Ripple of radial force once a turn.
    pub run_out: f64,
    /// Drag of reaction rollers over radial force.
    pub rolling: f64,
    /// Whether the wheels are extended.
    pub out: bool,
    going_down: Option<bool>,
    /// When the first wheel is lost, s.
    pub lost_at: f64,
}

/// The pipe around the interval.
#[derive(Debug, Clone)]
pub struct Pipe {
    /// Depth of cell 0.
    pub top: f64,
    /// Groove depth, m.
    pub groove: Vec<f64>,
    /// Local wall, m.
    pub wall: Vec<f64>,
    /// Groove depth at which the back wall gives way, m.
    pub breaks_at: Vec<f64>,
    /// Local contact pressure over mean.
    pub hardness: Vec<f64>,
    /// Split, by cell: time of break-through, s; infinite while whole.
    pub through_s: Vec<f64>,
    /// Whether a cell lies in a coupling.
    pub coupling: Vec<bool>,
    /// Drag of scale left, N.
    pub scale: Vec<f64>,
    scale_wear: Vec<f64>,
    bump: Vec<f64>,
    bite: f64,
    hardening: f64,
    thin_wall: f64,
    /// Coupling centres, m.
    pub couplings: Vec<f64>,
}

impl Pipe {
    /// Draws a pipe from `top` to `bottom`.
    pub fn draw(spec: &Spec, top: f64, bottom: f64, rng: &mut Rng) -> Self {
        let count = ((bottom - top) / CELL).ceil() as usize;
        let nominal = spec.wall.0;
        let joint = spec.joint_length.0;
        let coupling_wall = 0.5 * (spec.coupling_od.0 - spec.od.0) + nominal;
        let first = ((top - spec.coupling_at.0) / joint).floor();
        let joints = ((bottom - top) / joint).ceil() as usize + 2;
        let means: Vec<f64> = (0..joints)
            .map(|_| 1.0 + spec.wall_mean + spec.wall_joint_sd * rng.normal())
            .collect();
        let local = rng.correlated(count, CELL, 2.5);
        let hard = rng.correlated(count, CELL, spec.hardness_length.0);
        let back = rng.correlated(count, CELL, spec.break_length.0);
        let mut pipe = Self {
            top,
            groove: vec![0.0; count],
            wall: Vec::with_capacity(count),
            breaks_at: Vec::with_capacity(count),
            hardness: Vec::with_capacity(count),
            through_s: vec![f64::INFINITY; count],
            coupling: Vec::with_capacity(count),
            scale: vec![0.0; count],
            scale_wear: vec![0.0; count],
            bump: vec![0.0; count],
            bite: spec.coupling_bite,
            hardening: spec.hardening,
            thin_wall: spec.thin_wall,
            couplings: Vec::new(),
        };
        for k in 0..count {
            let x = top + (k as f64 + 0.5) * CELL;
            let place = (x - spec.coupling_at.0) / joint - first;
            let centre = spec.coupling_at.0 + (first + place.round()) * joint;
            let off = (x - centre).abs();
            let in_coupling = off <= 0.5 * spec.coupling_length.0;
            let relative = (means[(place.floor().max(0.0) as usize).min(joints - 1)]
                + spec.wall_local_sd * local[k])
                .max(1.0 - spec.wall_tolerance);
            let wall = if in_coupling {
                coupling_wall
            } else {
                nominal * relative
            };
            let fraction = spec.break_low + (1.0 - spec.break_low) * normal_cdf(back[k]);
            let mut hardness = (spec.hardness_sd * hard[k]).exp();
            for patch in &spec.patch {
                if x >= patch.top.0 && x < patch.bottom.0 {
                    hardness *= patch.factor;
                }
            }
            for Scale {
                top,
                bottom,
                drag,
                wear,
            } in &spec.scale
            {
                if x >= top.0 && x < bottom.0 {
                    pipe.scale[k] = drag.0 * (1.0 + 0.3 * local[k]).max(0.1);
                    pipe.scale_wear[k] = *wear;
                }
            }
            // The gap between the pin ends: a wheel drops in and has to climb out.
            if (off - 0.025).abs() <= 0.012 {
                pipe.bump[k] = spec.coupling_bump.0;
            }
            pipe.wall.push(wall);
            pipe.breaks_at.push(fraction * wall);
            pipe.hardness.push(hardness);
            pipe.coupling.push(in_coupling);
        }
        let mut centre = spec.coupling_at.0 + first * joint;
        while centre < bottom {
            if centre > top {
                pipe.couplings.push(centre);
            }
            centre += joint;
        }
        pipe
    }

    /// Contact pressure of a cell at its present depth over that of the tubing: its hardness, what work has
    /// added to it, and what is lost once the rest of the wall yields as a whole.
    fn resists(&self, k: usize) -> f64 {
        let part = self.groove[k] / self.wall[k];
        let worked = (part.max(0.05) / 0.25).powf(self.hardening);
        let thin = (2.0 * part - 1.0).clamp(0.0, 1.0);
        self.hardness[k] * worked * (1.0 - self.thin_wall * thin * thin)
    }

    /// The same pipe at the start of another run: what is split was split before it.
    #[must_use]
    pub fn at_rest(mut self) -> Self {
        for through in self.through_s.iter_mut().filter(|t| t.is_finite()) {
            *through = 0.0;
        }
        self
    }

    /// Cell that holds `x`, if the pipe was drawn there.
    #[inline]
    pub fn cell(&self, x: f64) -> Option<usize> {
        let k = ((x - self.top) / CELL).floor();
        (k >= 0.0 && (k as usize) < self.groove.len()).then_some(k as usize)
    }
}

/// Forces on the tool from cutting and the like, N.
#[derive(Debug, Clone, Copy, Default)]
pub struct Drag {
    /// Plastic work per metre.
    pub cutting: f64,
    /// Everything else that goes with wheels and pipe: rollers, bumps, scale.
    pub other: f64,
    /// A wheel deforms metal.
    pub plastic: bool,
}

impl Cutter {
    /// A retracted cutter.
    #[allow(clippy::missing_const_for_fn)]
    pub fn new(
        wheels: Vec<Wheel>,
        load: f64,
        pressure: f64,
        radius: f64,
        tangent: f64,
        reach: f64,
    ) -> Self {
        Self {
            wheels,
            load,
            pressure,
            radius,
            tangent,
            reach,
            energy: 1.0,
            bite_down: 1.0,
            slope: 0.0,
            run_out: 0.0,
            rolling: 0.0,
            out: false,
            going_down: None,
            lost_at: f64::INFINITY,
        }
    }

    /// Extends or retracts the wheels.
    pub fn set_out(&mut self, out: bool) {
        self.out = out;
        for wheel in &mut self.wheels {
            wheel.cell = None;
            wheel.force = 0.0;
            wheel.plastic = false;
        }
    }

    /// The middle of the wheels is now at `x` after moving `down` or up.
    pub fn roll(&mut self, pipe: &mut Pipe, x: f64, down: bool, t: f64) {
        if self.going_down != Some(down) {
            self.going_down = Some(down);
            for wheel in &mut self.wheels {
                wheel.force = 0.0;
                wheel.plastic = false;
            }
        }
        if t >= self.lost_at && !self.wheels.is_empty() {
            self.wheels.remove(0);
            self.lost_at = f64::INFINITY;
        }
        for wheel in &mut self.wheels {
            let at = x + wheel.offset;
            let cell = ((at - pipe.top) / CELL).floor() as i64;
            let Some(before) = wheel.cell.replace(cell) else {
                continue;
            };
            if cell == before {
                continue;
            }
            let range = if cell > before {
                before + 1..=cell
            } else {
                cell..=before - 1
            };
            for k in range {
                let Some(k) = usize::try_from(k).ok().filter(|k| *k < pipe.groove.len()) else {
                    wheel.force = 0.0;
                    continue;
                };
                // Scale is worn by whatever passes.
                pipe.scale[k] *= 1.0 - pipe.scale_wear[k] / 3.0;
                wheel.force = 0.0;
                wheel.plastic = false;
                if !self.out {
                    continue;
                }
                wheel.rolled += CELL;
                if pipe.through_s[k].is_finite() {
                    continue;
                }
                let d0 = pipe.groove[k];
                let bite = if pipe.coupling[k] { pipe.bite } else { 1.0 };
                let way = if down { self.bite_down } else { 1.0 };
                let ripple = 1.0 + self.run_out * (wheel.rolled / self.radius + wheel.phase).sin();
                let load = self.load
                    * wheel.factor
                    * bite
                    * way
                    * ripple
                    * (1.0 + self.slope * d0).max(0.1);
                let pressure = self.pressure * pipe.resists(k) * (1.0 + wheel.wear * wheel.rolled);
                let d1 =
                    pass(d0, load, pressure, self.radius, self.tangent).min(self.reach.max(d0));
                if d1 - d0 < 1e-9 {
                    continue;
                }
                wheel.plastic = true;
                wheel.force = self.energy * pressure * self.tangent * (d1 * d1 - d0 * d0);
                pipe.groove[k] = d1;
                if d1 >= pipe.breaks_at[k] {
                    pipe.groove[k] = pipe.wall[k];
                    pipe.through_s[k] = t;
                }
            }
        }
    }

    /// Forces against moving on in the direction of the last motion, or against turning round.
    pub fn drag(&self, pipe: &Pipe, x: f64, down: bool) -> Drag {
        let mut drag = Drag::default();
        let same = self.going_down == Some(down);
        for wheel in &self.wheels {
            if self.out {
                if same {
                    drag.cutting += wheel.force;
                    drag.plastic |= wheel.plastic;
                }
                let way = if down { self.bite_down } else { 1.0 };
                drag.other += self.rolling * self.load * wheel.factor * way;
            }
            if let Some(k) = pipe.cell(x + wheel.offset) {
                // A retracted wheel hardly feels the gap.
                drag.other += pipe.bump[k] * if self.out { 1.0 } else { 0.15 };
                drag.other += pipe.scale[k] / self.wheels.len() as f64;
            }
        }
        drag
    }
}

#[cfg(test)]
#[path = "cut_tests.rs"]
mod tests;
