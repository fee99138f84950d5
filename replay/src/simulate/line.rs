//! The line as a chain of lumped masses with wave travel, and the tool on its end.
//!
//! Masses are fixed to the material and spaced evenly from the rope socket up; only the top
//! element, which ends at the stuffing box, changes its unstretched length as line is paid in or
//! out, and masses join or leave there. Velocities first, then positions (symplectic Euler).
//! Coulomb friction is applied as an impulse that can at most stop the mass: it sticks exactly,
//! with no creep, until the other forces exceed static friction.
//! Positions and velocities grow down the hole; tension is effective tension, positive in pull.

use super::well::Hole;

/// True properties of line and tool.
#[derive(Debug, Clone, Copy)]
pub struct Wire {
    /// Axial stiffness E A, N.
    pub stiffness: f64,
    /// Mass per metre, kg/m.
    pub mass: f64,
    /// Weight in fluid per metre, N/m.
    pub weight: f64,
    /// Cross-section, m2.
    pub area: f64,
    /// Friction coefficient moving up.
    pub friction_up: f64,
    /// Friction coefficient moving down.
    pub friction_down: f64,
    /// Static over sliding friction.
    pub static_ratio: f64,
    /// Speed over which static friction falls to sliding.
    pub stribeck: f64,
    /// Laminar fluid drag, N per (m/s) per metre.
    pub viscous: f64,
    /// Turbulent fluid drag, N per (m/s)2 per metre.
    pub turbulent: f64,
    /// Mass of the tool with entrained fluid, kg.
    pub tool_mass: f64,
    /// Weight of the tool in fluid, N.
    pub tool_weight: f64,
    /// Sliding friction coefficient of the tool body.
    pub tool_friction: f64,
    /// Static over sliding friction of the tool.
    pub tool_static_ratio: f64,
    /// Fluid drag of the tool, N per (m/s).
    pub tool_viscous: f64,
}

/// What holds the tool besides its own friction, by direction it would move in.
#[derive(Debug, Clone, Copy, Default)]
pub struct Holding {
    /// Largest resisting force against moving up, N.
    pub up: f64,
    /// Largest resisting force against moving down, N.
    pub down: f64,
}

#[derive(Debug, Clone, Copy)]
struct Mass {
    x: f64,
    v: f64,
}

/// The chain. Mass 0 is the tool (rope socket).
#[derive(Debug, Clone)]
pub struct Chain {
    wire: Wire,
    masses: Vec<Mass>,
    /// Unstretched length of a regular element.
    element: f64,
    /// Unstretched length of the top element.
    top: f64,
    /// Relaxation time of material damping, s.
    damping: f64,
    tensions: Vec<f64>,
}

/// Stiffness of a slack element over its stiffness in pull: wire in a pipe buckles at once.
const SLACK_STIFFNESS: f64 = 2e-4;

impl Chain {
    /// A chain in static balance, as it is after slow running in, with `paid_out` metres of
    /// unstretched line below the stuffing box.
    pub fn at_rest(wire: Wire, hole: &Hole, paid_out: f64, element: f64) -> Self {
        let count = ((paid_out / element) - 0.5).floor().max(0.0) as usize;
        let top = paid_out - count as f64 * element;
        let mut chain = Self {
            wire,
            masses: vec![Mass { x: 0.0, v: 0.0 }; count + 1],
            element,
            top,
            damping: 0.1 * element / wave_speed(&wire),
            tensions: vec![0.0; count + 1],
        };
        // Positions from the top down need tension, tension from the bottom up needs positions:
        // three rounds settle to micrometres.
        let mut x: Vec<f64> = (0..=count).map(|k| paid_out - k as f64 * element).collect();
        for _ in 0..4 {
            let mut tension = 0.0;
            let mut strains = vec![0.0; count + 1];
            for k in 0..=count {
                let upper = if k < count { x[k + 1] } else { 0.0 };
                let length = if k < count { element } else { top };
                let place = hole.at(x[k]);
                let lump = chain.lump(k);
                let (weight, contact) = chain.loads(k, lump, tension, &place);
                let mu = if k == 0 {
                    wire.tool_friction
                } else {
                    wire.friction_down
                };
                tension = (tension + weight - mu * contact).max(0.0);
                strains[k] = tension / wire.stiffness + hole.free_strain(0.5 * (x[k] + upper));
                chain.tensions[k] = tension;
                strains[k] *= length;
            }
            let mut depth = 0.0;
            for k in (0..=count).rev() {
                let length = if k < count { element } else { top };
                depth += length + strains[k];
                x[k] = depth;
            }
        }
        for (mass, x) in chain.masses.iter_mut().zip(x) {
            mass.x = x;
        }
        chain
    }

    /// Unstretched length belonging to mass `k`.
    fn lump(&self, k: usize) -> f64 {
        let above = if k + 1 == self.masses.len() {
            self.top
        } else {
            self.element
        };
        // The stuffing box carries the other half of the top element.
        if k == 0 {
            0.5 * above
        } else {
            0.5 * (self.element + above)
        }
    }

    /// Weight along hole and contact force of mass `k`.
    #[inline]
    fn loads(&self, k: usize, lump: f64, tension: f64, place: &super::well::Place) -> (f64, f64) {
        let line = self.wire.weight * lump;
        if k == 0 {
            let weight = self.wire.tool_weight + line;
            (weight * place.cosine, weight * place.sine)
        } else {
            (
                line * place.cosine,
                lump * place.contact(tension, self.wire.weight),
            )
        }
    }

