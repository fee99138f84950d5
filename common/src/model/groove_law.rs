//! Depth of the groove pass by pass: a wedge-edged disc rolling on plastic metal under constant load.
//!
//! Symbols (SI): `N` radial force of one wheel, `R` wheel radius, `b` half of the included edge
//! angle, `sc` nominal contact pressure on projected area, `d0` and `d` groove depth before and
//! after a pass, `p = d - d0`, `u` specific energy (J per m3 of groove).
//!
//! *Formula*: a rolling disc touches only ahead of its axle, over half a chord `l = sqrt(2 R p)`;
//! radial balance over both flanks gives `2 sc tan b sqrt(2 R p) (d0 + 2 p/3) = N`, or
//! `sqrt(p) (d0 + 2 p/3) = kappa` with `kappa = N/(2 sc tan b sqrt(2 R))` [m^1.5]. With
//! `d = kappa^(2/3) x` the law has no parameter left: [`UniversalSequence`]. Work per metre of
//! groove is `u tan b (d^2 - d0^2)`, whatever the path.
//! *Assumptions*: rigid-perfectly-plastic, plane strain, thick wall, `p` much less than `R`,
//! constant load. *Limits*: no hardening, no springback, ligament not thin (a thin back wall
//! yields early: break-through is to be detected, not computed).
//! *Source*: derived here (engineering model, no published law); contact pressure from
//! slip-line theory (Hill, Lee, Tupper 1947) in the contact-pressure model.

use crate::job;

/// One cutter wheel and the metal it rolls on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wheel {
    /// Radial force, N.
    pub force_n: f64,
    /// Wheel radius, m.
    pub radius_m: f64,
    /// Half of the included edge angle, rad.
    pub half_angle_rad: f64,
    /// Nominal contact pressure on projected area, Pa.
    pub pressure_pa: f64,
    /// Width of the flat on a worn edge, m; 0 when sharp.
    pub flat_width_m: f64,
    /// Greatest depth the wheel can reach below the inner surface of the pipe, m.
    pub reach_m: f64,
}

impl Wheel {
    /// The wheel of a cutter, sharp, at a contact pressure.
    pub fn from_job(cutter: &job::Cutter, pressure_pa: f64) -> Self {
        Self {
            force_n: cutter.radial_force.si(),
            radius_m: cutter.radius.si(),
            half_angle_rad: 0.5 * cutter.edge_angle.si(),
            pressure_pa,
            flat_width_m: 0.0,
            reach_m: cutter.reach.si(),
        }
    }

    /// Size of one pass, m^1.5: `kappa = N/(2 sc tan b sqrt(2 R))`.
    pub fn kappa(&self) -> f64 {
        self.force_n
            / (2.0 * self.pressure_pa * self.half_angle_rad.tan() * (2.0 * self.radius_m).sqrt())
    }

    /// Depth, m, by which a worn edge stands above the apex of the sharp wedge:
    /// `w_flat/(2 tan b)`. A flat of width `w` adds `sc w l` to the radial balance, which is the
    /// same as starting from a groove deeper by this much (derived here).
    pub fn blunting_m(&self) -> f64 {
        0.5 * self.flat_width_m / self.half_angle_rad.tan()
    }

    /// Depth after one pass of this wheel over a groove of depth `d0_m`, never beyond its reach.
    pub fn pass_m(&self, d0_m: f64) -> f64 {
        let blunt = self.blunting_m();
        let free = advance(d0_m + blunt, self.kappa()) - blunt;
        free.min(self.reach_m.max(d0_m))
    }

    /// Depth after one stroke of `wheels` such wheels in one groove, one behind the other, over a groove of depth
    /// `d0_m`.
    pub fn stroke_m(&self, wheels: u32, d0_m: f64) -> f64 {
        (0..wheels).fold(d0_m, |d, _| self.pass_m(d))
    }

