//! Life of wire under repeated stress: the user's own line of stress against cycles.
//!
//! *Input -> output*: stress, Pa -> cycles to failure, whose inverse is the part of life that one cycle uses (Miner).
//! *Formula*: `N = cycles (stress/s)^exponent`, straight in double logarithms. *Limits*: wire
//! life is empirical; corrosion and tension move it by an order of magnitude (from memory). A Miner
//! sum is an indication for cutting back line and never a safe life. No correction for mean stress: elastic
//! bending stress of wire on a small sheave is above yield, a measure of strain, and the user's line holds for it.
//! *Sources*: O. H. Basquin 1910, M. A. Miner 1945, textbook forms.

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Pascals;

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
