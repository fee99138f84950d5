//! The line as a chain: the tool, points at equal distance above it, and the piece up to the packing, which grows and
//! shrinks as line is paid out.
//!
//! Point 0 is the tool; segment `i` joins points `i` and `i + 1`, the last one the top point and the packing. Each point
//! keeps the inclination and bend of the place where it starts: a stroke is short beside the distance between points.
//! What moves the points is in [`super::waves`] and [`super::quasi_static`].

use super::{free_strain, normal_force};
use crate::other_bench::well::{SEALS, Well};

/// Below the packing, where the topmost point stands at first, m: long enough to be paid in by a stroke.
const TOP_PIECE: f64 = 110.0;
/// Added mass of fluid that moves with the line, over 1.
const FLUID_WITH_LINE: f64 = 1.05;
/// A tool slower than this is at rest, m/s.
const AT_REST: f64 = 0.005;

/// Line and tool.
#[derive(Debug, Clone)]
pub struct Chain {
    /// Points besides the tool.
    pub(super) count: usize,
    /// Unstrained length of a segment, m.
    pub(super) segment: f64,
    /// Unstrained length of the piece up to the packing, m.
    pub(super) top_piece: f64,
    /// Depth of each point, m; that of the tool is its rope socket's.
    pub(super) depth: Vec<f64>,
    /// Speed of each point, m/s, down positive.
    pub(super) speed: Vec<f64>,
    /// Tension in each segment, N.
    pub(super) tension: Vec<f64>,
    pub(super) sin: Vec<f64>,
    pub(super) cos: Vec<f64>,
    /// Change of inclination over each point's length, rad.
    pub(super) bend: Vec<f64>,
    /// Change of azimuth, rad.
    pub(super) turn: Vec<f64>,
    /// Strain of each segment without tension.
    pub(super) free: Vec<f64>,
    /// Mass of a point, kg.
    pub(super) mass: f64,
    /// Damping between points, N s/m.
    pub(super) damping: f64,
    /// Stiffness times length, N.
    pub(super) stiffness: f64,
    /// Weight in the fluid, N/m.
    pub(super) weight: f64,
    /// Depths before a step, kept so as not to be made anew each time.
    pub(super) before: Vec<f64>,
    /// Friction each point can bear, N: going up, going down.
    pub(super) bears: Vec<[f64; 2]>,
}

/// What holds the tool besides its own friction, N.
#[derive(Debug, Clone, Copy, Default)]
pub struct Resistance {
    /// Of the cutter, going up.
    pub cutter_up: f64,
    /// Of the cutter, going down.
    pub cutter_down: f64,
    /// Of a place that holds it, going up.
    pub held_up: f64,
    /// Of a place that holds it, going down.
    pub held_down: f64,
}

/// Whether such a place, not friction, is what keeps the tool at rest.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Held {
    /// It would go up.
    pub up: bool,
    /// It would go down.
    pub down: bool,
}

impl Chain {
    /// A chain that slides, or has just slid, in `direction` (1 up, -1 down) at `speed` (m/s, down positive), its tool at
    /// `depth` under `at_tool` (N).
    pub fn new(well: &Well, depth: f64, speed: f64, at_tool: f64, direction: f64) -> Self {
        let survey = &well.hole.survey;
        let count = well.wire.nodes;
        let segment = (depth - TOP_PIECE) / (count as f64 + 0.7);
        let stiffness = well.stiffness();
        let weight = well.wire_weight();
        let mass = well.wire.density * well.wire.area * segment * FLUID_WITH_LINE;
        let mut chain = Self {
            count,
            segment,
            top_piece: 0.0,
            depth: vec![0.0; count + 1],
            speed: vec![speed; count + 1],
            tension: vec![0.0; count + 1],
            sin: Vec::with_capacity(count + 1),
            cos: Vec::with_capacity(count + 1),
            bend: Vec::with_capacity(count + 1),
            turn: Vec::with_capacity(count + 1),
            free: Vec::with_capacity(count + 1),
            mass,
            damping: well.wire.damping * (stiffness / segment * mass).sqrt(),
            stiffness,
            weight,
            before: vec![0.0; count + 1],
            bears: vec![[0.0; 2]; count + 1],
        };
        for i in 0..=count {
            let at = depth - i as f64 * segment;
            let (sin, cos) = (survey.inclination(at).sin(), survey.inclination(at).cos());
            chain.sin.push(sin);
            chain.cos.push(cos);
            let (low, high) = (at + segment / 2.0, at - segment / 2.0);
            chain
                .bend
                .push(survey.inclination(low) - survey.inclination(high));
            chain.turn.push(survey.azimuth(low) - survey.azimuth(high));
            let middle = if i < count { high } else { at / 2.0 };
            chain.free.push(free_strain(well, survey.vertical(middle)));
        }
        chain.slide_into_place(well, depth, at_tool, direction);
        chain
    }

