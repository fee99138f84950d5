//! A single-strand steel line hanging in a well: weight, stretch, stiffness, waves, hanging load.
//!
//! *Input -> output*: SI numbers. *Assumptions*: round, uniform, linearly elastic wire; small
//! strain (1 % at most), lengths are those of the unstretched wire. *Limits*: no bending
//! stiffness, no permanent stretch, no temperature dependence of the modulus. Young's modulus of
//! drawn wire is known to about 5 %, so every stretch is too until it is fitted. *Sources*:
//! textbook statics and elasticity unless a function says otherwise.

use super::Motion;
use crate::job;
use crate::units::GRAVITY;

/// Poisson's ratio of steel, textbook value.
pub const POISSON_STEEL: f64 = 0.29;
/// Linear thermal expansion of carbon steel, 1/K (from memory; alloys differ, take the maker's).
pub const EXPANSION_CARBON_STEEL_PER_K: f64 = 11.7e-6;

/// A line and the fluid it hangs in; all per metre of unstretched line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineInFluid {
    /// Weight in the fluid, N/m.
    pub weight_n_m: f64,
    /// Young's modulus times metal area, N.
    pub ea_n: f64,
    /// Metal area, m2.
    pub area_m2: f64,
    /// Mass, kg/m.
    pub mass_kg_m: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Linear thermal expansion, 1/K.
    pub expansion_per_k: f64,
    /// Density of the fluid, kg/m3.
    pub fluid_density_kg_m3: f64,
    /// Gauge pressure at the wellhead, Pa.
    pub wellhead_pressure_pa: f64,
    /// Rise of temperature above that at surface with true vertical depth, K/m; 0: not known.
    pub temperature_gradient_k_m: f64,
}

impl LineInFluid {
    /// A wire of `diameter_m`, `modulus_pa` and `density_kg_m3` in a fluid of
    /// `fluid_density_kg_m3`; no wellhead pressure, no temperature gradient, steel otherwise.
    ///
    /// ```
    /// use kerfwatch::model::line::LineInFluid;
    /// let line = LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0);
    /// assert!((line.weight_n_m - 0.3970).abs() < 5e-5); // 0.108 in wire in water
    /// assert!((line.ea_n - 1182.0e3).abs() < 0.1e3);
    /// ```
    pub fn new(
        diameter_m: f64,
        modulus_pa: f64,
        density_kg_m3: f64,
        fluid_density_kg_m3: f64,
    ) -> Self {
        let area_m2 = wire_area_m2(diameter_m);
        Self {
            weight_n_m: (density_kg_m3 - fluid_density_kg_m3) * GRAVITY * area_m2,
            ea_n: modulus_pa * area_m2,
            area_m2,
            mass_kg_m: density_kg_m3 * area_m2,
            poisson: POISSON_STEEL,
            expansion_per_k: EXPANSION_CARBON_STEEL_PER_K,
            fluid_density_kg_m3,
            wellhead_pressure_pa: 0.0,
            temperature_gradient_k_m: 0.0,
        }
    }

    /// The line and fluid of a job.
    pub fn from_job(line: &job::Line, fluid: &job::Fluid) -> Self {
        Self {
            expansion_per_k: line.expansion.si(),
            wellhead_pressure_pa: fluid.wellhead_pressure.si(),
            temperature_gradient_k_m: fluid.temperature_gradient.map_or(0.0, |g| g.si()),
            ..Self::new(
                line.diameter.si(),
                line.modulus.si(),
                line.density.si(),
                fluid.density.si(),
            )
        }
    }

    /// Young's modulus, Pa.
    pub fn modulus_pa(&self) -> f64 {
        self.ea_n / self.area_m2
    }

    /// Elastic stretch, m, of a straight vertical line of `length_m` under `end_load_n` (weight in
    /// fluid of what hangs on it) and its own weight: `W L/(E A) + w L^2/(2 E A)`.
    pub fn stretch_hanging_m(&self, length_m: f64, end_load_n: f64) -> f64 {
        (end_load_n + 0.5 * self.weight_n_m * length_m) * length_m / self.ea_n
    }

    /// Elastic stretch, m, under any tension profile: `integral T ds/(E A)` by trapezoids.
    /// `md_m` increasing, `tension_n` at the same points; the shorter of the two counts.
    pub fn stretch_under_profile_m(&self, md_m: &[f64], tension_n: &[f64]) -> f64 {
        let points = md_m.len().min(tension_n.len());
        let mut sum = 0.0;
        for i in 1..points {
            sum += 0.5 * (tension_n[i] + tension_n[i - 1]) * (md_m[i] - md_m[i - 1]);
        }
        sum / self.ea_n
    }

    /// Change of length, m, by fluid pressure along a vertical line of `length_m` (negative: the
    /// wire is squeezed on all sides): `-(1 - 2 nu) (P L + rho_f g L^2/2)/E`. Follows from true
    /// axial stress `T/A - p` and lateral stress `-p`, with T the tension that weight in fluid gives.
    pub fn pressure_shortening_m(&self, length_m: f64) -> f64 {
        self.pressure_strain_integral(length_m, 0.5 * length_m * length_m)
    }

