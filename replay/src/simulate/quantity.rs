//! Quoted quantities of a scenario file: `"2450 m"`, `"1250 lbf"`; SI inside.

use kerfwatch::units::PASCALS_PER_PSI;
use kerfwatch::units::{KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH, NEWTONS_PER_LBF};
use serde::de::{Deserialize, Deserializer, Error};

fn read(text: &str, what: &str, units: &[(&str, f64)]) -> Result<f64, String> {
    let known = || {
        let names: Vec<&str> = units.iter().map(|(name, _)| *name).collect();
        names.join(", ")
    };
    let (number, unit) = text.trim().split_once(' ').ok_or_else(|| {
        format!(
            "{text:?} is not {what}: write a number, a space and one of {}",
            known()
        )
    })?;
    let value: f64 = number
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite())
        .ok_or_else(|| format!("{number:?} in {text:?} is not a number"))?;
    let factor = units
        .iter()
        .find(|(name, _)| *name == unit.trim())
        .ok_or_else(|| format!("{unit:?} is not a unit of {what}: use one of {}", known()))?
        .1;
    Ok(value * factor)
}

macro_rules! quoted {
    ($name:ident, $what:literal, [$(($unit:literal, $factor:expr)),+ $(,)?]) => {
        #[doc = concat!("A quoted quantity: ", $what, ", SI inside.")]
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let text = String::deserialize(from).map_err(|_| {
                    D::Error::custom(concat!("expected ", $what, " in quotes, with its unit"))
                })?;
                read(&text, $what, &[$(($unit, $factor)),+]).map(Self).map_err(D::Error::custom)
            }
        }
    };
}

quoted!(
    Length,
    "a length",
    [
        ("m", 1.0),
        ("cm", 0.01),
        ("mm", 1e-3),
        ("km", 1e3),
        ("ft", METRES_PER_FOOT),
        ("in", METRES_PER_INCH)
    ]
);
quoted!(
    Force,
    "a force",
    [("N", 1.0), ("kN", 1e3), ("lbf", NEWTONS_PER_LBF)]
);
quoted!(Mass, "a mass", [("kg", 1.0), ("lb", KILOGRAMS_PER_POUND)]);
quoted!(Density, "a density", [("kg/m3", 1.0), ("g/cm3", 1e3)]);
quoted!(
    Pressure,
    "a pressure",
    [
        ("Pa", 1.0),
        ("kPa", 1e3),
        ("MPa", 1e6),
        ("GPa", 1e9),
        ("bar", 1e5),
        ("psi", PASCALS_PER_PSI)
    ]
);
quoted!(
    Angle,
    "an angle",
    [("deg", std::f64::consts::PI / 180.0), ("rad", 1.0)]
);
quoted!(
    Speed,
    "a speed",
    [
        ("m/s", 1.0),
        ("m/min", 1.0 / 60.0),
        ("ft/min", METRES_PER_FOOT / 60.0)
    ]
);
quoted!(Acceleration, "an acceleration", [("m/s2", 1.0)]);
quoted!(
    Time,
    "a time",
    [("s", 1.0), ("ms", 1e-3), ("min", 60.0), ("h", 3600.0)]
);
quoted!(Rate, "a rate", [("Hz", 1.0), ("kHz", 1e3)]);
quoted!(
    Gradient,
    "a temperature gradient",
    [("K/m", 1.0), ("K/km", 1e-3), ("K/100m", 1e-2)]
);
quoted!(Expansion, "a thermal expansion", [("1/K", 1.0)]);
quoted!(LineDrag, "a drag per length and speed", [("N s/m2", 1.0)]);
quoted!(SpeedDrag, "a drag per speed", [("N s/m", 1.0)]);
quoted!(
    ForcePerTime,
    "a drift",
    [("N/h", 1.0 / 3600.0), ("N/min", 1.0 / 60.0)]
);
quoted!(
    PerLength,
    "a change per length",
    [("1/km", 1e-3), ("1/m", 1.0), ("1/mm", 1e3)]
);
quoted!(
    PerTime,
    "a rate of events",
    [("1/h", 1.0 / 3600.0), ("1/min", 1.0 / 60.0)]
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_converted_and_wrong_ones_are_named() {
        assert!((read("10 ft", "a length", &[("ft", 0.3048)]).unwrap() - 3.048).abs() < 1e-12);
        let wrong = read("10 N", "a length", &[("m", 1.0)]).unwrap_err();
        assert!(wrong.contains("use one of m"), "{wrong}");
        assert!(read("10", "a length", &[("m", 1.0)]).is_err());
        assert!(read("inf m", "a length", &[("m", 1.0)]).is_err());
    }
}
