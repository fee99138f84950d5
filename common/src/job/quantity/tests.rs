//! How quantities are spelled, what is refused, and factors against another crate.

use super::Dimension as D;
use super::unit::{GALLON, POUND_PER_GALLON};
use super::*;
use crate::units::{KILOGRAMS_PER_POUND, NEWTONS_PER_LBF, PASCALS_PER_PSI};

fn near(text: &str, want: Dimension, si: f64) {
    let got = parse_quantity(text, want).unwrap_or_else(|e| panic!("{text}: {e}"));
    assert!(
        (got - si).abs() <= 1e-12 * si.abs(),
        "{text}: {got} is not {si}"
    );
}

#[test]
fn the_usual_spellings_of_each_quantity_are_understood() {
    near("2450 m", D::Length, 2450.0);
    near("2450m", D::Length, 2450.0);
    near("2_450 m", D::Length, 2450.0);
    near("8038 ft", D::Length, 8038.0 * 0.3048);
    near("8038 FT", D::Length, 8038.0 * 0.3048);
    near("3.5 in", D::Length, 0.0889);
    near("3-1/2 in", D::Length, 0.0889);
    near("3 1/2 in", D::Length, 0.0889);
    near("1/2 in", D::Length, 0.0127);
    near("3.5\"", D::Length, 0.0889);
    near(".108 in", D::Length, 0.002_743_2);
    near("-5 m", D::Length, -5.0);
    near("1250 lbf", D::Force, 1250.0 * NEWTONS_PER_LBF);
    near("1250 lb", D::Force, 1250.0 * NEWTONS_PER_LBF);
    near("1.25e3 lbf", D::Force, 1250.0 * NEWTONS_PER_LBF);
    near("9.4 kN", D::Force, 9400.0);
    near("100 kgf", D::Force, 980.665);
    near("1.2 GPa", D::Pressure, 1.2e9);
    near("80 ksi", D::Pressure, 80e3 * PASCALS_PER_PSI);
    near("80000 psi", D::Pressure, 80e3 * PASCALS_PER_PSI);
    near("552 N/mm2", D::Pressure, 552e6);
    near("100 lb/in2", D::Pressure, 100.0 * PASCALS_PER_PSI);
    near("10 bar", D::Pressure, 1e6);
    near("8.6 lb/gal", D::Density, 8.6 * POUND_PER_GALLON);
    near("8.6 ppg", D::Density, 8.6 * POUND_PER_GALLON);
    near("1.03 sg", D::Density, 1030.0);
    near("1.03 SG", D::Density, 1030.0);
    near("1000 kg/m3", D::Density, 1000.0);
    near("1000 kg/m^3", D::Density, 1000.0);
    near("1000 kg/m³", D::Density, 1000.0);
    near("7.85 g/cm3", D::Density, 7850.0);
    near("45 deg", D::Angle, std::f64::consts::FRAC_PI_4);
    near("45°", D::Angle, std::f64::consts::FRAC_PI_4);
    near("0.03 K/m", D::TemperatureGradient, 0.03);
    near("3 °C/100 m", D::TemperatureGradient, 0.03);
    near("30 degC/km", D::TemperatureGradient, 0.03);
    near("1.8 degF/100ft", D::TemperatureGradient, 1.0 / 30.48);
    near("11.7e-6 1/K", D::Expansion, 11.7e-6);
    near("11.7e-6 K^-1", D::Expansion, 11.7e-6);
    near("11.7 ppm/K", D::Expansion, 11.7e-6);
    near("6.5e-6 1/degF", D::Expansion, 11.7e-6);
    near("2 s", D::Time, 2.0);
    near("250 ms", D::Time, 0.25);
    near("1 L", D::Volume, 1e-3);
    near("1 cu.ft", D::Volume, 0.3048f64.powi(3));
    near("231 in3", D::Volume, GALLON);
    near("0.5 m/s", D::Speed, 0.5);
    near("100 ft/min", D::Speed, 100.0 * 0.3048 / 60.0);
    near("50 Hz", D::Frequency, 50.0);
    near("68 kg", D::Mass, 68.0);
    near("150 lb", D::Mass, 150.0 * KILOGRAMS_PER_POUND);
    near("0", D::Force, 0.0);
}

#[test]
fn a_pressure_gradient_is_understood_as_a_density() {
    let density = parse_quantity("0.433 psi/ft", D::Density).expect("psi/ft");
    assert!((density - 998.8).abs() < 0.2, "{density}");
}

#[test]
fn every_unit_a_message_offers_is_accepted() {
    for dimension in Dimension::ALL {
        for unit in dimension.units() {
            assert!(
                unit_factor(unit, dimension).is_ok(),
                "{unit} as {}",
                dimension.name()
            );
        }
    }
}

#[test]
fn wrong_or_missing_units_are_named() {
    let error = parse_quantity("2450 kg", D::Length).expect_err("mass is no length");
    assert!(
        error.contains("unit of mass") && error.contains("length is wanted"),
        "{error}"
    );
    for (text, part) in [
        ("2450", "without a unit"),
        ("2,450 m", "comma"),
        ("m", "does not start with a number"),
        ("", "empty"),
        ("1e999 m", "not a finite number"),
        ("nan m", "does not start with a number"),
        ("5 furlong", "not known"),
        ("5 m/", "not known"),
        ("5 m/0s", "not known"),
    ] {
        let error = parse_quantity(text, D::Length).expect_err(text);
        assert!(error.contains(part), "{text}: {error}");
    }
}

#[test]
fn factors_agree_with_the_uom_crate() {
    use uom::si::f64::{Force, Length, Mass, MassDensity, Pressure, Velocity, Volume};
    use uom::si::{force, length, mass, mass_density, pressure, velocity, volume};
    let near = |ours: f64, theirs: f64| {
        assert!((ours / theirs - 1.0).abs() < 1e-6, "{ours} {theirs}");
    };
    let of = |unit: &str, want| unit_factor(unit, want).expect(unit);
    near(of("ft", D::Length), Length::new::<length::foot>(1.0).value);
    near(of("in", D::Length), Length::new::<length::inch>(1.0).value);
    near(
        of("lbf", D::Force),
        Force::new::<force::pound_force>(1.0).value,
    );
    near(
        of("kgf", D::Force),
        Force::new::<force::kilogram_force>(1.0).value,
    );
    near(of("lb", D::Mass), Mass::new::<mass::pound>(1.0).value);
    near(
        of("psi", D::Pressure),
        Pressure::new::<pressure::psi>(1.0).value,
    );
    near(
        of("bar", D::Pressure),
        Pressure::new::<pressure::bar>(1.0).value,
    );
    near(
        of("gal", D::Volume),
        Volume::new::<volume::gallon>(1.0).value,
    );
    near(
        of("lb/ft3", D::Density),
        MassDensity::new::<mass_density::pound_per_cubic_foot>(1.0).value,
    );
    near(
        of("ft/min", D::Speed),
        Velocity::new::<velocity::foot_per_minute>(1.0).value,
    );
}

#[test]
fn values_are_shown_in_both_unit_systems() {
    assert_eq!(D::Length.show(0.00645), "6.45 mm (0.2539 in)");
    assert_eq!(D::Force.show(5000.0), "5000 N (1124 lbf)");
    assert_eq!(D::Length.show(1992.4), "1992.4 m (6536.7 ft)");
    assert_eq!(D::Angle.show(1.0), "57.3 deg");
    assert_eq!(significant(0.0), "0");
    assert_eq!(significant(1.0e-5), "1.000e-5");
}
