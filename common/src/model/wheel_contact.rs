//! Contact pressure of a sharp wedge pressed into ductile metal, by slip-line theory.
//!
//! *Input -> output*: half angle of the edge, yield strength, flank friction -> pressure on the
//! flanks, lip raised beside the groove, nominal pressure on the area below the *original* surface,
//! which is the `sc` of [`super::groove_law`].
//! *Formula*: flank pressure `p/2k = 1 + psi`, with `cos(2a - psi) = cos psi/(1 + sin psi)` for
//! half angle `a`; flank contact `h = c/(cos a - sin(a - psi))` at depth `c`; lip half-width over
//! `c tan a` is `(h/c) cos a`; nominal pressure is the product of both and `2k`, where `2k = Y`
//! (Tresca) or `2Y/sqrt 3` (von Mises). Flank friction multiplies the load by about `1 + mu cot a`.
//! *Assumptions*: rigid-perfectly-plastic, plane strain, half-space, wedge pressed straight in.
//! *Limits*: work hardening, a thin back wall, a cap of dead metal under high friction and the
//! rolling of a disc are left out: hence the wide [`before_any_cut`]; calibrate on a test joint.
//! *Source*: R. Hill, E. H. Lee, S. J. Tupper, "The theory of wedge indentation of ductile
//! materials", Proc. Royal Society A 188, 1947 (cited from memory; relations re-derived, the volume
//! balance holds to rounding). Friction factor: derived, same pressure on the flanks.

use std::f64::consts::FRAC_PI_2;

/// Which yield criterion turns tensile yield into shear yield.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum YieldCriterion {
    /// `2k = Y`.
    Tresca,
    /// `2k = 2 Y/sqrt 3`.
    VonMises,
}

impl YieldCriterion {
    /// Twice the shear yield stress, Pa, for tensile yield `yield_pa`.
    pub fn two_k_pa(self, yield_pa: f64) -> f64 {
        match self {
            Self::Tresca => yield_pa,
            Self::VonMises => 2.0 * yield_pa / 3f64.sqrt(),
        }
    }
}

/// Wedge indentation without friction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indentation {
    /// Half angle of the edge, rad.
    pub half_angle_rad: f64,
    /// Turn of the slip lines, rad.
    pub psi_rad: f64,
    /// Length of flank in contact over depth below the original surface.
    pub flank_over_depth: f64,
}

impl Indentation {
    /// Solves the geometry for a half angle in 0 to 90 degrees (held inside that range).
    ///
    /// ```
    /// use kerfwatch::model::wheel_contact::Indentation;
    /// let edge = Indentation::of_half_angle(15f64.to_radians());
    /// assert!((edge.nominal_over_2k() - 1.3224).abs() < 5e-5);
    /// ```
    pub fn of_half_angle(half_angle_rad: f64) -> Self {
        let a = half_angle_rad.clamp(0.0, FRAC_PI_2);
        // The half angle as a function of psi is explicit and rises from 0 to 90 degrees.
        let (mut low, mut high) = (0.0, FRAC_PI_2);
        for _ in 0..60 {
            let psi = 0.5 * (low + high);
            if half_angle_of(psi) < a {
                low = psi;
            } else {
                high = psi;
            }
        }
        let psi_rad = 0.5 * (low + high);
        Self {
            half_angle_rad: a,
            psi_rad,
            flank_over_depth: 1.0 / (a.cos() - (a - psi_rad).sin()),
        }
    }

    /// Flank pressure over `2k`: `1 + psi`.
    pub fn pressure_over_2k(&self) -> f64 {
        1.0 + self.psi_rad
    }

    /// Half-width at the raised lip over half-width at the original surface.
    pub fn lip(&self) -> f64 {
        self.flank_over_depth * self.half_angle_rad.cos()
    }

    /// Load per unit length over `2k` and nominal width `2 c tan a`.
    pub fn nominal_over_2k(&self) -> f64 {
        self.pressure_over_2k() * self.lip()
    }
}

