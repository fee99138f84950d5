//! The line below the wellhead as a string without stiffness that slides as a whole: tension and stretch.
//!
//! From the rope socket upwards, step by step: `dT = w dz cos(i) ± mu |n|` with `n² = (T di - w dz sin(i))² + (T sin(i) da)²`;
//! `T` tension, `w` weight in the fluid per length, `i` inclination, `a` azimuth, `+` going up. Textbook soft string; on a
//! bend without weight it is the capstan equation `T = T0 exp(mu angle)` (Euler, Eytelwein), which the tests hold it to.
//! Strain: `T / EA`, expansion with temperature, and shortening by pressure, `(1 - 2 nu) p / E`.
//!
//! Used for the state a run starts from, for the way in from surface and for what the crew reckons with. In motion the line
//! is a chain of points ([`chain`]), with its mass ([`waves`]) or without ([`quasi_static`]). Limits: no bending stiffness,
//! no pressure but that at rest, fluid of one density.

pub mod chain;
pub mod quasi_static;
pub mod waves;

use super::well::{GRAVITY, Well};

/// Thermal expansion of the line, 1/K.
const EXPANSION: f64 = 1.17e-5;
/// Poisson's ratio of the line.
const POISSON: f64 = 0.29;
/// Length of a step along the hole, m.
const STEP: f64 = 20.0;

/// Strain of the line without tension at a true vertical depth: warm and under pressure.
pub fn free_strain(well: &Well, vertical: f64) -> f64 {
    let hole = &well.hole;
    let pressure = hole.wellhead_pressure + hole.fluid_density * GRAVITY * vertical;
    EXPANSION * hole.temperature_gradient * vertical
        - (1.0 - 2.0 * POISSON) * pressure / well.wire.modulus
}

/// Force with which a piece of line lies on the pipe, N: `bend` and `turn` are what inclination and azimuth change over it
/// (rad), `weight` its weight (N), `sin` that of its inclination.
pub fn normal_force(tension: f64, bend: f64, turn: f64, weight: f64, sin: f64) -> f64 {
    ((tension * bend - weight * sin).powi(2) + (tension * sin * turn).powi(2)).sqrt()
}

/// A line that slides as a whole.
#[derive(Debug, Clone, Copy)]
pub struct Sliding {
    /// Tension below the packing, N.
    pub tension: f64,
    /// Length it would have without strain, m.
    pub unstrained: f64,
}

/// The line from surface to a rope socket at `depth` under `at_tool` (N); `direction` 1 going up, -1 going down.
pub fn sliding(well: &Well, depth: f64, direction: f64, at_tool: f64) -> Sliding {
    let survey = &well.hole.survey;
    let steps = ((depth / STEP).ceil() as usize).max(4);
    let step = depth / steps as f64;
    let friction = if direction > 0.0 {
        well.wire.friction_up
    } else {
        well.wire.friction_down
    };
    let weight = well.wire_weight();
    let mut vertical = survey.vertical(depth);
    let (mut tension, mut unstrained) = (at_tool, 0.0);
    for i in 0..steps {
        let low = depth - i as f64 * step;
        let inclination = survey.inclination(low - step / 2.0);
        let bend = survey.inclination(low) - survey.inclination(low - step);
        let turn = survey.azimuth(low) - survey.azimuth(low - step);
        let pressed = normal_force(tension, bend, turn, weight * step, inclination.sin());
        let drag = direction * friction * pressed;
        let above = (tension + weight * step * inclination.cos() + drag).max(0.0);
        vertical -= step * inclination.cos() / 2.0;
        let stretched = 1.0 + 0.5 * (tension + above) / well.stiffness();
        unstrained += step / (stretched + free_strain(well, vertical));
        vertical -= step * inclination.cos() / 2.0;
        tension = above;
    }
    Sliding {
        tension,
        unstrained,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::{straight, well};
    use crate::other_bench::survey::Survey;

    #[test]
    fn a_straight_inclined_line_has_its_closed_form() {
        let well = straight(40.0, well());
        let (sin, cos) = 40.0_f64.to_radians().sin_cos();
        for (direction, friction) in [
            (1.0, well.wire.friction_up),
            (-1.0, well.wire.friction_down),
        ] {
            let slid = sliding(&well, 1500.0, direction, 900.0);
            let expected = 900.0 + well.wire_weight() * 1500.0 * (cos + direction * friction * sin);
            assert!((slid.tension - expected).abs() < 1e-6);
        }
    }

    #[test]
    fn a_bend_without_weight_holds_as_a_rope_round_a_drum() {
        // T = T0 exp(mu angle): Euler 1762, Eytelwein 1808, any textbook of statics.
        let mut well = well();
        well.hole.survey = Survey {
            depth: vec![0.0, 400.0, 1400.0, 1600.0],
            inclination: vec![0.0, 0.0, 1.0, 1.0],
            azimuth: vec![0.0; 4],
        };
        well.wire.density = well.hole.fluid_density;
        let slid = sliding(&well, 1500.0, 1.0, 1000.0);
        let expected = 1000.0 * well.wire.friction_up.exp();
        // Steps of 20 m take each bit of angle at the tension below it: 1 + x for exp(x).
        assert!((slid.tension / expected - 1.0).abs() < 2e-3);
    }

    #[test]
    fn a_loaded_line_is_longer_by_hookes_law() {
        let mut well = straight(0.0, well());
        well.wire.density = well.hole.fluid_density;
        let length = |load| sliding(&well, 1000.0, 1.0, load).unstrained;
        let stretch = length(0.0) - length(2000.0);
        let expected = 2000.0 * 1000.0 / well.stiffness();
        assert!((stretch / expected - 1.0).abs() < 0.01);
    }
}
