//! Physical quantities as newtypes over `f64`, always SI inside.
//!
//! *Units*: each type holds the SI unit named in its doc. Conversion to and from
//! field units happens only here and in [`crate::job`] (reading quoted quantities).
//! *Limits*: the types do not check finiteness; the job file reader does.
//! *Source of factors*: the international foot, inch and pound are exact by definition
//! (NIST SP 811, appendix B); a test checks each against the `uom` crate.

use serde::{Deserialize, Serialize};

/// Standard gravity, m/s2 (exact by definition, CGPM 1901).
pub const GRAVITY: f64 = 9.806_65;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// The bare SI number.
            #[inline]
            pub const fn si(self) -> f64 {
                self.0
            }
        }
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl std::ops::Div for $name {
            /// A ratio of two like quantities is a plain number.
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
    };
}

quantity!(
    /// Length or depth along hole, m.
    Metres
);
quantity!(
    /// Force, N.
    Newtons
);
quantity!(
    /// Mass, kg.
    Kilograms
);
quantity!(
    /// Density, kg/m3.
    KilogramsPerCubicMetre
);
quantity!(
    /// Pressure or stress, Pa.
    Pascals
);
quantity!(
    /// Plane angle, rad.
    Radians
);
quantity!(
    /// Speed, m/s.
    MetresPerSecond
);
quantity!(
    /// Duration, s.
    Seconds
);
quantity!(
    /// Volume, m3.
    CubicMetres
);
quantity!(
    /// Temperature gradient along true vertical depth, K/m.
    KelvinPerMetre
);
quantity!(
    /// Linear thermal expansion, 1/K.
    PerKelvin
);

/// Metres in a foot (exact).
pub const METRES_PER_FOOT: f64 = 0.3048;
/// Metres in an inch (exact).
pub const METRES_PER_INCH: f64 = 0.0254;
/// Kilograms in a pound (exact).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// Newtons in a pound-force (exact: pound times standard gravity).
pub const NEWTONS_PER_LBF: f64 = KILOGRAMS_PER_POUND * GRAVITY;
/// Pascals in a pound-force per square inch.
pub const PASCALS_PER_PSI: f64 = NEWTONS_PER_LBF / (METRES_PER_INCH * METRES_PER_INCH);

impl Metres {
    /// Feet.
    pub fn as_feet(self) -> f64 {
        self.0 / METRES_PER_FOOT
    }
    /// Inches.
    pub fn as_inches(self) -> f64 {
        self.0 / METRES_PER_INCH
    }
    /// Millimetres.
    pub fn as_millimetres(self) -> f64 {
        self.0 * 1e3
    }
}

impl Newtons {
    /// Pounds-force.
    pub fn as_lbf(self) -> f64 {
        self.0 / NEWTONS_PER_LBF
    }
}

impl Pascals {
    /// Pounds-force per square inch.
    pub fn as_psi(self) -> f64 {
        self.0 / PASCALS_PER_PSI
    }
}

#[cfg(test)]
#[path = "units_tests.rs"]
mod tests;