/// `a = (psi + acos(cos psi/(1 + sin psi)))/2`, rad.
fn half_angle_of(psi: f64) -> f64 {
    0.5 * (psi + (psi.cos() / (1.0 + psi.sin())).acos())
}

/// Factor of flank friction on the radial load: `1 + mu cot a`.
pub fn friction_factor(half_angle_rad: f64, friction: f64) -> f64 {
    1.0 + friction / half_angle_rad.tan()
}

/// Nominal contact pressure, Pa, on the area below the original surface, friction included.
pub fn nominal_pressure_pa(
    half_angle_rad: f64,
    yield_pa: f64,
    criterion: YieldCriterion,
    friction: f64,
) -> f64 {
    Indentation::of_half_angle(half_angle_rad).nominal_over_2k()
        * criterion.two_k_pa(yield_pa)
        * friction_factor(half_angle_rad, friction)
}

/// Upper estimate by hardness, Pa: about three times yield for blunt indenters (D. Tabor, "The
/// Hardness of Metals", 1951, from memory).
pub fn hardness_pressure_pa(yield_pa: f64) -> f64 {
    3.0 * yield_pa
}

/// Contact pressure of a wheel on pipe as far as it can be told without a test cut: log-normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressureBefore {
    /// 5 %, Pa.
    pub low_pa: f64,
    /// Median, Pa.
    pub median_pa: f64,
    /// 95 %, Pa.
    pub high_pa: f64,
    /// Standard deviation of the natural logarithm.
    pub log_sd: f64,
}