    /// Work per metre of groove, J/m, to go from `d0_m` to `d_m` with specific energy `u_j_m3`.
    pub fn work_j_m(&self, d0_m: f64, d_m: f64, u_j_m3: f64) -> f64 {
        let blunt = self.blunting_m();
        work_j_m(
            d0_m + blunt,
            d_m + blunt,
            u_j_m3 * self.half_angle_rad.tan(),
        )
    }

    /// This wheel after rolling `rolled_m`, with linear wear. No published law: rates are the
    /// user's, from wheels measured after a job.
    pub fn worn(&self, wear: &WheelWear, rolled_m: f64) -> Self {
        Self {
            radius_m: (self.radius_m - wear.radius_loss_per_m * rolled_m).max(0.1 * self.radius_m),
            flat_width_m: self.flat_width_m + wear.flat_growth_per_m * rolled_m,
            reach_m: self.reach_m - wear.radius_loss_per_m * rolled_m,
            ..*self
        }
    }
}

/// Wear of a wheel per metre rolled.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WheelWear {
    /// Loss of radius, m/m.
    pub radius_loss_per_m: f64,
    /// Growth of the flat on the edge, m/m.
    pub flat_growth_per_m: f64,
}

/// Depth after one pass: solves `sqrt(p) (d0 + 2 p/3) = kappa` exactly, m.
///
/// `d0_m` at or above zero, `kappa` in m^1.5 at or above zero. First touch (`d0 = 0`) is a case
/// like any other: `d = (3 kappa/2)^(2/3)`.
///
/// ```
/// use kerfwatch::model::groove_law::advance;
/// let kappa = 4000.0 / (2.0 * 1.2e9 * 15f64.to_radians().tan() * 0.02f64.sqrt());
/// let first = advance(0.0, kappa);
/// assert!((first - 1.63273e-3).abs() < 1e-8);
/// assert!(advance(first, kappa) > first);
/// ```
pub fn advance(d0_m: f64, kappa: f64) -> f64 {
    if kappa <= 0.0 {
        return d0_m;
    }
    // y = sqrt(p): y^3 + 3 q y - 2 r = 0 has one real root u - q/u; written as a quotient it loses
    // no digits where q is large against r and needs no special case at q = 0.
    let q = 0.5 * d0_m.max(0.0);
    let r = 0.75 * kappa;
    let u = (r + (r * r + q * q * q).sqrt()).cbrt();
    let v = q / u;
    let y = 2.0 * r / (u * u + q + v * v);
    d0_m + y * y
}

/// Work per metre of groove, J/m: `u tan b (d^2 - d0^2)`. `u_tan_b` in J/m3. It is also the
/// cutting drag of the pass in newtons.
pub fn work_j_m(d0_m: f64, d_m: f64, u_tan_b: f64) -> f64 {
    u_tan_b * (d_m - d0_m) * (d_m + d0_m)
}

/// Number of passes in the table; beyond it the asymptote is good to 1e-7.
const TABLE_PASSES: usize = 1024;

/// Dimensionless depth `x_n` after n passes: `sqrt(x_n - x_(n-1)) (x_(n-1) + 2 (x_n - x_(n-1))/3) = 1`,
/// `x_0 = 0`, so that depth is `kappa^(2/3) x_n` for every wheel, metal and force.
///
/// Between whole numbers `x^3`, which grows almost evenly (`3 n - ln(n)/3 + ...`), is interpolated
/// by a monotone cubic with continuous slope; at whole n the value is that of the recursion.
/// Beyond the table: `x^3 = g_N + 3 (n - N) - ln(x^3/g_N)/3`.
#[derive(Debug, Clone, PartialEq)]
pub struct UniversalSequence {
    /// `x_n^3` for n = 0, 1, 2, ...
    cube: Vec<f64>,
    /// Slope of `x^3` at each n.
    slope: Vec<f64>,
}

impl Default for UniversalSequence {
    fn default() -> Self {
        Self::new()
    }
}