    /// Sets depths and tensions to those of a chain that slides.
    fn slide_into_place(&mut self, well: &Well, depth: f64, at_tool: f64, direction: f64) {
        let friction = if direction > 0.0 {
            well.wire.friction_up
        } else {
            well.wire.friction_down
        };
        self.depth[0] = depth;
        let piece = self.weight * self.segment;
        let mut tension = at_tool + self.weight * self.segment / 2.0 * self.cos[0];
        for i in 0..self.count {
            self.tension[i] = tension;
            self.depth[i + 1] =
                self.depth[i] - self.segment * (1.0 + tension / self.stiffness + self.free[i]);
            let above = i + 1;
            let pressed = normal_force(
                tension,
                self.bend[above],
                self.turn[above],
                piece,
                self.sin[above],
            );
            let drag = friction * pressed * direction;
            tension = (tension + piece * self.cos[above] + drag).max(0.0);
        }
        let top = self.count;
        self.top_piece = self.depth[top] / (1.0 + tension / self.stiffness + self.free[top]);
        self.tension[top] = tension + self.weight * (self.top_piece - self.segment) / 2.0;
        self.top_piece =
            self.depth[top] / (1.0 + self.tension[top] / self.stiffness + self.free[top]);
    }

    /// Depth of the rope socket, m.
    pub fn tool(&self) -> f64 {
        self.depth[0]
    }

    /// Speed of the tool, m/s, down positive.
    pub fn tool_speed(&self) -> f64 {
        self.speed[0]
    }

    /// Tension at the rope socket, N.
    pub fn tool_tension(&self) -> f64 {
        self.tension[0]
    }

    /// Cosine of the inclination at the tool.
    pub fn tool_cos(&self) -> f64 {
        self.cos[0]
    }

    /// Tension below the packing, N.
    pub fn top_tension(&self) -> f64 {
        self.tension[self.count] + self.weight * self.top_piece / 2.0
    }

    /// Moves everything on by `time` (s) while the winch pays out at `winch` (m/s, down positive).
    pub fn step(&mut self, well: &Well, time: f64, winch: f64, resistance: Resistance) -> Held {
        if well.wire.quasi_static {
            self.step_quasi_static(well, time, winch, resistance)
        } else {
            self.step_waves(well, time, winch, resistance)
        }
    }

    /// Length of line whose weight and friction a point above the tool carries, m.
    pub(super) fn carries(&self, point: usize) -> f64 {
        if point < self.count {
            self.segment
        } else {
            0.5 * (self.segment + self.top_piece)
        }
    }

    /// What the line would have to push with, N, by the strain of a segment alone; negative when slack.
    pub(super) fn pull(&self, segment: usize) -> f64 {
        let strain = if segment < self.count {
            (self.depth[segment] - self.depth[segment + 1]) / self.segment
        } else {
            self.depth[segment] / self.top_piece
        };
        self.stiffness * (strain - 1.0 - self.free[segment])
    }

    /// Friction over that in motion: more at rest, falling with speed.
    pub(super) fn at_speed(well: &Well, speed: f64) -> f64 {
        let wire = &well.wire;
        if wire.static_factor <= 1.0 {
            1.0
        } else if speed.abs() < 1e-7 {
            wire.static_factor
        } else if wire.stribeck_speed > 0.0 {
            1.0 + (wire.static_factor - 1.0) * (-speed.abs() / wire.stribeck_speed).exp()
        } else {
            1.0
        }
    }

    /// Weight of tool and of the half segment above it less the line's pull, N, down positive.
    pub(super) fn force_on_tool(&self, well: &Well) -> f64 {
        self.tool_weight(well) - self.tension[0]
    }

    /// Weight of tool and of the half segment above it along the hole, N.
    pub(super) fn tool_weight(&self, well: &Well) -> f64 {
        well.tool.weight * self.cos[0] + self.weight * self.segment / 2.0 * self.cos[0]
    }

    /// Friction of the tool with the wheels in, N.
    pub(super) fn tool_friction(&self, well: &Well) -> f64 {
        let sliding = well.tool.friction * (well.tool.weight * self.sin[0]).abs() + SEALS;
        sliding * Self::at_speed(well, self.speed[0])
    }

    /// Friction a point above the tool can bear, N: going up, going down.
    pub(super) fn point_friction(&self, well: &Well, point: usize) -> [f64; 2] {
        let tension = 0.5 * (self.tension[point] + self.tension[point - 1]);
        let weight = self.weight * self.carries(point);
        let pressed = normal_force(
            tension,
            self.bend[point],
            self.turn[point],
            weight,
            self.sin[point],
        );
        let pressed = pressed * Self::at_speed(well, self.speed[point]);
        [
            well.wire.friction_up * pressed,
            well.wire.friction_down * pressed,
        ]
    }

    /// Whether a place that holds the tool is what keeps it at rest: `force` on it, down positive, well beyond `friction`.
    pub(super) fn held(&self, force: f64, friction: f64, resistance: Resistance) -> Held {
        let at_rest = self.speed[0].abs() < AT_REST;
        let up = (friction + resistance.cutter_up) * 1.05 + 10.0;
        let down = (friction + resistance.cutter_down) * 1.05 + 10.0;
        Held {
            up: at_rest && resistance.held_up > 0.0 && -force > up,
            down: at_rest && resistance.held_down > 0.0 && force > down,
        }
    }
}