    /// As [`Self::pressure_shortening_m`] for any path: `length_m` along hole and
    /// `tvd_integral_m2`, the integral of true vertical depth along hole.
    pub fn pressure_strain_integral(&self, length_m: f64, tvd_integral_m2: f64) -> f64 {
        -(1.0 - 2.0 * self.poisson)
            * (self.wellhead_pressure_pa * length_m
                + self.fluid_density_kg_m3 * GRAVITY * tvd_integral_m2)
            / self.modulus_pa()
    }

    /// Thermal change of length, m, of a vertical line of `length_m`, relative to line at surface
    /// temperature: `alpha G L^2/2`.
    pub fn thermal_stretch_m(&self, length_m: f64) -> f64 {
        self.thermal_stretch_integral(0.5 * length_m * length_m)
    }

    /// As [`Self::thermal_stretch_m`] for any path, from the integral of true vertical depth along
    /// hole, m2.
    pub fn thermal_stretch_integral(&self, tvd_integral_m2: f64) -> f64 {
        self.expansion_per_k * self.temperature_gradient_k_m * tvd_integral_m2
    }

    /// Stiffness with the lower end held fast, N/m: `E A/L`. Not defined for zero length.
    pub fn stiffness_n_m(&self, length_m: f64) -> f64 {
        self.ea_n / length_m
    }

    /// Speed of a tension wave, m/s: `sqrt(E/rho)`, from `sqrt(EA / mass per metre)`.
    pub fn wave_speed_m_s(&self) -> f64 {
        (self.ea_n / self.mass_kg_m).sqrt()
    }

    /// One-way time of a tension wave, s: `L/c`.
    pub fn travel_time_s(&self, length_m: f64) -> f64 {
        length_m / self.wave_speed_m_s()
    }

    /// Tension step for a step of line speed at the end, N per m/s: `E A/c`; it lasts until the
    /// echo at `2 L/c`.
    pub fn impedance_n_s_m(&self) -> f64 {
        self.ea_n / self.wave_speed_m_s()
    }

    /// Lowest natural frequency, Hz, of a line of `length_m` fixed at the top with a free mass
    /// `end_mass_kg` (0: bare end): `f = x c/(2 pi L)` with `x tan x = m_line/M`. The fluid that
    /// moves with the tool and all damping are left out.
    pub fn fundamental_frequency_hz(&self, length_m: f64, end_mass_kg: f64) -> f64 {
        let x = first_root_of_x_tan_x(self.mass_kg_m * length_m, end_mass_kg);
        x * self.wave_speed_m_s() / (std::f64::consts::TAU * length_m)
    }

    /// Lowest natural frequency with the tool held fast, Hz: `c/(2 L)`.
    pub fn stuck_frequency_hz(&self, length_m: f64) -> f64 {
        self.wave_speed_m_s() / (2.0 * length_m)
    }

    /// Force by which wellhead pressure pushes the line out of the well, N: `P A`.
    pub fn pressure_force_n(&self) -> f64 {
        self.wellhead_pressure_pa * self.area_m2
    }

    /// Line tension above the stuffing box, N, from the tension just below it (sum of weights in
    /// fluid and drag): `T - P A +- packing friction`, plus when pulling out.
    pub fn above_stuffing_box_n(
        &self,
        below_n: f64,
        packing_friction_n: f64,
        motion: Motion,
    ) -> f64 {
        below_n - self.pressure_force_n() + motion.friction_sign() * packing_friction_n
    }

    /// Inverse of [`Self::above_stuffing_box_n`].
    pub fn below_stuffing_box_n(
        &self,
        above_n: f64,
        packing_friction_n: f64,
        motion: Motion,
    ) -> f64 {
        above_n + self.pressure_force_n() - motion.friction_sign() * packing_friction_n
    }
}

/// Metal area of a round wire, m2.
pub fn wire_area_m2(diameter_m: f64) -> f64 {
    0.25 * std::f64::consts::PI * diameter_m * diameter_m
}

/// Smallest positive x with `x tan x = line_mass / end_mass`; pi/2 for no end mass.
fn first_root_of_x_tan_x(line_mass_kg: f64, end_mass_kg: f64) -> f64 {
    use std::f64::consts::FRAC_PI_2;
    // M x sin x - m cos x rises from -m to M pi/2 on 0..pi/2: one root, no pole.
    let (mut low, mut high) = (0.0, FRAC_PI_2);
    for _ in 0..60 {
        let x = 0.5 * (low + high);
        if end_mass_kg * x * x.sin() < line_mass_kg * x.cos() {
            low = x;
        } else {
            high = x;
        }
    }
    0.5 * (low + high)
}

/// Weight in fluid of a tool, N: mass in air and volume of fluid displaced.
pub fn tool_weight_in_fluid_n(
    mass_kg: f64,
    displaced_volume_m3: f64,
    fluid_density_kg_m3: f64,
) -> f64 {
    (mass_kg - displaced_volume_m3 * fluid_density_kg_m3) * GRAVITY
}

#[cfg(test)]
#[path = "line_tests.rs"]
mod tests;
