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

/// Several wheels in line in one groove, stroked up and down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WheelSet {
    /// One of the wheels; all are alike and carry the same force.
    pub wheel: Wheel,
    /// How many run in the same groove.
    pub wheels: u32,
    /// Radial force going up as a fraction of nominal.
    pub force_up: f64,
    /// Radial force going down as a fraction of nominal.
    pub force_down: f64,
}

impl WheelSet {
    /// Depth after one stroke over a groove of depth `d0_m`: every wheel in turn.
    pub fn stroke_m(&self, d0_m: f64, direction: crate::result::Direction) -> f64 {
        let fraction = match direction {
            crate::result::Direction::Up => self.force_up,
            crate::result::Direction::Down => self.force_down,
        };
        let wheel = Wheel {
            force_n: self.wheel.force_n * fraction,
            ..self.wheel
        };
        (0..self.wheels).fold(d0_m, |d, _| wheel.pass_m(d))
    }

    /// Passes of one nominal wheel that one stroke is worth deep in the groove, where a pass
    /// advances as the square of the force: `wheels x fraction^2`.
    pub fn passes_per_stroke(&self, direction: crate::result::Direction) -> f64 {
        let fraction = match direction {
            crate::result::Direction::Up => self.force_up,
            crate::result::Direction::Down => self.force_down,
        };
        f64::from(self.wheels) * fraction * fraction
    }
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

/// Slopes of [`advance`]: (with respect to `d0`, with respect to `kappa` in m^-0.5).
/// From the balance: `dp (d0 + 2p)/(2 sqrt p) + sqrt(p) d(d0) = d(kappa)`.
pub fn advance_slopes(d0_m: f64, kappa: f64) -> (f64, f64) {
    let p = advance(d0_m, kappa) - d0_m;
    if p <= 0.0 {
        return (1.0, 0.0);
    }
    let span = d0_m + 2.0 * p;
    (d0_m / span, 2.0 * p.sqrt() / span)
}

/// Advance of one pass deep in the groove, `p << d`, m: `(kappa/d)^2`, the same as
/// `(N/(2 sc d tan b))^2/(2 R)`. Use only where the result is below a tenth of `d`.
pub fn small_advance_m(d_m: f64, kappa: f64) -> f64 {
    (kappa / d_m).powi(2)
}

/// Depth after the first pass on a flat wall, m: `(3 kappa/2)^(2/3)`.
pub fn first_pass_m(kappa: f64) -> f64 {
    (1.5 * kappa).powf(2.0 / 3.0)
}

/// Passes to depth `t` in the limit of many small passes: `t^3/(3 kappa^2)`, the same as
/// `8 R sc^2 tan^2 b t^3/(3 N^2)`.
pub fn continuum_passes(t_m: f64, kappa: f64) -> f64 {
    t_m.powi(3) / (3.0 * kappa * kappa)
}

/// Contact half-length of a rolling disc, m, small-advance form `sqrt(2 R p)`.
pub fn contact_length_m(radius_m: f64, p_m: f64) -> f64 {
    (2.0 * radius_m * p_m).sqrt()
}

/// Contact half-length of a rolling disc, m, exact chord `sqrt(2 R p - p^2)`.
pub fn contact_length_exact_m(radius_m: f64, p_m: f64) -> f64 {
    (2.0 * radius_m * p_m - p_m * p_m).max(0.0).sqrt()
}

/// Work per metre of groove, J/m: `u tan b (d^2 - d0^2)`. `u_tan_b` in J/m3. It is also the
/// cutting drag of the pass in newtons.
pub fn work_j_m(d0_m: f64, d_m: f64, u_tan_b: f64) -> f64 {
    u_tan_b * (d_m - d0_m) * (d_m + d0_m)
}

/// Depth from all work done per metre of groove, m: `sqrt(E/(u tan b))`; force and radius drop out.
pub fn depth_from_work_m(work_j_m: f64, u_tan_b: f64) -> f64 {
    (work_j_m.max(0.0) / u_tan_b).sqrt()
}

/// Cutting drag of one wheel by moments about its axle with uniform pressure, N:
/// `N l/(2 R) = N sqrt(p/(2 R))`. Equals `u tan b (d^2 - d0^2)` for `p << d` when `u = sc`.
pub fn drag_by_moments_n(force_n: f64, radius_m: f64, p_m: f64) -> f64 {
    force_n * (p_m / (2.0 * radius_m)).sqrt()
}

/// Drag of the axle of one wheel, N: `mu (r_axle/R) N`. It does not fall as the groove deepens.
pub fn axle_drag_n(force_n: f64, friction: f64, axle_to_wheel_radius: f64) -> f64 {
    friction * axle_to_wheel_radius * force_n
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

    /// `d(depth)/dn`. Falls as `1/x^2`; at the first touch it has no finite value, so passes below
    /// 1e-6 give the slope at 1e-6.
    pub fn depth_slope(&self, n: f64) -> f64 {
        let (g, slope) = self.cube_at(n.max(1e-6));
        slope / (3.0 * g.cbrt().powi(2))
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
