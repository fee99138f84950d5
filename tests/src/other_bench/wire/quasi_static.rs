//! The chain without its mass: after every step all points are in equilibrium, or at rest under the friction they can bear.
//!
//! Solved by successive over-relaxation from the surface down (Young 1954): each point in turn goes where its forces balance,
//! or stays where it was when friction holds it there. A little viscous drag is added to each point, which gives speeds a
//! definite size where dry friction alone would not. Limits: ends after 220 sweeps whether or not it has settled to a
//! segment's stretch under 0.15 N; a slack line has a thousandth of its stiffness.

use super::chain::{Chain, Held, Resistance};
use crate::other_bench::well::Well;

/// Time from one equilibrium to the next, s.
pub const STEP: f64 = 0.025;
/// Sweeps at most.
const SWEEPS_MOST: usize = 220;
/// Sweeps that relax further than to balance; the last ones do not, so as to calm what swings.
const SWEEPS_OVER: usize = 200;
const OVER: f64 = 1.75;
/// Settled when no point moved by more than a segment's stretch under this force, N.
const SETTLED: f64 = 0.15;
/// Added viscous drag of the tool and of each point, N s/m.
const CALM_TOOL: f64 = 40.0;
const CALM_POINT: f64 = 3.0;
/// Stiffness left to a slack segment.
const SLACK: f64 = 1e-3;

impl Chain {
    /// One step from equilibrium to equilibrium.
    pub(super) fn step_quasi_static(
        &mut self,
        well: &Well,
        time: f64,
        winch: f64,
        resistance: Resistance,
    ) -> Held {
        self.top_piece += winch * time;
        self.before.copy_from_slice(&self.depth);
        self.take_up_tension();
        let friction = self.tool_friction(well);
        self.bears[0] = [
            friction + resistance.cutter_up + resistance.held_up,
            friction + resistance.cutter_down + resistance.held_down,
        ];
        for i in 1..=self.count {
            self.bears[i] = self.point_friction(well, i);
        }
        // First guess: everything goes on as before.
        for i in 0..=self.count {
            self.depth[i] = self.before[i] + self.speed[i] * time;
        }
        for sweep in 0..SWEEPS_MOST {
            let over = if sweep < SWEEPS_OVER { OVER } else { 1.0 };
            if self.sweep(well, time, over) < SETTLED {
                break;
            }
        }
        for i in 0..=self.count {
            self.speed[i] = (self.depth[i] - self.before[i]) / time;
            if self.speed[i].abs() < 2e-5 {
                self.speed[i] = 0.0;
            }
        }
        self.take_up_tension();
        self.held(self.force_on_tool(well), friction, resistance)
    }

    fn take_up_tension(&mut self) {
        for i in 0..=self.count {
            self.tension[i] = self.pull(i).max(0.0);
        }
    }

    /// Relaxes every point once, from the surface down; returns the greatest way any went, as force on a segment (N).
    fn sweep(&mut self, well: &Well, time: f64, over: f64) -> f64 {
        let spring = self.stiffness / self.segment;
        let mut furthest = 0.0_f64;
        for i in (0..=self.count).rev() {
            let spring_above = if i < self.count {
                spring
            } else {
                self.stiffness / self.top_piece
            };
            let (above, spring_above) = taut(self.pull(i), spring_above);
            let (below, spring_below) = if i > 0 {
                taut(self.pull(i - 1), spring)
            } else {
                taut(0.0, 0.0)
            };
            let (weight, viscous) = if i == 0 {
                (self.tool_weight(well), well.tool.viscous + CALM_TOOL)
            } else {
                let length = self.carries(i);
                (
                    self.weight * length * self.cos[i],
                    well.wire.viscous * length + CALM_POINT,
                )
            };
            let springs = spring_above + spring_below;
            let (now, start) = (self.depth[i], self.before[i]);
            // Force on it if it were still where it started.
            let force = weight - above + below + springs * (now - start);
            let bears = self.bears[i][usize::from(force > 0.0)];
            let balanced = if force.abs() <= bears {
                start
            } else {
                start + (force - bears * force.signum()) / (springs + viscous / time)
            };
            let next = now + over * (balanced - now);
            furthest = furthest.max((next - now).abs() * spring);
            self.depth[i] = next;
        }
        furthest
    }
}

/// Tension and stiffness of a segment; a slack one carries nothing.
fn taut(pull: f64, spring: f64) -> (f64, f64) {
    if pull <= 0.0 {
        (0.0, spring * SLACK)
    } else {
        (pull, spring)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::{straight, well};

    #[test]
    fn a_line_that_slides_up_a_straight_hole_has_its_closed_form() {
        let mut well = straight(35.0, well());
        well.wire.quasi_static = true;
        well.wire.viscous = 0.0;
        well.wire.static_factor = 1.0;
        well.tool.viscous = 0.0;
        let depth = 1200.0;
        let mut chain = Chain::new(&well, depth, 0.0, well.tool_tension(depth, -1.0), -1.0);
        let (sin, cos) = 35.0_f64.to_radians().sin_cos();
        for (winch, direction, friction) in [
            (-0.2, 1.0, well.wire.friction_up),
            (0.2, -1.0, well.wire.friction_down),
        ] {
            for _ in 0..1200 {
                chain.step(&well, STEP, winch, Resistance::default());
            }
            assert!((chain.tool_speed() - winch).abs() < 0.02);
            let line = well.wire_weight() * depth * (cos + direction * friction * sin);
            let expected = well.tool_tension(depth, direction) + line;
            let off = chain.top_tension() - expected;
            // The tool moved by 6 m; the added drag is 40 + 3 per point, at 0.2 m/s.
            let calm = 0.2 * (CALM_TOOL + CALM_POINT * well.wire.nodes as f64);
            assert!(off.abs() < calm + 0.01 * expected, "{direction}: {off} N");
        }
    }
}
