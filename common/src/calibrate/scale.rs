//! The arithmetic of calibration: instrument units -> newtons of line tension, metres of line.
//!
//! *Source*: data-sheet form for the warmth of a load cell; its place in the path of the line:
//! [`crate::model::load_path`].

use crate::job::{DepthChannel, LoadChannel, Mount, TemperatureUnit};
use crate::model::load_path::tension_per_force;

/// Line tension over cell force, for where the cell sits. A checked job has no angle at which there is none.
fn line_per_cell_force(mount: Mount) -> f64 {
    match mount {
        Mount::Deadline => 1.0,
        Mount::Sheave { angle } => tension_per_force(angle.si()).unwrap_or(f64::NAN),
    }
}

/// Line tension from a raw load reading: `(raw - tare - z dt) / (1 + s dt) * newtons_per_unit`, with `dt` the
/// temperature of the cell above that at which tare and span hold, K, `z` its effect on the empty cell, raw units
/// per kelvin, and `s` its effect on the span, per kelvin. Both come from the cell's data sheet; without them
/// `dt` plays no part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadScale {
    /// Raw reading at no load.
    pub tare: f64,
    /// N of line tension per raw unit, geometry included.
    pub newtons_per_unit: f64,
    /// Effect of temperature, if the job gives one.
    pub warmth: Option<Warmth>,
}

/// Effect of temperature on a load cell, and how warm it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    zero_per_kelvin: f64,
    span_per_kelvin: f64,
    reference_c: f64,
    unit: TemperatureUnit,
    /// K above the reference.
    above_k: f64,
}

impl LoadScale {
    /// From `[load]`.
    pub fn new(load: &LoadChannel) -> Self {
        let warmth = load.temperature.map(|effect| Warmth {
            zero_per_kelvin: effect.zero_per_kelvin.si() / load.span.si(),
            span_per_kelvin: effect.span_per_kelvin,
            reference_c: effect.reference_c,
            unit: effect.unit,
            above_k: effect.constant_c.map_or(0.0, |c| c - effect.reference_c),
        });
        Self {
            tare: load.tare,
            newtons_per_unit: load.span.si() * line_per_cell_force(load.mount),
            warmth,
        }
    }

    /// The cell is this warm, in the unit in which it says so. `false`: no load cell can be; the temperature
    /// before stays in use.
    #[inline]
    pub fn warmed(&mut self, temperature: f64) -> bool {
        let Some(warmth) = &mut self.warmth else {
            return true;
        };
        match warmth.unit.celsius(temperature) {
            Some(celsius) => warmth.above_k = celsius - warmth.reference_c,
            None => return false,
        }
        true
    }

    /// N of line tension.
    #[inline]
    pub fn apply(&self, raw: f64) -> f64 {
        match &self.warmth {
            None => (raw - self.tare) * self.newtons_per_unit,
            Some(w) => {
                let at_reference = (raw - self.tare - w.zero_per_kelvin * w.above_k)
                    / (1.0 + w.span_per_kelvin * w.above_k);
                at_reference * self.newtons_per_unit
            }
        }
    }
}

/// Line paid out from a raw depth reading: `zero + raw * metres_per_unit`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DepthScale {
    /// m of line per raw unit, negative when the raw value falls as line goes in.
    pub metres_per_unit: f64,
    /// m of line paid out at raw zero.
    pub zero: f64,
}

impl DepthScale {
    /// From `[depth]`.
    pub fn new(depth: &DepthChannel) -> Self {
        Self {
            metres_per_unit: depth.metres_per_unit.si() * depth.direction,
            zero: depth.zero.si(),
        }
    }

    /// m of line paid out.
    #[inline]
    pub fn apply(&self, raw: f64) -> f64 {
        self.zero + raw * self.metres_per_unit
    }

    /// The same scale with `zero` moved so that `raw` reads `line_m`: the crew set the counter.
    pub fn zeroed(self, raw: f64, line_m: f64) -> Self {
        Self {
            zero: line_m - raw * self.metres_per_unit,
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Radians;

    #[test]
    fn a_cell_under_a_sheave_of_120_degrees_shows_the_line_and_one_in_the_deadline_too() {
        let angle = Radians(f64::to_radians(120.0));
        assert!((line_per_cell_force(Mount::Sheave { angle }) - 1.0).abs() < 1e-12);
        assert_eq!(line_per_cell_force(Mount::Deadline), 1.0);
    }

    #[test]
    fn tare_is_taken_off_before_the_span() {
        let scale = LoadScale {
            tare: 100.0,
            newtons_per_unit: 4.0,
            warmth: None,
        };
        assert_eq!(scale.apply(350.0), 1000.0);
    }

    // By hand: a cell that shows 2 N/K empty and 0.1 %/K more of its load, on a sheave of 120 degrees (line
    // tension is the force on the cell), 15 K above the reference, under 4000 N: 4000 x 1.015 + 30 = 4090 N.
    #[test]
    fn warmth_of_the_cell_is_taken_out() {
        let mut scale = LoadScale {
            tare: 50.0,
            newtons_per_unit: 4.0,
            warmth: Some(Warmth {
                zero_per_kelvin: 2.0 / 4.0,
                span_per_kelvin: 0.001,
                reference_c: 20.0,
                unit: TemperatureUnit::Celsius,
                above_k: 0.0,
            }),
        };
        assert_eq!(scale.apply(50.0 + 1000.0), 4000.0, "at the reference");
        assert!(scale.warmed(35.0));
        assert!((scale.apply(50.0 + 4090.0 / 4.0) - 4000.0).abs() < 1e-9);
        assert!(!scale.warmed(900.0), "no cell is that hot");
        assert!((scale.apply(50.0 + 4090.0 / 4.0) - 4000.0).abs() < 1e-9);
        if let Some(warmth) = &mut scale.warmth {
            warmth.unit = TemperatureUnit::Fahrenheit;
        }
        assert!(scale.warmed(95.0));
        assert!((scale.apply(50.0 + 4090.0 / 4.0) - 4000.0).abs() < 1e-9);
    }

    #[test]
    fn zeroing_keeps_the_scale_and_moves_the_zero() {
        let scale = DepthScale {
            metres_per_unit: -0.001,
            zero: 5.0,
        };
        let moved = scale.zeroed(2000.0, 1234.5);
        assert!((moved.apply(2000.0) - 1234.5).abs() < 1e-9);
        assert!((moved.apply(1000.0) - 1235.5).abs() < 1e-9);
    }
}