/// [`PressureBefore`] for a pipe of tensile yield `yield_pa`: 0.8 to 1.7 GPa at 552 MPa, in proportion. It reaches
/// from a sharp wedge without friction to the hardness of the metal (a test holds it against both).
pub fn before_any_cut(yield_pa: f64) -> PressureBefore {
    let yields = yield_pa / 552e6;
    PressureBefore {
        low_pa: 0.8e9 * yields,
        median_pa: 1.166e9 * yields,
        high_pa: 1.7e9 * yields,
        log_sd: 0.229,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn printed(found: f64, wanted: f64, last_digit: f64) {
        assert!(
            (found - wanted).abs() <= 0.5001 * last_digit,
            "{found}, printed {wanted}"
        );
    }

    // Hill, Lee, Tupper 1947, relations evaluated outside this project's code.
    #[test]
    fn slip_line_table_from_10_to_60_degrees() {
        let rows = [
            (
                10.0, 2.6630, 1.04648, 1.0465, 1.2084, 1.1667, 1.1490, 1.2024,
            ),
            (
                15.0, 5.4299, 1.09477, 1.0948, 1.2641, 1.2505, 1.2079, 1.3224,
            ),
            (
                20.0, 8.8720, 1.15485, 1.1548, 1.3335, 1.3392, 1.2585, 1.4533,
            ),
            (
                25.0, 12.8709, 1.22464, 1.2246, 1.4141, 1.4364, 1.3018, 1.5942,
            ),
            (
                30.0, 17.3397, 1.30263, 1.3026, 1.5042, 1.5459, 1.3388, 1.7440,
            ),
            (
                35.0, 22.2098, 1.38763, 1.3876, 1.6023, 1.6729, 1.3703, 1.9015,
            ),
            (
                40.0, 27.4245, 1.47865, 1.4786, 1.7074, 1.8238, 1.3971, 2.0658,
            ),
            (
                45.0, 32.9351, 1.57483, 1.5748, 1.8185, 2.0077, 1.4196, 2.2357,
            ),
            (
                50.0, 38.6988, 1.67542, 1.6754, 1.9346, 2.2380, 1.4386, 2.4102,
            ),
            (
                55.0, 44.6777, 1.77977, 1.7798, 2.0551, 2.5356, 1.4543, 2.5884,
            ),
            (
                60.0, 50.8374, 1.88728, 1.8873, 2.1792, 2.9346, 1.4673, 2.7692,
            ),
        ];
        for (a, psi, p, tresca, mises, flank, lip, nominal) in rows {
            let edge = Indentation::of_half_angle(f64::to_radians(a));
            printed(edge.psi_rad.to_degrees(), psi, 1e-4);
            printed(edge.pressure_over_2k(), p, 1e-5);
            printed(
                edge.pressure_over_2k() * YieldCriterion::Tresca.two_k_pa(1.0),
                tresca,
                1e-4,
            );
            printed(
                edge.pressure_over_2k() * YieldCriterion::VonMises.two_k_pa(1.0),
                mises,
                1e-4,
            );
            printed(edge.flank_over_depth, flank, 1e-4);
            printed(edge.lip(), lip, 1e-4);
            printed(edge.nominal_over_2k(), nominal, 1e-4);
        }
    }

    #[test]
    fn flat_punch_limit_is_one_plus_half_pi() {
        let edge = Indentation::of_half_angle(FRAC_PI_2);
        assert!((edge.pressure_over_2k() - 2.570_796).abs() < 1e-6);
    }

    // Plastic metal keeps its volume: what the wedge displaces below the original surface stands
    // as two triangles beside it, between flank, lip and the original surface.
    #[test]
    fn metal_pushed_in_equals_metal_raised() {
        for degrees in [15.0, 30.0, 45.0, 60.0] {
            let a = f64::to_radians(degrees);
            let edge = Indentation::of_half_angle(a);
            let h = edge.flank_over_depth; // depth 1
            // Lip corner, then the free surface of length h falls to the original surface.
            let lip_up = h * a.cos() - 1.0;
            let lip_out = h * a.sin();
            let slope = a - edge.psi_rad; // free surface against the horizontal
            let run = lip_up / slope.tan();
            assert!(
                (lip_up.hypot(run) - h).abs() < 1e-9,
                "free surface is as long as the flank"
            );
            let raised = 0.5 * lip_up * (lip_out - a.tan() + run);
            assert!((raised - 0.5 * a.tan()).abs() < 1e-9, "{degrees}: {raised}");
        }
    }

    #[test]
    fn friction_makes_sharp_edges_much_heavier() {
        for (degrees, mu, wanted) in [
            (15.0, 0.1, 1.373),
            (15.0, 0.2, 1.746),
            (30.0, 0.1, 1.173),
            (30.0, 0.2, 1.346),
        ] {
            printed(friction_factor(f64::to_radians(degrees), mu), wanted, 1e-3);
        }
    }

    #[test]
    fn range_for_552_megapascal_yield_at_15_degrees() {
        let at =
            |mu| nominal_pressure_pa(15f64.to_radians(), 552e6, YieldCriterion::VonMises, mu) / 1e6;
        printed(at(0.0), 843.0, 1.0);
        printed(at(0.1), 1157.0, 1.0);
        printed(at(0.2), 1472.0, 1.0);
        printed(hardness_pressure_pa(552e6) / 1e9, 1.66, 0.01);
    }

    #[test]
    fn what_is_expected_reaches_from_no_friction_to_hardness() {
        let expected = before_any_cut(552e6);
        let smooth = nominal_pressure_pa(15f64.to_radians(), 552e6, YieldCriterion::VonMises, 0.0);
        assert!((expected.low_pa / smooth - 0.95).abs() < 0.01);
        assert!((expected.high_pa / hardness_pressure_pa(552e6) - 1.03).abs() < 0.01);
        // Median and spread are those of the two ends: 90 % lie between 1.645 standard deviations.
        let (low, high) = (expected.low_pa.ln(), expected.high_pa.ln());
        assert!((expected.median_pa.ln() - 0.5 * (low + high)).abs() < 1e-3);
        assert!((expected.log_sd - (high - low) / (2.0 * 1.645)).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn blunter_edges_need_more_pressure(a in 0.02..1.5f64, more in 0.001..0.05f64) {
            let (sharp, blunt) = (Indentation::of_half_angle(a), Indentation::of_half_angle(a + more));
            prop_assert!(blunt.pressure_over_2k() > sharp.pressure_over_2k());
            prop_assert!(blunt.nominal_over_2k() > sharp.nominal_over_2k());
            prop_assert!(sharp.lip() > 1.0);
        }
    }
}