    /// One step: the stuffing box end moves at `v_top` (positive down), which changes the
    /// unstretched length below it by `paid`.
    pub fn step(&mut self, hole: &Hole, dt: f64, v_top: f64, paid: f64, holding: Holding) {
        self.top += paid;
        self.regrid(v_top);
        let count = self.masses.len();
        let wire = self.wire;
        // Tension of the element above each mass.
        for k in 0..count {
            let (upper_x, upper_v, length) = match self.masses.get(k + 1) {
                Some(upper) => (upper.x, upper.v, self.element),
                None => (0.0, v_top, self.top),
            };
            let lower = self.masses[k];
            let free = hole.free_strain(0.5 * (lower.x + upper_x));
            let strain = (lower.x - upper_x) / length - 1.0 - free;
            let rate = (lower.v - upper_v) / length;
            let elastic = wire.stiffness * strain;
            self.tensions[k] = if strain > 0.0 {
                (elastic + wire.stiffness * self.damping * rate).max(0.0)
            } else {
                SLACK_STIFFNESS * elastic
            };
        }
        for k in 0..count {
            let lump = self.lump(k);
            let above = self.tensions[k];
            let below = if k == 0 { 0.0 } else { self.tensions[k - 1] };
            let state = self.masses[k];
            let place = hole.at(state.x);
            let mean = 0.5 * (above + below);
            let (weight, contact) = self.loads(k, lump, mean.max(0.0), &place);
            let v = state.v;
            let (mass, drag) = if k == 0 {
                (wire.tool_mass + wire.mass * lump, wire.tool_viscous)
            } else {
                (
                    wire.mass * lump,
                    lump * (wire.viscous + wire.turbulent * v.abs()),
                )
            };
            // Fluid drag implicitly, so that light masses stay stable.
            let pushed = (v + dt * (weight + below - above) / mass) / (1.0 + dt * drag / mass);
            let down = pushed > 0.0;
            let (mu, ratio, held) = if k == 0 {
                let held = if down { holding.down } else { holding.up };
                (wire.tool_friction, wire.tool_static_ratio, held)
            } else if down {
                (wire.friction_down, wire.static_ratio, 0.0)
            } else {
                (wire.friction_up, wire.static_ratio, 0.0)
            };
            let stick = 1.0 + (ratio - 1.0) * (-v.abs() / wire.stribeck).exp();
            let most = dt * (mu * stick * contact + held) / mass;
            let moved = if pushed.abs() <= most {
                0.0
            } else {
                pushed - most.copysign(pushed)
            };
            self.masses[k].v = moved;
        }
        for mass in &mut self.masses {
            mass.x += dt * mass.v;
        }
    }

    fn regrid(&mut self, v_top: f64) {
        if self.top > 1.6 * self.element {
            let last = self.masses[self.masses.len() - 1];
            let f = self.element / self.top;
            self.masses.push(Mass {
                x: last.x * (1.0 - f),
                v: last.v + f * (v_top - last.v),
            });
            self.tensions.push(self.tensions[self.tensions.len() - 1]);
            self.top -= self.element;
        } else if self.top < 0.45 * self.element && self.masses.len() > 1 {
            self.masses.pop();
            self.tensions.pop();
            self.top += self.element;
        }
    }

    /// Depth of the rope socket, m.
    pub fn tool_x(&self) -> f64 {
        self.masses[0].x
    }

    /// Speed of the tool, positive down, m/s.
    pub fn tool_v(&self) -> f64 {
        self.masses[0].v
    }

    /// Effective tension just below the stuffing box, N.
    pub fn top_tension(&self) -> f64 {
        self.tensions[self.tensions.len() - 1]
    }

    /// Effective tension at the rope socket, N.
    pub fn socket_tension(&self) -> f64 {
        self.tensions[0]
    }

    /// Longest stable step with margin, s.
    pub fn longest_step(&self) -> f64 {
        0.3 * self.element / wave_speed(&self.wire)
    }
}

/// Speed of axial waves, m/s.
pub fn wave_speed(wire: &Wire) -> f64 {
    (wire.stiffness / wire.mass).sqrt()
}

/// Slow motion in one direction: effective tension just below the stuffing box and unstretched
/// length, for the rope socket at `depth` with `held` N on the tool against the motion.
pub fn slow_motion(wire: &Wire, hole: &Hole, depth: f64, up: bool, held: f64) -> (f64, f64) {
    let sign = if up { 1.0 } else { -1.0 };
    let mu = if up {
        wire.friction_up
    } else {
        wire.friction_down
    };
    let place = hole.at(depth);
    let mut tension = (wire.tool_weight * (place.cosine + sign * wire.tool_friction * place.sine)
        + sign * held)
        .max(0.0);
    let steps = (depth / 4.0).ceil().max(1.0);
    let h = depth / steps;
    let mut unstretched = 0.0;
    for k in 0..steps as usize {
        let place = hole.at(depth - (k as f64 + 0.5) * h);
        let slope = |t: f64| wire.weight * place.cosine + sign * mu * place.contact(t, wire.weight);
        let middle = tension + 0.5 * h * slope(tension);
        let strain = middle / wire.stiffness + place.free_strain;
        unstretched += h / (1.0 + strain);
        tension = (tension + h * slope(middle)).max(0.0);
    }
    (tension, unstretched)
}

#[cfg(test)]
#[path = "line_tests.rs"]
mod tests;