impl UniversalSequence {
    /// Computes the table (about 1000 steps of the recursion).
    ///
    /// ```
    /// use kerfwatch::model::groove_law::UniversalSequence;
    /// let sequence = UniversalSequence::new();
    /// assert!((sequence.depth(1.0) - 1.5f64.powf(2.0 / 3.0)).abs() < 1e-12);
    /// let n = sequence.passes(sequence.depth(21.0));
    /// assert!((n - 21.0).abs() < 1e-9);
    /// ```
    pub fn new() -> Self {
        let mut cube = Vec::with_capacity(TABLE_PASSES + 1);
        let mut x = 0.0;
        for _ in 0..=TABLE_PASSES {
            cube.push(x * x * x);
            x = advance(x, 1.0);
        }
        let step: Vec<f64> = cube.windows(2).map(|w| w[1] - w[0]).collect();
        let mut slope = Vec::with_capacity(cube.len());
        // The first step is the smallest (2.25 against 3): its own mean keeps the cubic monotone.
        slope.push(step[0]);
        for pair in step.windows(2) {
            // Harmonic mean: never overshoots (Fritsch and Butland 1984, from memory).
            slope.push(2.0 * pair[0] * pair[1] / (pair[0] + pair[1]));
        }
        slope.push(3.0 - 1.0 / cube[TABLE_PASSES]);
        Self { cube, slope }
    }

    /// `(x^3, d(x^3)/dn)` at a real number of passes.
    fn cube_at(&self, n: f64) -> (f64, f64) {
        let n = n.max(0.0);
        let last = self.cube.len() - 1;
        if n >= last as f64 {
            let start = self.cube[last];
            let linear = 3.0 * (n - last as f64);
            // Three rounds reach machine precision: the logarithm moves by 1/g per unit of g.
            let mut g = start + linear;
            for _ in 0..3 {
                g = start + linear - (g / start).ln() / 3.0;
            }
            return (g, 3.0 / (1.0 + 1.0 / (3.0 * g)));
        }
        let i = n as usize;
        let t = n - i as f64;
        let (a, b) = (self.cube[i], self.cube[i + 1]);
        let (ma, mb) = (self.slope[i], self.slope[i + 1]);
        let rise = b - a;
        let (c2, c3) = (3.0 * rise - 2.0 * ma - mb, ma + mb - 2.0 * rise);
        (
            a + t * (ma + t * (c2 + t * c3)),
            ma + t * (2.0 * c2 + 3.0 * t * c3),
        )
    }

    /// Dimensionless depth after `n` passes (any real number; below 0 counts as 0).
    pub fn depth(&self, n: f64) -> f64 {
        self.cube_at(n).0.cbrt()
    }

    /// Passes to dimensionless depth `x`: the inverse of [`Self::depth`].
    pub fn passes(&self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        let g = x * x * x;
        let last = self.cube.len() - 1;
        if g >= self.cube[last] {
            return last as f64 + (g - self.cube[last] + (g / self.cube[last]).ln() / 3.0) / 3.0;
        }
        let above = self.cube.partition_point(|&c| c <= g);
        // Newton from the chord; the cubic differs from it by little and is monotone.
        let i = above - 1;
        let mut n = i as f64 + (g - self.cube[i]) / (self.cube[i + 1] - self.cube[i]);
        for _ in 0..4 {
            let (found, slope) = self.cube_at(n);
            n = (n - (found - g) / slope).clamp(i as f64, above as f64);
        }
        n
    }

    /// Groove depth, m, after `n` passes of one wheel from a flat wall.
    pub fn depth_m(&self, n: f64, kappa: f64) -> f64 {
        kappa.powf(2.0 / 3.0) * self.depth(n)
    }

    /// Passes of one wheel from a flat wall to depth `d_m`.
    pub fn passes_to(&self, d_m: f64, kappa: f64) -> f64 {
        self.passes(d_m / kappa.powf(2.0 / 3.0))
    }
}

#[cfg(test)]
#[path = "groove_law_tests.rs"]
mod tests;
