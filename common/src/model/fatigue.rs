//! Life of wire under repeated stress: stress-life lines, mean stress, Miner's sum.
//!
//! *Input -> output*: stress, Pa -> cycles to failure; cycles -> part of life used. *Limits*: wire
//! life is empirical; corrosion and tension move it by an order of magnitude (from memory). A Miner
//! sum is an indication for cutting back line and never a safe life. Elastic bending stress of wire
//! on a small sheave is above yield, a measure of strain: do not put it into [`goodman_amplitude_pa`].
//! *Sources*: O. H. Basquin 1910, J. Goodman 1899, M. A. Miner 1945, textbook forms.

use crate::job::BendingLife;

/// Cycles to failure on a user's line `N = cycles (stress/s)^exponent`; infinite for no stress.
///
/// ```
/// use kerfwatch::{job::BendingLife, model::fatigue::cycles_to_failure, units::Pascals};
/// let life = BendingLife { stress: Pascals(1.2e9), cycles: 4000.0, exponent: 5.0 };
/// assert!((cycles_to_failure(&life, 2.4e9) - 125.0).abs() < 1e-9); // twice the stress, 1/32 of the life
/// ```
pub fn cycles_to_failure(life: &BendingLife, stress_pa: f64) -> f64 {
    if stress_pa <= 0.0 {
        return f64::INFINITY;
    }
    life.cycles * (life.stress.si() / stress_pa).powf(life.exponent)
}

/// Basquin: cycles to failure `N = (sigma_a/sigma_f)^(1/b)/2` for amplitude `amplitude_pa`, fatigue
/// strength coefficient `coefficient_pa` and (negative) exponent `b`.
pub fn basquin_cycles(amplitude_pa: f64, coefficient_pa: f64, b: f64) -> f64 {
    0.5 * (amplitude_pa / coefficient_pa).powf(1.0 / b)
}

/// Goodman: fully reversed amplitude of the same damage, `sigma_a/(1 - sigma_m/S_u)`; infinite when
/// the mean reaches tensile strength.
pub fn goodman_amplitude_pa(amplitude_pa: f64, mean_pa: f64, tensile_strength_pa: f64) -> f64 {
    let left = 1.0 - mean_pa / tensile_strength_pa;
    if left <= 0.0 {
        return f64::INFINITY;
    }
    amplitude_pa / left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Pascals;

    // Textbook forms, figures computed outside this project's code.
    #[test]
    fn basquin_cycles_at_three_amplitudes() {
        for (amplitude, wanted, tolerance) in [
            (600e6, 2_446_389.0, 0.6),
            (800e6, 100_073.0, 0.6),
            (1000e6, 8_385.7, 0.06),
        ] {
            let found = basquin_cycles(amplitude, 2400e6, -0.09);
            assert!((found - wanted).abs() < tolerance, "{found}");
        }
    }

    #[test]
    fn goodman_example() {
        assert!((goodman_amplitude_pa(300e6, 500e6, 1600e6) / 1e6 - 436.36).abs() < 5e-3);
        assert_eq!(goodman_amplitude_pa(300e6, 1600e6, 1600e6), f64::INFINITY);
    }

    #[test]
    fn user_line_goes_through_its_reference_point() {
        let life = BendingLife {
            stress: Pascals(1e9),
            cycles: 5000.0,
            exponent: 5.0,
        };
        assert_eq!(cycles_to_failure(&life, 1e9), 5000.0);
        assert!((cycles_to_failure(&life, 2e9) - 5000.0 / 32.0).abs() < 1e-9);
        assert_eq!(cycles_to_failure(&life, 0.0), f64::INFINITY);
    }
}
