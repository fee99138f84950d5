//! What kind of quantity a key holds, which units it may have, and how a value is shown.

use super::unit::{GALLON, POUND_PER_GALLON};
use crate::units::{
    KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH, NEWTONS_PER_LBF, PASCALS_PER_PSI,
};
use Dimension as D;

/// What kind of quantity a key holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// m
    Length,
    /// N
    Force,
    /// kg
    Mass,
    /// kg/m3
    Density,
    /// Pa
    Pressure,
    /// rad
    Angle,
    /// m/s
    Speed,
    /// s
    Time,
    /// m3
    Volume,
    /// K/m
    TemperatureGradient,
    /// 1/K
    Expansion,
    /// 1/s
    Frequency,
}

impl Dimension {
    /// Every dimension, for tests and for naming what a wrong unit measures.
    pub const ALL: [Dimension; 12] = [
        D::Length,
        D::Force,
        D::Mass,
        D::Density,
        D::Pressure,
        D::Angle,
        D::Speed,
        D::Time,
        D::Volume,
        D::TemperatureGradient,
        D::Expansion,
        D::Frequency,
    ];

    /// A plain word for messages.
    pub fn name(self) -> &'static str {
        match self {
            D::Length => "length",
            D::Force => "force",
            D::Mass => "mass",
            D::Density => "density",
            D::Pressure => "pressure",
            D::Angle => "angle",
            D::Speed => "speed",
            D::Time => "time",
            D::Volume => "volume",
            D::TemperatureGradient => "temperature gradient",
            D::Expansion => "thermal expansion",
            D::Frequency => "rate",
        }
    }

    /// The usual units, for messages; every one of them is accepted.
    pub fn units(self) -> &'static [&'static str] {
        match self {
            D::Length => &["m", "mm", "ft", "in"],
            D::Force => &["N", "kN", "lbf", "kgf"],
            D::Mass => &["kg", "lb"],
            D::Density => &["kg/m3", "g/cm3", "sg", "lb/gal", "lb/ft3"],
            D::Pressure => &["bar", "MPa", "GPa", "psi", "ksi"],
            D::Angle => &["deg", "rad"],
            D::Speed => &["m/s", "m/min", "ft/s", "ft/min"],
            D::Time => &["s", "ms", "min", "h"],
            D::Volume => &["L", "m3", "cm3", "gal", "in3"],
            D::TemperatureGradient => &["K/m", "degC/100m", "degF/100ft"],
            D::Expansion => &["1/K", "1/degF"],
            D::Frequency => &["Hz", "1/s"],
        }
    }

    /// Powers of (m, kg, s, K, rad).
    pub(super) fn powers(self) -> [i32; 5] {
        match self {
            D::Length => [1, 0, 0, 0, 0],
            D::Force => [1, 1, -2, 0, 0],
            D::Mass => [0, 1, 0, 0, 0],
            D::Density => [-3, 1, 0, 0, 0],
            D::Pressure => [-1, 1, -2, 0, 0],
            D::Angle => [0, 0, 0, 0, 1],
            D::Speed => [1, 0, -1, 0, 0],
            D::Time => [0, 0, 1, 0, 0],
            D::Volume => [3, 0, 0, 0, 0],
            D::TemperatureGradient => [-1, 0, 0, 1, 0],
            D::Expansion => [0, 0, 0, -1, 0],
            D::Frequency => [0, 0, -1, 0, 0],
        }
    }

    pub(super) fn of_powers(powers: [i32; 5]) -> Option<Dimension> {
        Self::ALL.into_iter().find(|d| d.powers() == powers)
    }

    /// `si` in a metric and a field unit, for people: `6.45 mm (0.254 in)`.
    pub fn show(self, si: f64) -> String {
        let (metric, field): ((f64, &str), Option<(f64, &str)>) = match self {
            D::Length if si.abs() < 1.0 => ((si * 1e3, "mm"), Some((si / METRES_PER_INCH, "in"))),
            D::Length => ((si, "m"), Some((si / METRES_PER_FOOT, "ft"))),
            D::Force => ((si, "N"), Some((si / NEWTONS_PER_LBF, "lbf"))),
            D::Mass => ((si, "kg"), Some((si / KILOGRAMS_PER_POUND, "lb"))),
            D::Density => ((si, "kg/m3"), Some((si / POUND_PER_GALLON, "lb/gal"))),
            D::Pressure => {
                let metric = match si.abs() {
                    1e9.. => (si / 1e9, "GPa"),
                    _ => (si / 1e6, "MPa"),
                };
                let psi = si / PASCALS_PER_PSI;
                let field = match psi.abs() {
                    1e4.. => (psi / 1e3, "ksi"),
                    _ => (psi, "psi"),
                };
                (metric, Some(field))
            }
            D::Angle => ((si.to_degrees(), "deg"), None),
            D::Speed => ((si, "m/s"), Some((si / METRES_PER_FOOT * 60.0, "ft/min"))),
            D::Time => ((si, "s"), None),
            D::Volume => ((si * 1e3, "L"), Some((si / GALLON, "gal"))),
            D::TemperatureGradient => (
                (si, "K/m"),
                Some((si * METRES_PER_FOOT * 180.0, "degF/100ft")),
            ),
            D::Expansion => ((si, "1/K"), Some((si / 1.8, "1/degF"))),
            D::Frequency => ((si, "Hz"), None),
        };
        let number = |value: f64| {
            // A depth is told to the decimetre, however great.
            if self == D::Length && (1e3..1e6).contains(&value.abs()) {
                let text = format!("{value:.1}");
                return text.trim_end_matches('0').trim_end_matches('.').to_owned();
            }
            significant(value)
        };
        let mut text = format!("{} {}", number(metric.0), metric.1);
        if let Some((value, unit)) = field {
            text.push_str(&format!(" ({} {unit})", number(value)));
        }
        text
    }
}

/// A number with so many decimals; by a power of ten where no instrument means it: three hundred digits help nobody.
pub fn fixed(value: f64, decimals: usize) -> String {
    if value.abs() < 1e9 {
        format!("{value:.decimals$}")
    } else {
        format!("{value:.1e}")
    }
}

/// A number with four significant figures, no needless zeros, no exponent in the usual range.
pub fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor() as i32;
    if !(-4..9).contains(&magnitude) {
        return format!("{value:.3e}");
    }
    let decimals = (3 - magnitude).max(0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}
