//! Factors against the `uom` crate, and conversions there and back.

use super::*;
use proptest::prelude::*;
use uom::si::f64::{Force, Length, Mass, Pressure};
use uom::si::{force, length, mass, pressure};

fn same(found: f64, wanted: f64) {
    assert!((found / wanted - 1.0).abs() < 1e-14, "{found} not {wanted}");
}

// Two figures of the uom crate are rounded; its pound and pound-force have seven digits or more.
fn same_to_seven_digits(found: f64, wanted: f64) {
    assert!((found / wanted - 1.0).abs() < 5e-7, "{found} not {wanted}");
}

#[test]
fn every_factor_agrees_with_an_independent_units_package() {
    same(
        METRES_PER_FOOT,
        Length::new::<length::foot>(1.0).get::<length::meter>(),
    );
    same(
        METRES_PER_INCH,
        Length::new::<length::inch>(1.0).get::<length::meter>(),
    );
    same_to_seven_digits(
        KILOGRAMS_PER_POUND,
        Mass::new::<mass::pound>(1.0).get::<mass::kilogram>(),
    );
    same_to_seven_digits(
        NEWTONS_PER_LBF,
        Force::new::<force::pound_force>(1.0).get::<force::newton>(),
    );
    same_to_seven_digits(
        PASCALS_PER_PSI,
        Pressure::new::<pressure::psi>(1.0).get::<pressure::pascal>(),
    );
}

// NIST SP 811, appendix B.8, printed digits.
#[test]
fn factors_of_the_nist_table() {
    assert!((NEWTONS_PER_LBF - 4.448_222).abs() < 5e-7);
    assert!((PASCALS_PER_PSI - 6894.757).abs() < 5e-4);
    assert!((KILOGRAMS_PER_POUND - 0.453_592_4).abs() < 5e-8);
}

proptest! {
    #[test]
    fn conversions_there_and_back_return_the_value(value in -1e7..1e7f64) {
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-15 * b.abs().max(1e-12) * 4.0;
        prop_assert!(near(Metres(Metres(value).as_feet() * METRES_PER_FOOT).si(), value));
        prop_assert!(near(Metres(value).as_inches() * METRES_PER_INCH, value));
        prop_assert!(near(Metres(value).as_millimetres() * 1e-3, value));
        prop_assert!(near(Newtons(value).as_lbf() * NEWTONS_PER_LBF, value));
        prop_assert!(near(Pascals(value).as_psi() * PASCALS_PER_PSI, value));
        prop_assert!(near(Metres(value).as_feet() * 12.0, Metres(value).as_inches()));
    }

    #[test]
    fn arithmetic_of_quantities_is_that_of_their_numbers(a in -1e6..1e6f64, b in 1.0..1e6f64) {
        prop_assert_eq!((Newtons(a) + Newtons(b)).si(), a + b);
        prop_assert_eq!((Newtons(a) - Newtons(b)).si(), a - b);
        prop_assert_eq!((Newtons(a) * b).si(), a * b);
        prop_assert_eq!(Newtons(a) / Newtons(b), a / b);
        prop_assert_eq!((-Newtons(a)).si(), -a);
    }
}
