//! The chain with its mass: explicit steps, waves run along it.
//!
//! `m dv/dt = w - T_above + T_below - friction`, with damping between neighbours; friction is dry with a viscous part, taken
//! implicitly so that a point at rest stays there. Stable while a step is shorter than the time a wave takes from point to
//! point (Courant, Friedrichs, Lewy): [`Chain::wave_step`] keeps to 0.42 of it.

use super::chain::{Chain, Held, Resistance};
use crate::other_bench::well::Well;

/// Added mass of fluid that moves with the tool, over 1.
const FLUID_WITH_TOOL: f64 = 1.08;

impl Chain {
    /// A stable step, s.
    pub fn wave_step(&self) -> f64 {
        let slowness = (self.mass / self.segment / self.stiffness).sqrt();
        (0.42 * self.segment * slowness).min(0.005)
    }

    /// One explicit step.
    pub(super) fn step_waves(
        &mut self,
        well: &Well,
        time: f64,
        winch: f64,
        resistance: Resistance,
    ) -> Held {
        self.top_piece += winch * time;
        for i in 0..=self.count {
            let above = if i < self.count {
                self.speed[i + 1]
            } else {
                winch
            };
            let damped = self.damping * (self.speed[i] - above);
            // A line cannot push.
            self.tension[i] = (self.pull(i) + damped).max(0.0);
        }
        let held = self.move_tool(well, time, resistance);
        for i in 1..=self.count {
            let length = self.carries(i);
            let bears = self.point_friction(well, i);
            let force = self.weight * length * self.cos[i] - self.tension[i] + self.tension[i - 1];
            let mass = self.mass * length / self.segment;
            self.move_point(i, time, force, mass, bears, well.wire.viscous * length);
        }
        held
    }

    fn move_tool(&mut self, well: &Well, time: f64, resistance: Resistance) -> Held {
        let force = self.force_on_tool(well);
        let friction = self.tool_friction(well);
        let held = self.held(force, friction, resistance);
        let bears = [
            friction + resistance.cutter_up + resistance.held_up,
            friction + resistance.cutter_down + resistance.held_down,
        ];
        let mass = well.tool.mass * FLUID_WITH_TOOL + self.mass / 2.0;
        self.move_point(0, time, force, mass, bears, well.tool.viscous);
        held
    }

    /// `force` without friction; `bears`: dry friction going up, going down; `viscous` in N s/m.
    fn move_point(
        &mut self,
        point: usize,
        time: f64,
        force: f64,
        mass: f64,
        bears: [f64; 2],
        viscous: f64,
    ) {
        let free = (self.speed[point] + time * force / mass) / (1.0 + time * viscous / mass);
        let dry = if free > 0.0 { bears[1] } else { bears[0] } * time / mass;
        self.speed[point] = if free.abs() <= dry {
            0.0
        } else {
            free - dry * free.signum()
        };
        self.depth[point] += time * self.speed[point];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::{straight, well};

    #[test]
    fn a_pull_at_the_top_reaches_the_tool_as_a_wave() {
        let mut well = straight(0.0, well());
        well.wire.quasi_static = false;
        well.wire.nodes = 40;
        let mut chain = Chain::new(&well, 2000.0, 0.0, well.tool_tension(2000.0, -1.0), -1.0);
        let before = chain.tool_tension();
        let step = chain.wave_step();
        let mut time = 0.0;
        while chain.tool_tension() < before + 20.0 && time < 2.0 {
            chain.step(&well, step, -0.5, Resistance::default());
            time += step;
        }
        // Wave speed of a bar, sqrt(E / rho), with the fluid that moves along.
        let speed = (well.wire.modulus / (well.wire.density * 1.05)).sqrt();
        assert!((time / (2000.0 / speed) - 1.0).abs() < 0.1, "{time} s");
    }

    #[test]
    fn a_held_tool_says_so_and_stays() {
        let well = straight(0.0, well());
        let mut chain = Chain::new(&well, 1000.0, 0.0, well.tool_tension(1000.0, -1.0), -1.0);
        let resistance = Resistance {
            held_up: 1e7,
            ..Resistance::default()
        };
        let step = chain.wave_step();
        let mut held = Held::default();
        for _ in 0..4000 {
            held = chain.step(&well, step, -0.3, resistance);
        }
        assert!(held.up && !held.down);
        assert!((chain.tool() - 1000.0).abs() < 0.1);
    }
}
