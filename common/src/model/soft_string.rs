//! Soft-string drag: the line has tension and weight but no bending stiffness.
//!
//! *Input -> output*: path, weight in fluid per metre, friction coefficient, tension at one depth
//! -> tension at another. *Formula*, s along hole downward:
//! `dT/ds = -(w cos I +- mu N)` (plus pulling out, minus running in),
//! `N^2 = (T dI/ds - w sin I)^2 + (T sin I dA/ds)^2`, which with the curvature vector of the path
//! is `N^2 = T^2 k^2 + 2 T w d(cos I)/ds + w^2 sin^2 I`; this form has no azimuth and so no
//! trouble in a vertical well. *Assumptions*: Coulomb friction fully mobilised everywhere in one
//! direction; line touches the wall all along. *Limits*: says nothing of the seconds after a
//! reversal, when friction has turned over only in the upper part of the line. A negative tension
//! means that the line would have to be pushed: it's slack there. *Sources*: C. A. Johancsik,
//! D. B. Friesen, R. Dawson, "Torque and Drag in Directional Wells - Prediction and
//! Measurement", J. Petroleum Technology, June 1984; M. C. Sheppard, C. Wick, T. Burgess, SPE
//! Drilling Engineering 1987 (continuous form). Both cited from memory.

use super::Motion;
use super::wellpath::{LocalGeometry, WellPath};

/// Friction of line on pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrictionPair {
    /// Pulling out.
    pub up: f64,
    /// Running in.
    pub down: f64,
}

impl FrictionPair {
    /// Friction with the sign it has in surface tension: `+up`, `-down`, or 0 at rest.
    #[inline]
    pub fn signed(self, motion: Motion) -> f64 {
        match motion {
            Motion::Up => self.up,
            Motion::Down => -self.down,
            Motion::Rest => 0.0,
        }
    }
}

/// Side force of the line on the wall, N/m.
#[inline]
pub fn side_force_n_m(tension_n: f64, weight_n_m: f64, at: &LocalGeometry) -> f64 {
    let sin2 = (1.0 - at.cos_inc * at.cos_inc).max(0.0);
    let tk = tension_n * at.curvature_per_m;
    let squared = tk * tk
        + 2.0 * tension_n * weight_n_m * at.cos_inc_rate_per_m
        + weight_n_m * weight_n_m * sin2;
    squared.max(0.0).sqrt()
}

/// Rate of tension down the hole, N/m, for friction with its sign (see [`FrictionPair::signed`]).
#[inline]
pub fn tension_rate_n_m(
    tension_n: f64,
    weight_n_m: f64,
    signed_friction: f64,
    at: &LocalGeometry,
) -> f64 {
    -(weight_n_m * at.cos_inc + signed_friction * side_force_n_m(tension_n, weight_n_m, at))
}

/// Longest integration step, m. Fourth-order steps of this length keep the worked wells within
/// 1e-3 N of the closed forms, except within a step of a change of contact side.
const STEP_MAX_M: f64 = 5.0;

/// Integrates tension from `from_m` to `to_m` along hole (either way), N.
///
/// Upward from the tool: `from_m` is the depth of the rope socket and `tension_n` the pull there;
/// downward from the surface: `from_m = 0` and `tension_n` the tension just below the stuffing box.
///
/// ```
/// use kerfwatch::model::{Motion, soft_string::{FrictionPair, carry_tension_n}, wellpath::WellPath};
/// let friction = FrictionPair { up: 0.25, down: 0.2 };
/// let deg = f64::to_radians;
/// // A well of 60 degrees all the way: per metre the tool gains w (cos I + mu sin I) pulling out.
/// let path = WellPath::new([(0.0, deg(60.0), 0.0)])?;
/// let top = carry_tension_n(&path, 0.397023, friction, Motion::Up, 1000.0, 500.0, 0.0);
/// assert!((top - 784.470).abs() < 1e-3);
/// # Ok::<(), kerfwatch::model::wellpath::PathError>(())
/// ```
pub fn carry_tension_n(
    path: &WellPath,
    weight_n_m: f64,
    friction: FrictionPair,
    motion: Motion,
    from_m: f64,
    tension_n: f64,
    to_m: f64,
) -> f64 {
    carry_tension_with_step_n(
        path, weight_n_m, friction, motion, from_m, tension_n, to_m, STEP_MAX_M,
    )
}

/// [`carry_tension_n`] with a chosen longest step, m (positive).
pub fn carry_tension_with_step_n(
    path: &WellPath,
    weight_n_m: f64,
    friction: FrictionPair,
    motion: Motion,
    from_m: f64,
    tension_n: f64,
    to_m: f64,
    step_max_m: f64,
) -> f64 {
    let mu = friction.signed(motion);
    let (top, bottom) = (from_m.min(to_m), from_m.max(to_m));
    let mut tension = tension_n;
    let mut integrate = |from: f64, to: f64, geometry: &dyn Fn(f64) -> LocalGeometry| {
        let steps = ((to - from).abs() / step_max_m).ceil().max(1.0);
        let h = (to - from) / steps;
        let rate = |md: f64, t: f64| tension_rate_n_m(t, weight_n_m, mu, &geometry(md));
        for i in 0..steps as u64 {
            let md = from + h * i as f64;
            let k1 = rate(md, tension);
            let k2 = rate(md + 0.5 * h, tension + 0.5 * h * k1);
            let k3 = rate(md + 0.5 * h, tension + 0.5 * h * k2);
            let k4 = rate(md + h, tension + h * k3);
            tension += h / 6.0 * (k1 + 2.0 * (k2 + k3) + k4);
        }
    };
    if from_m <= to_m {
        path.for_each_stretch(bottom, |a, b, _, geometry| {
            if b > top {
                integrate(a.max(top), b, geometry);
            }
        });
    } else {
        path.for_each_stretch_upward(bottom, |a, b, _, geometry| {
            if b > top {
                integrate(b, a.max(top), geometry);
            }
        });
    }
    tension
}

/// Pull at the rope socket, N, that moves a tool of weight `weight_n` which slides on the low side with `friction`.
pub fn tool_pull_n(weight_n: f64, inc_rad: f64, friction: f64, motion: Motion) -> f64 {
    let (sin, cos) = inc_rad.sin_cos();
    weight_n * (cos + motion.friction_sign() * friction * sin)
}

/// Inclination, rad, beyond which a line does not run in under its own weight: `tan I = 1/mu`.
pub fn critical_inclination_rad(friction_down: f64) -> f64 {
    (1.0 / friction_down).atan()
}

#[cfg(test)]
#[path = "soft_string_tests.rs"]
mod tests;
